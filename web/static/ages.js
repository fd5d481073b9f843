// Lets every age on the page count on, by the monitor's clock, not the phone's.
let aheadS = 0;

export function setNow(nowS) {
  aheadS = nowS - Date.now() / 1000;
  tick();
}

function words(seconds) {
  if (seconds < 90) return `${Math.round(seconds)} s`;
  if (seconds < 5400) return `${Math.round(seconds / 60)} min`;
  if (seconds < 129600) return `${Math.round(seconds / 3600)} h`;
  return `${Math.round(seconds / 86400)} days`;
}

function becomeOld(holder) {
  holder.dataset.state = "stale";
  const figure = holder.querySelector(".figure");
  if (!figure) return;
  figure.querySelector(".state")?.remove();
  const word = document.createElement("b");
  word.className = "state";
  word.textContent = "old";
  figure.prepend(word, " ");
}

export function tick(root = document) {
  const nowS = Date.now() / 1000 + aheadS;
  for (const age of root.querySelectorAll("time[data-at]")) {
    const seconds = Math.max(0, nowS - Number(age.dataset.at));
    age.textContent = `${words(seconds)} ago`;
    // A reading that has become old while nothing came is shown as old at once.
    const due = Number(age.dataset.due || 0);
    const holder = age.closest("[data-state]");
    if (due && holder && seconds > 2 * due && ["fresh", "late"].includes(holder.dataset.state)) becomeOld(holder);
  }
}
