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
  let told = {};
  try {
    told = event.data.json();
  } catch {
    // Something must be shown for each push; that there is something to see is true in any case.
  }
  const shown = {
    body: told.body || "Open the monitor to see it.",
    icon: "/static/icon-192.png",
    data: { path: told.path || "/" },
    requireInteraction: told.urgent === true,
  };
  if (told.tag) Object.assign(shown, { tag: told.tag, renotify: true });
  event.waitUntil(self.registration.showNotification(told.title || "A message of the monitor", shown));
});

self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  const url = new URL(event.notification.data?.path || "/", self.location.origin);
  if (url.origin === self.location.origin) event.waitUntil(self.clients.openWindow(url.href));
});
