// Lets this browser be told: asks for leave, subscribes, and hands the rest to an ordinary form.
const form = document.querySelector("[data-push]");
const why = document.querySelector("[data-push-why]");
const button = form?.querySelector("button");
const LONGEST_MS = 60_000;

function say(words, kind = "fine") {
  why.textContent = words;
  why.className = `way-in ${kind}`;
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

// Nothing where the board is away, or leads whoever is not signed in any more to its door.
async function boardKey() {
  try {
    const answer = await fetch(form.dataset.push, { credentials: "same-origin" });
    return answer.ok && !answer.redirected ? bytes((await answer.text()).trim()) : null;
  } catch {
    return null;
  }
}

async function subscription(key) {
  const registration = await navigator.serviceWorker.ready;
  // One that was made for another key, before a restore, would not let itself be used.
  await (await registration.pushManager.getSubscription())?.unsubscribe();
  return registration.pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: key });
}

function giveUp(promise) {
  const late = new Promise((_, reject) => setTimeout(() => reject(new Error("nothing answered")), LONGEST_MS));
  return Promise.race([promise, late]);
}

async function subscribe() {
  say("Asking you, then the browser's push service…");
  if ((await Notification.requestPermission()) !== "granted") {
    say("This browser was not allowed to show messages. Allow it in the browser's settings for this page, then press again.", "fault");
    return false;
  }
  const key = await boardKey();
  if (key === null) {
    say("The board gave no key: it cannot be reached, or you are not signed in any more. Reload this page, then press again.", "fault");
    return false;
  }
  try {
    const made = await giveUp(subscription(key));
    form.elements.endpoint.value = made.endpoint;
    form.elements.p256dh.value = text(made.getKey("p256dh"));
    form.elements.auth.value = text(made.getKey("auth"));
    return true;
  } catch (error) {
    say(`This browser could not be set up: ${sentence(error)} It needs the internet, and some phones need this page on the home screen first.`, "fault");
    return false;
  }
}

// Browsers end their words with a stop or without one, and some begin with addresses that tell nobody anything.
function sentence(error) {
  return `${error.message.split("): ").pop().replace(/\.$/, "")}.`;
}

async function press(event) {
  event.preventDefault();
  button.disabled = true; // twice would add it twice, and only the later one would work
  if (await subscribe()) form.submit();
  else button.disabled = false;
}

async function register() {
  try {
    // Also for the page that is shown while the board cannot be reached.
    return await navigator.serviceWorker.register("/push-worker.js", { scope: "/" });
  } catch (error) {
    say(`This browser cannot be set up for messages. Most often it does not trust the board's certificate, and passing its warning is not enough: make this device trust it, or have the board use one that it trusts. (${sentence(error)})`);
    return null;
  }
}

async function start() {
  if (!window.isSecureContext) {
    say("Messages to this very browser need these pages over HTTPS: reach the board under an https:// address.");
    return;
  }
  if (!("serviceWorker" in navigator)) {
    say("This browser takes no messages.");
    return;
  }
  const registration = await register();
  if (registration === null) return;
  if (!("PushManager" in window) || !("Notification" in window)) {
    say("This browser takes no messages here. Some phones do once this page is on the home screen and opened from there.");
    return;
  }
  form.hidden = false;
  form.addEventListener("submit", press);
  // Back again from the next page, with all as it was left.
  window.addEventListener("pageshow", () => { button.disabled = false; });
  if (await registration.pushManager.getSubscription().catch(() => null)) {
    say("This browser was set up before. If it is in the list above, press again only when nothing comes by it, and remove the old one.");
  }
}

if (form) start();
