// Draws a place's past: humidity band, dew point, the room beside it, the limit as a line, gaps as gaps.
const holder = document.querySelector("[data-chart]");

const NAME_PX = 62;

function colour(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
}

function line(label, name, more = {}) {
  return { label, stroke: colour(name), width: 2, spanGaps: false, points: { show: false }, ...more };
}

function pane(height, unit, range, axis, names, series, data, bands = []) {
  const look = { stroke: colour("--soft"), grid: { stroke: colour("--edge"), width: 1 }, ticks: { show: false }, font: "12px system-ui" };
  // As many names as there is room for.
  const every = Math.ceil((axis.length * NAME_PX) / holder.clientWidth);
  const number = (value) => `${String(value).replace("-", "\u2212")} ${unit}`;
  const options = {
    width: holder.clientWidth,
    height,
    padding: [8, 17, 4, 0],
    legend: { show: false },
    cursor: { show: false },
    scales: { x: { time: false }, y: { range } },
    // The marks come from the monitor in the site's own time: the viewer's zone must not matter.
    axes: [
      { ...look, size: names ? 30 : 6, splits: () => axis.map((mark) => mark[0]), values: () => axis.map((mark, at) => (names && at % every === 0 ? mark[1] : "")) },
      { ...look, size: 46, space: 20, values: (_, values) => values.map(number) },
    ],
    bands,
    series: [{}, ...series],
  };
  new window.uPlot(options, data, holder);
}

function draw() {
  const { columns, axis } = JSON.parse(holder.querySelector("script").textContent);
  if (!columns.time.length) return;
  const limit = holder.dataset.limit === "" ? null : Number(holder.dataset.limit);
  const flat = columns.time.map(() => limit);
  for (const old of holder.querySelectorAll(".uplot")) old.remove();
  const top = Math.min(100, limit === null || limit >= 100 ? 20 : limit * 1.2);
  const humidity = [line("lowest", "--calm", { width: 0 }), line("highest", "--calm", { width: 0 }), line("mean", "--calm"),
    line("room", "--room", { dash: [8, 5] }), line("limit", "--ink", { width: 1 })];
  pane(230, "%", (_, low, high) => [0, Math.max(top, high + 3)], axis, false, humidity,
    [columns.time, columns.lowest, columns.highest, columns.mean, columns.room, limit >= 100 ? flat.map(() => null) : flat],
    [{ series: [2, 1], fill: `${colour("--calm")}40` }]);
  pane(110, "°C", (_, low, high) => [low - 2, high + 2], axis, true, [line("dew point", "--dew", { dash: [2, 4] })],
    [columns.time, columns.dew_point]);
  holder.dataset.drawn = "yes";
}

draw();
window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
window.addEventListener("resize", draw);
