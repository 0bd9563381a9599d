/** One channel of a trace: its chart and what is drawn on it. */
import { Chart } from "./chart.js";
import { said } from "./phrases.js";
import { Samples } from "./samples.js";
import { fetchBuckets, fetchDetail, inDetail } from "./trace.js";
import { part, write } from "./tile.js";
import { bindPointer, cursorOptions, takeSelection } from "./view.js";
import { printed, printedLimit, text } from "./words.js";

const NOTHING = { samples: new Samples(), gaps: [], step: 1, perSecond: 1 };
const FINER = 0.5; // of the whole: below that the overview's buckets are too coarse

export class Lane {
  /** `pointed(t)` is told where the mouse is; `pressed(event)` takes keys. */
  constructor(box, view, record, pointed, pressed, alarms = []) {
    this.box = box;
    this.record = record;
    this.overview = NOTHING;
    this.detail = null;
    this.closer = null;
    this.figures = "recorded";
    const number = (name) => (box.dataset[name] === "" ? null : Number(box.dataset[name]));
    this.chart = new Chart(box, {
      low: number("low"), high: number("high"), decimals: number("decimals"), give: number("give"),
      cursor: cursorOptions("trace", view), alarms,
      hooks: {
        setSelect: [(u) => takeSelection(u, view)],
        setCursor: [(u) => { if (u.cursor.left >= 0) pointed(u.posToVal(u.cursor.left, "x")); }],
        ready: [(u) => bindPointer(u, view)],
      },
    });
    box.addEventListener("keydown", pressed);
  }

  /** Take an overview of the whole record. */
  take(overview) {
    if (!overview) return;
    this.overview = overview;
    if (!overview.window) return;
    const { low, high, note } = overview.window;
    Object.assign(this.chart.spec, { low, high });
    const { quantity, unit } = this.box.dataset;
    const limits = `${printedLimit(low, quantity)} – ${printedLimit(high, quantity)} ${unit}`;
    const shown = text("window", { limits, note: note ? `; ${said(note)}` : "" });
    write(part(this.box.parentElement, "window"), shown);
  }

  /** Fetch what shows a range better than the overview, with a margin to move in. */
  async refine(range, whole, again) {
    if (this.isDetail(range)) return this.refineTo("detail", range, whole, again, fetchDetail);
    if (range[1] - range[0] < FINER * (whole[1] - whole[0])) return this.refineTo("closer", range, whole, again, fetchBuckets);
    return undefined;
  }

  async refineTo(name, range, whole, again, fetch) {
    if (this.covers(name, range) && !again) return;
    const margin = (range[1] - range[0]) / 2;
    const wider = [Math.max(range[0] - margin, whole[0]), Math.min(range[1] + margin, whole[1])];
    const span = name === "closer" || this.isDetail(wider) ? wider : range;
    this[name] = { ...(await fetch(this.box.dataset.channel, span, this.figures)), span };
  }

  isDetail(range) {
    return inDetail(range, this.overview.perSecond);
  }

  /** Tell whether what was fetched covers a range; buckets must not be much too coarse for it. */
  covers(name, [from, to]) {
    const held = this[name];
    if (held === null || held.span[0] > from || to > held.span[1]) return false;
    return name === "detail" || held.span[1] - held.span[0] <= 4 * (to - from);
  }

  /** Give what is best drawn for a range. */
  best(range) {
    if (this.isDetail(range) && this.covers("detail", range)) return this.detail;
    const finer = this.closer && this.closer.span[0] <= range[0] && range[1] <= this.closer.span[1];
    return finer ? this.closer : this.overview;
  }

  draw(range) {
    const { samples, gaps } = this.best(range);
    this.chart.show(samples, gaps, range, this.record);
    this.box.dataset.detail = this.best(range) === this.detail ? "readings" : "buckets";
    this.box.dataset.drawn = String(samples.t.length);
  }

  /** Write the value at a time; in an overview a value is one end of its bucket. */
  valueAt(t, range) {
    const { samples, gaps, step } = this.best(range);
    const { label, quantity, unit } = this.box.dataset;
    const i = samples.nearest(t, step);
    if (i < 0 || gaps.some(([from, to]) => from < t && t < to)) return `${label} ${text("gap")}`;
    const reason = samples.r[i] ? `: ${said(samples.r[i])}` : "";
    const quality = samples.q[i] === "good" ? "" : ` (${text(samples.q[i])}${reason})`;
    return `${label} ${printed(samples.v[i], quantity)} ${unit}${quality}`;
  }

  point(t) {
    this.chart.plot.setCursor({ left: this.chart.plot.valToPos(t, "x"), top: 10 }, false);
  }
}
