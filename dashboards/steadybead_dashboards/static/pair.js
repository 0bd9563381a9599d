/** A chart of two lines over the same buckets: as recorded, and as recalibrated. */
import { fixed } from "./figures.js";
import { clock } from "./times.js";

/* global uPlot */

const FONT = "13px system-ui, sans-serif";

export class Pair {
  constructor(box, decimals) {
    this.box = box;
    this.decimals = decimals;
    this.data = [[], [], []];
    this.build();
    new ResizeObserver(() => this.plot.setSize({ width: box.clientWidth, height: box.clientHeight })).observe(box);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { this.plot.destroy(); this.build(); });
  }

  /** Show rows of [time in s, recorded, recalibrated] over [from, to] in s; null breaks a line. */
  show(rows, [from, to]) {
    this.data = [0, 1, 2].map((i) => rows.map((row) => row[i]));
    this.span = to - from;
    this.range = [from, to];
    this.plot.setData(this.data, false);
    this.plot.setScale("x", { min: from, max: to });
  }

  build() {
    const style = getComputedStyle(this.box);
    const of = (name) => style.getPropertyValue(name).trim();
    const grid = { stroke: of("--chart-grid"), width: 1 };
    const axis = { stroke: of("--soft"), font: FONT, grid, ticks: { ...grid, size: 5 } };
    const line = { spanGaps: false, points: { show: false } };
    this.plot = new uPlot({
      width: this.box.clientWidth || 320,
      height: this.box.clientHeight || 240,
      legend: { show: false },
      cursor: { show: false },
      scales: { x: { time: false }, y: { range: (_, low, high) => padded(low, high) } },
      series: [
        {},
        { ...line, stroke: of("--line-strong"), width: 1.5, dash: [5, 4] },
        { ...line, stroke: of("--chart-line"), width: 2 },
      ],
      axes: [
        { ...axis, size: 30, space: 80, values: (_, ticks) => ticks.map((t) => this.label(t)) },
        { ...axis, size: 56, space: 30, values: (_, ticks) => ticks.map((v) => fixed(v, this.decimals)) },
      ],
    }, this.data, this.box);
    if (this.range) this.plot.setScale("x", { min: this.range[0], max: this.range[1] });
  }

  label(t) {
    if (this.span <= 172_800) return clock(t * 1000).slice(0, 5);
    const [month, day] = [new Date(t * 1000).getMonth() + 1, new Date(t * 1000).getDate()];
    return document.documentElement.lang === "en" ? `${month}-${day}` : `${day}.${month}.`;
  }
}

/** A steady line is never blown up to noise. */
function padded(low, high) {
  if (low === null || high === null) return [0, 1];
  const pad = Math.max((high - low) * 0.1, 2);
  return [low - pad, high + pad];
}
