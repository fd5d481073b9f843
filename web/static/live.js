// Swaps page parts as the monitor sends them; asks every ten seconds while the stream has no place.
import { setNow, tick } from "./ages.js";

const ASK_MS = 10000;
const ASKS_BEFORE_LISTENING = 6;
const QUIET_MS = 25000;
const lost = document.querySelector("[data-lost]");
const held = document.querySelector("[data-held]");
const hold = document.querySelector("[data-hold]");
let source = null;
let asking = null;
let asks = 0;
let heardMs = Date.now();
let still = false;

function swap(id, html) {
  const old = document.getElementById(id);
  if (!old) return;
  const reached = "a, button, summary";
  const place = [...old.querySelectorAll(reached)].indexOf(document.activeElement);
  const template = document.createElement("template");
  template.innerHTML = html;
  const fresh = template.content.firstElementChild;
  old.replaceWith(template.content);
  // Whoever is there by keyboard stays there.
  if (place >= 0) fresh.querySelectorAll(reached)[place]?.focus({ preventScroll: true });
}

function take(text) {
  if (still) return;
  heardMs = Date.now();
  lost.hidden = true;
  const { now_s: nowS, layout, parts } = JSON.parse(text);
  const mine = document.body.dataset.layout;
  if (mine && mine !== layout) {
    location.reload(); // boxes came or went
    return;
  }
  for (const [id, html] of Object.entries(parts)) swap(id, html);
  setNow(nowS);
}

async function ask() {
  asks += 1;
  if (asks % ASKS_BEFORE_LISTENING === 0) listen();
  try {
    const response = await fetch("/parts");
    if (response.ok) take(await response.text());
  } catch {
    // The line about the lost connection tells; the next try comes by itself.
  }
}

function listen() {
  source?.close();
  source = new EventSource("/events");
  source.addEventListener("parts", (event) => {
    clearInterval(asking);
    asking = null;
    take(event.data);
  });
  source.addEventListener("error", () => {
    // A refused stream is closed for good; one that broke off comes back by itself.
    if (source?.readyState === EventSource.CLOSED) asking ??= setInterval(ask, ASK_MS);
  });
}

function start() {
  if (!source && !still) listen();
}

function stop() {
  source?.close();
  source = null;
  clearInterval(asking);
  asking = null;
}

hold.hidden = false;
hold.addEventListener("click", () => {
  still = !still;
  hold.textContent = still ? "Go on" : "Hold still";
  held.hidden = !still;
  lost.hidden = true;
  heardMs = Date.now();
  if (still) stop();
  else start();
});
document.addEventListener("visibilitychange", () => (document.hidden ? stop() : start()));
setInterval(() => {
  if (still) return;
  tick();
  if (!document.hidden && Date.now() - heardMs > QUIET_MS) lost.hidden = false;
}, 1000);
start();
