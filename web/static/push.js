// Lets this browser be told: asks for leave, subscribes, and hands the rest to an ordinary form.
const form = document.querySelector("[data-push]");
const why = document.querySelector("[data-push-why]");

function say(words) {
  why.textContent = words;
  why.hidden = false;
}

function bytes(base64url) {
  const plain = atob(base64url.replaceAll("-", "+").replaceAll("_", "/"));
  return Uint8Array.from(plain, (letter) => letter.charCodeAt(0));
}

function text(buffer) {
  const plain = String.fromCharCode(...new Uint8Array(buffer));
  return btoa(plain).replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
}

async function subscription() {
  const registration = await navigator.serviceWorker.ready;
  const answer = await fetch(form.dataset.push, { credentials: "same-origin" });
  if (!answer.ok) throw new Error("the board gave no key");
  const key = bytes((await answer.text()).trim());
  // One that was made for another key, before a restore, would not let itself be used.
  await (await registration.pushManager.getSubscription())?.unsubscribe();
  return registration.pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: key });
}

async function subscribe(event) {
  event.preventDefault();
  if ((await Notification.requestPermission()) !== "granted") {
    say("This browser was not allowed to show messages. Allow it in the browser's settings for this page, then press again.");
    return;
  }
  say("Asking the browser's push service…");
  try {
    const made = await subscription();
    form.elements.endpoint.value = made.endpoint;
    form.elements.p256dh.value = text(made.getKey("p256dh"));
    form.elements.auth.value = text(made.getKey("auth"));
    form.submit();
  } catch (error) {
    say(`This browser could not be set up: ${error.message}. It needs the internet, and some phones need this page on the home screen first.`);
  }
}

function start() {
  if (!window.isSecureContext) {
    say("Messages to this very browser need these pages over HTTPS: reach the board under an https:// address.");
    return;
  }
  if (!("serviceWorker" in navigator)) {
    say("This browser takes no messages.");
    return;
  }
  // Also for the page that is shown while the board cannot be reached.
  navigator.serviceWorker.register("/push-worker.js", { scope: "/" }).catch((error) => say(`This browser refuses to be set up: ${error.message}.`));
  if (!("PushManager" in window)) {
    say("This browser takes no messages here. Some phones do once this page is on the home screen and opened from there.");
    return;
  }
  form.hidden = false;
  form.addEventListener("submit", subscribe);
}

if (form) start();
