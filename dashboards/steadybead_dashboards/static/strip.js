/** The strip chart of the last five minutes of one channel. */
import { Chart } from "./chart.js";
import { Samples } from "./samples.js";
import { serverNow } from "./times.js";
import { quantity } from "./words.js";

const SHOWN_S = 300;
const GAP_AT_LEAST_S = 2.5;

export class Strip {
  constructor(box, station) {
    this.box = box;
    this.channel = `${station}/${box.dataset.chart}`;
    this.samples = new Samples();
    this.waiting = [];
    this.spec = { low: null, high: null, decimals: quantity(box.dataset.quantity).decimals };
    this.chart = new Chart(box, this.spec);
    this.load();
  }

  /** Take a live value. */
  add(value) {
    this.spec.low = value.low;
    this.spec.high = value.high;
    const reading = [Date.parse(value.time) / 1000, value.value, value.quality, value.reason];
    if (this.waiting) this.waiting.push(reading);
    else this.samples.add(...reading);
  }

  /** Draw up to now. */
  draw() {
    const now = serverNow() / 1000;
    this.samples.forget(now - SHOWN_S - 10);
    const gaps = this.samples.gaps(this.samples.gapAfter(GAP_AT_LEAST_S));
    this.chart.show(this.samples, gaps, [now - SHOWN_S, now]);
  }

  /** Fill in what was measured before the page was opened. */
  async load() {
    const end = serverNow();
    const query = new URLSearchParams({
      channel: this.channel,
      start: new Date(end - SHOWN_S * 1000).toISOString(),
      end: new Date(end).toISOString(),
    });
    try {
      const answer = await fetch(`/api/v1/readings?${query}`, { headers: { Accept: "application/json" } });
      const { items } = answer.ok ? await answer.json() : { items: [] };
      for (const row of items) this.samples.add(Date.parse(row.time) / 1000, row.value, row.quality, row.reason);
    } catch {
      // Without the past the strip starts now; the link state tells of a lost connection.
    }
    for (const reading of this.waiting) this.samples.add(...reading);
    this.waiting = null;
    this.draw();
  }
}
