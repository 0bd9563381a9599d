/** One channel of a trace: its chart and what is drawn on it. */
import { Chart } from "./chart.js";
import { Samples } from "./samples.js";
import { fetchDetail, inDetail } from "./trace.js";
import { part, write } from "./tile.js";
import { bindPointer, cursorOptions, takeSelection } from "./view.js";
import { printed, printedLimit, text } from "./words.js";

const NOTHING = { samples: new Samples(), gaps: [], step: 1 };

export class Lane {
  /** `pointed(t)` is told where the mouse is; `pressed(event)` takes keys. */
  constructor(box, view, record, pointed, pressed) {
    this.box = box;
    this.record = record;
    this.overview = NOTHING;
    this.detail = null;
    this.figures = "recorded";
    const number = (name) => (box.dataset[name] === "" ? null : Number(box.dataset[name]));
    this.chart = new Chart(box, {
      low: number("low"), high: number("high"), decimals: number("decimals"),
      cursor: cursorOptions("trace", view),
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
    const shown = text("window", { limits, note: note ? `; ${note}` : "" });
    write(part(this.box.parentElement, "window"), shown);
  }

  /** Fetch single readings for a range that is short enough, with a margin to move in. */
  async refine(range, whole, again) {
    if (!inDetail(range) || (this.covers(range) && !again)) return;
    const margin = (range[1] - range[0]) / 2;
    const wider = [Math.max(range[0] - margin, whole[0]), Math.min(range[1] + margin, whole[1])];
    const span = inDetail(wider) ? wider : range;
    this.detail = { ...(await fetchDetail(this.box.dataset.channel, span, this.figures)), span };
  }

  /** Tell whether single readings are there for a range. */
  covers([from, to]) {
    return this.detail !== null && this.detail.span[0] <= from && to <= this.detail.span[1];
  }

  /** Give what is best drawn for a range. */
  best(range) {
    return inDetail(range) && this.covers(range) ? this.detail : this.overview;
  }

  draw(range) {
    const { samples, gaps } = this.best(range);
    this.chart.show(samples, gaps, range, this.record);
    this.box.dataset.detail = this.best(range) === this.detail ? "readings" : "buckets";
  }

  /** Write the value at a time; in an overview a value is one end of its bucket. */
  valueAt(t, range) {
    const { samples, gaps, step } = this.best(range);
    const { label, quantity, unit } = this.box.dataset;
    const i = samples.nearest(t, step);
    if (i < 0 || gaps.some(([from, to]) => from < t && t < to)) return `${label} ${text("gap")}`;
    const reason = samples.r[i] ? `: ${samples.r[i]}` : "";
    const quality = samples.q[i] === "good" ? "" : ` (${text(samples.q[i])}${reason})`;
    return `${label} ${printed(samples.v[i], quantity)} ${unit}${quality}`;
  }

  point(t) {
    this.chart.plot.setCursor({ left: this.chart.plot.valToPos(t, "x"), top: 10 }, false);
  }
}
