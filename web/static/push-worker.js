// Shows what is pushed, opens its page when it is tapped, and says so when the board cannot be reached.
const KEPT = "offline-1";
const OFFLINE = "/static/offline.html";

self.addEventListener("install", (event) => {
  const files = [OFFLINE, "/static/offline.css", "/static/tokens.css"];
  event.waitUntil(caches.open(KEPT).then((cache) => cache.addAll(files)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  const old = async () => {
    for (const name of await caches.keys()) if (name !== KEPT) await caches.delete(name);
    await self.clients.claim();
  };
  event.waitUntil(old());
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  // Only pages that are looked at: whatever changes something, stopping heat above all, never passes through here.
  if (request.method === "GET" && request.mode === "navigate") {
    event.respondWith(fetch(request).catch(() => caches.match(OFFLINE)));
    return;
  }
  const { origin, pathname } = new URL(request.url);
  if (origin === self.location.origin && ["/static/offline.css", "/static/tokens.css"].includes(pathname)) {
    event.respondWith(fetch(request).catch(() => caches.match(pathname)));
  }
});

self.addEventListener("push", (event) => {
  const told = read(event.data);
  const title = text(told.title);
  const shown = {
    body: text(told.body) || "Open the monitor to see it.",
    icon: "/static/icon-192.png",
    data: { path: text(told.path) },
    requireInteraction: told.urgent === true,
  };
  // Several that say nothing are one; of several that say something, each is shown unless it takes a place.
  const tag = text(told.tag) || (title ? "" : "unread");
  if (tag) Object.assign(shown, { tag, renotify: true });
  event.waitUntil(self.registration.showNotification(title || "A message of the monitor", shown));
});

self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  event.waitUntil(self.clients.openWindow(page(event.notification.data?.path)));
});

// Something must be shown for each push, whatever came; that there is something to see is true in any case.
function read(data) {
  try {
    return data.json() ?? {};
  } catch {
    return {};
  }
}

function text(value) {
  return typeof value === "string" ? value : "";
}

// Never a stranger's page; the first one where the path leads nowhere.
function page(path) {
  const first = `${self.location.origin}/`;
  try {
    const url = new URL(text(path), first);
    return url.origin === self.location.origin ? url.href : first;
  } catch {
    return first;
  }
}
