// Swaps page parts as the monitor sends them; asks every ten seconds where the stream has no place.
import { setNow, tick } from "./ages.js";

const ASK_MS = 10000;
const QUIET_MS = 25000;
const lost = document.querySelector("[data-lost]");
const hold = document.querySelector("[data-hold]");
let source = null;
let asking = null;
let heardMs = Date.now();
let still = false;

function take(text) {
  heardMs = Date.now();
  lost.hidden = true;
  const { now_s: nowS, parts } = JSON.parse(text);
  for (const [id, html] of Object.entries(parts)) {
    const old = document.getElementById(id);
    if (!old || old.contains(document.activeElement)) continue;
    const template = document.createElement("template");
    template.innerHTML = html;
    old.replaceWith(template.content);
  }
  setNow(nowS);
}

async function ask() {
  try {
    const response = await fetch("/parts");
    if (response.ok) take(await response.text());
  } catch {
    // The line below tells; the next try comes by itself.
  }
}

function start() {
  if (source || still) return;
  source = new EventSource("/events");
  source.addEventListener("parts", (event) => take(event.data));
  source.addEventListener("error", () => {
    if (source && source.readyState === EventSource.CLOSED && !asking) asking = setInterval(ask, ASK_MS);
  });
}

function stop() {
  if (source) source.close();
  source = null;
  clearInterval(asking);
  asking = null;
}

hold.hidden = false;
hold.addEventListener("click", () => {
  still = !still;
  hold.setAttribute("aria-pressed", String(still));
  hold.textContent = still ? "Go on" : "Hold still";
  if (still) stop();
  else start();
});
document.addEventListener("visibilitychange", () => (document.hidden ? stop() : start()));
setInterval(() => {
  tick();
  if (!still && !document.hidden && Date.now() - heardMs > QUIET_MS) lost.hidden = false;
}, 1000);
start();
