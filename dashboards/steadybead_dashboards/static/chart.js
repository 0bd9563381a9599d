/** A chart of one channel: the line, its window, margins, gaps and doubtful readings. */
import { fixed } from "./figures.js";
import { clock } from "./times.js";

/* global uPlot */

const FONT = "13px system-ui, sans-serif";
const Y_AXIS_PX = 52;
const X_AXIS_PX = 30;

/**
 * Draw a channel into a box. `spec`: `low`, `high` (null: open), `decimals`, `height`, `cursor`
 * (uPlot's options), `hooks`, `give` (± around the line), `alarms` (times in s). Fill it with `show`.
 */
export class Chart {
  constructor(box, spec) {
    this.box = box;
    this.spec = spec;
    this.marks = null;
    this.build([[], []]);
    new ResizeObserver(() => this.fit()).observe(box);
    for (const media of ["(prefers-color-scheme: dark)", "print"]) {
      matchMedia(media).addEventListener("change", () => this.rebuild());
    }
  }

  /** Show samples; `gaps` are pairs of times, `range` is [from, to] in s, `record` start and stop. */
  show(samples, gaps, range, record = {}) {
    this.marks = { samples, gaps, ...record };
    this.plot.setData(samples.line(gaps), false);
    this.plot.setScale("x", { min: range[0], max: range[1] });
  }

  build(data) {
    this.colours = coloursOf(this.box);
    this.plot = new uPlot(this.options(), data, this.box);
  }

  rebuild() {
    const { data, scales } = this.plot;
    this.plot.destroy();
    this.build(data);
    this.fit();
    this.plot.setScale("x", { min: scales.x.min, max: scales.x.max });
  }

  fit() {
    const { clientWidth: width, clientHeight: height } = this.box;
    if (width && (width !== this.plot.width || height !== this.plot.height)) this.plot.setSize({ width, height });
  }

  options() {
    const { colours, spec } = this;
    const axis = {
      stroke: colours.soft, font: FONT,
      grid: { stroke: colours.grid, width: 1 }, ticks: { stroke: colours.grid, width: 1, size: 5 },
    };
    return {
      width: this.box.clientWidth || 320,
      height: this.box.clientHeight || 200,
      legend: { show: false },
      cursor: spec.cursor ?? { show: false },
      scales: { x: { time: false }, y: { range: (_, low, high) => this.valueRange(low, high) } },
      series: [{}, { stroke: colours.line, width: 1.6, spanGaps: false, points: { size: 5, width: 1.5, fill: colours.line } }],
      axes: [
        { ...axis, size: X_AXIS_PX, space: 74, incrs: TIME_STEPS, values: (_, ticks, _axis, _space, step) => ticks.map((t) => label(t, step)) },
        { ...axis, size: Y_AXIS_PX, space: 28, values: (_, ticks) => ticks.map((v) => fixed(v, this.tickDecimals(ticks))) },
      ],
      hooks: { ...spec.hooks, drawClear: [(u) => this.under(u)], draw: [(u) => this.over(u)] },
    };
  }

  tickDecimals(ticks) {
    return ticks.length > 1 && ticks[1] - ticks[0] < 1 ? 1 : 0;
  }

  /** The window is always in sight, and a steady line is never blown up to noise. */
  valueRange(low, high) {
    const give = this.spec.give ?? 0;
    const [least, most] = [low === null ? null : low - give, high === null ? null : high + give];
    const ends = [least, most, this.spec.low, this.spec.high].filter((v) => v !== null && Number.isFinite(v));
    if (!ends.length) return [0, 1];
    const bottom = Math.min(...ends);
    const top = Math.max(...ends);
    const pad = Math.max((top - bottom) * 0.1, this.spec.decimals ? 1 : 4);
    return [bottom - pad, top + pad];
  }

  /** Below the line: margins, the window's band, gaps. */
  under(u) {
    const { colours, marks, spec } = this;
    const { left, top, width, height } = u.bbox;
    const paint = u.ctx;
    const x = (t) => Math.min(Math.max(u.valToPos(t, "x", true), left), left + width);
    const y = (v) => Math.min(Math.max(u.valToPos(v, "y", true), top), top + height);
    paint.save();
    if (marks?.start) {
      paint.fillStyle = colours.margin;
      paint.fillRect(left, top, x(marks.start) - left, height);
      if (marks.stop) paint.fillRect(x(marks.stop), top, left + width - x(marks.stop), height);
    }
    const upper = spec.high === null ? top : y(spec.high);
    const lower = spec.low === null ? top + height : y(spec.low);
    if (spec.low !== null || spec.high !== null) {
      paint.fillStyle = colours.band;
      paint.fillRect(left, upper, width, lower - upper);
      paint.strokeStyle = colours.bandEdge;
      paint.lineWidth = devicePixelRatio;
      if (spec.high !== null) rule(paint, left, upper, left + width, upper);
      if (spec.low !== null) rule(paint, left, lower, left + width, lower);
    }
    if (spec.give && marks) ribbon(u, spec.give, colours.give);
    paint.strokeStyle = colours.gap;
    paint.setLineDash([4 * devicePixelRatio, 4 * devicePixelRatio]);
    for (const [from, to] of marks?.gaps ?? []) {
      if (x(to) <= left || x(from) >= left + width) continue;
      rule(paint, x(from), top, x(from), top + height);
      rule(paint, x(to), top, x(to), top + height);
    }
    paint.restore();
  }

  /** Above the line: a diamond on each uncertain reading, a cross on each bad one, alarms on top. */
  over(u) {
    const samples = this.marks?.samples;
    if (!samples) return;
    for (const t of this.spec.alarms ?? []) flag(u, t, this.colours.bad);
    const { min, max } = u.scales.x;
    const { left, top, width, height } = u.bbox;
    const paint = u.ctx;
    const pixel = devicePixelRatio;
    let lastX = { bad: -Infinity, uncertain: -Infinity };
    paint.save();
    paint.beginPath();
    paint.rect(left, top, width, height);
    paint.clip();
    paint.lineWidth = 1.6 * pixel;
    for (let i = 0; i < samples.t.length; i += 1) {
      const quality = samples.q[i];
      if (quality === "good" || samples.t[i] < min || samples.t[i] > max) continue;
      const x = u.valToPos(samples.t[i], "x", true);
      if (x - lastX[quality] < 9 * pixel) continue;
      lastX[quality] = x;
      const y = samples.v[i] === null ? top + height - 8 * pixel : u.valToPos(samples.v[i], "y", true);
      if (quality === "bad") cross(paint, x, y, 4.5 * pixel, this.colours.bad);
      else diamond(paint, x, y, 4.5 * pixel, this.colours.uncertain);
    }
    paint.restore();
  }
}

const TIME_STEPS = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 28800, 86400];

const label = (t, step) => (step < 60 ? clock(t * 1000) : clock(t * 1000).slice(0, 5));

function coloursOf(box) {
  const style = getComputedStyle(box);
  const of = (name) => style.getPropertyValue(name).trim();
  return {
    line: of("--chart-line"), soft: of("--soft"), grid: of("--chart-grid"), band: of("--chart-band"),
    bandEdge: of("--chart-band-edge"), margin: of("--chart-margin"), gap: of("--chart-gap"),
    bad: of("--high"), give: of("--chart-give"), uncertain: of("--medium-mark"),
  };
}

/** The ± around the line, stretch by stretch: it ends where the line ends. */
function ribbon(u, give, colour) {
  const [xs, ys] = u.data;
  const { min, max } = u.scales.x;
  const paint = u.ctx;
  const { left, top, width, height } = u.bbox;
  paint.save();
  paint.beginPath();
  paint.rect(left, top, width, height);
  paint.clip();
  paint.fillStyle = colour;
  let run = [];
  const close = () => {
    if (run.length > 1) fillAround(u, run, give);
    run = [];
  };
  for (let i = 0; i < xs.length; i += 1) {
    if (ys[i] === null) close();
    else if ((xs[i + 1] ?? max) >= min && (xs[i - 1] ?? min) <= max) run.push([xs[i], ys[i]]);
  }
  close();
  paint.restore();
}

function fillAround(u, run, give) {
  const paint = u.ctx;
  const point = (t, v) => paint.lineTo(u.valToPos(t, "x", true), u.valToPos(v, "y", true));
  paint.beginPath();
  for (const [t, v] of run) point(t, v + give);
  for (const [t, v] of run.reverse()) point(t, v - give);
  paint.closePath();
  paint.fill();
}

/** A small flag at the upper edge where an alarm came. */
function flag(u, t, colour) {
  const { min, max } = u.scales.x;
  if (t < min || t > max) return;
  const x = u.valToPos(t, "x", true);
  const { top } = u.bbox;
  const r = 6 * devicePixelRatio;
  const paint = u.ctx;
  paint.save();
  paint.fillStyle = colour;
  paint.beginPath();
  paint.moveTo(x - r, top);
  paint.lineTo(x + r, top);
  paint.lineTo(x, top + 1.6 * r);
  paint.closePath();
  paint.fill();
  paint.restore();
}

function rule(paint, x1, y1, x2, y2) {
  paint.beginPath();
  paint.moveTo(x1, y1);
  paint.lineTo(x2, y2);
  paint.stroke();
}

function cross(paint, x, y, r, colour) {
  paint.strokeStyle = colour;
  rule(paint, x - r, y - r, x + r, y + r);
  rule(paint, x - r, y + r, x + r, y - r);
}

function diamond(paint, x, y, r, colour) {
  paint.strokeStyle = colour;
  paint.beginPath();
  paint.moveTo(x, y - r);
  paint.lineTo(x + r, y);
  paint.lineTo(x, y + r);
  paint.lineTo(x - r, y);
  paint.closePath();
  paint.stroke();
}
