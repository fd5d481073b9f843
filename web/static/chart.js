// Draws a place's past: humidity band, dew point, the room beside it, the limit as a line, gaps as gaps.
const holder = document.querySelector("[data-chart]");

function colour(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(name).trim();
}

function draw() {
  const { columns, axis } = JSON.parse(holder.querySelector("script").textContent);
  if (!columns.time.length) return;
  const limit = holder.dataset.limit === "" ? null : Number(holder.dataset.limit);
  const flat = columns.time.map(() => limit);
  const line = (label, name, more = {}) => ({ label, stroke: colour(name), width: 2, spanGaps: false, points: { show: false }, ...more });
  const axisLook = { stroke: colour("--soft"), grid: { stroke: colour("--edge"), width: 1 }, ticks: { show: false }, font: "12px system-ui" };
  const options = {
    width: holder.clientWidth,
    height: 260,
    legend: { show: false },
    cursor: { show: false },
    scales: { x: { time: false }, y: { range: (u, low, high) => [Math.min(0, low - 2), Math.max(20, high + 3)] } },
    // The marks come from the monitor in the site's own time: the viewer's zone must not matter.
    axes: [
      { ...axisLook, splits: () => axis.map((mark) => mark[0]), values: () => axis.map((mark) => mark[1]) },
      { ...axisLook, size: 36 },
    ],
    bands: [{ series: [2, 1], fill: `${colour("--calm")}33` }],
    series: [
      {},
      line("lowest", "--calm", { width: 0 }),
      line("highest", "--calm", { width: 0 }),
      line("mean", "--calm"),
      line("dew point", "--dew", { dash: [2, 4] }),
      line("room", "--room", { dash: [8, 5] }),
      line("limit", "--ink", { width: 1 }),
    ],
  };
  const data = [columns.time, columns.lowest, columns.highest, columns.mean, columns.dew_point, columns.room, flat];
  holder.querySelector(".uplot")?.remove();
  new window.uPlot(options, data, holder);
  holder.dataset.drawn = "yes";
}

draw();
window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
window.addEventListener("resize", draw);
