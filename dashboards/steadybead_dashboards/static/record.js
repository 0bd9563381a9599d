/** Start and stop of the weld record of one gun. */
import { act } from "./acts.js";
import { part, write } from "./tile.js";
import { setTime } from "./times.js";
import { text } from "./words.js";

const BELIEVE_AFTER_MS = 10_000;
const WELDER_KEY = "steadybead-welder";

export class Record {
  constructor(box, station) {
    this.station = station;
    this.gun = box.dataset.gun;
    this.panel = box.querySelector(".record");
    this.form = part(this.panel, "start");
    this.outcome = part(this.panel, "outcome");
    this.form?.addEventListener("submit", (event) => { event.preventDefault(); this.start(); });
    this.panel.querySelector('[data-act="stop"]')?.addEventListener("click", () => this.stop());
    if (this.form) this.form.elements.welder.value = localStorage.getItem(WELDER_KEY) ?? "";
  }

  /** Follow the live message: another record may have been started or stopped elsewhere. */
  async follow(id) {
    const shown = this.panel.dataset.weld || null;
    if (this.busy || this.expects(id) || id === shown) return;
    if (id === null) return this.showNone();
    this.panel.dataset.weld = id;
    const answer = await fetch(`/api/v1/welds/${encodeURIComponent(id)}`).catch(() => null);
    this.showRunning(answer?.ok ? await answer.json() : { id, start: new Date().toISOString() });
  }

  /** Tell whether a live message is still from before an act of this page. */
  expects(id) {
    const settled = !this.expected || this.expected.id === id || performance.now() > this.expected.until;
    if (settled) this.expected = null;
    return !settled;
  }

  async start() {
    const { job, seam, welder, procedure } = this.form.elements;
    this.id ??= newId();
    const body = { station: this.station, gun: this.gun, weld: this.id };
    for (const field of [job, seam, welder, procedure]) if (field.value.trim()) body[field.name] = field.value.trim();
    localStorage.setItem(WELDER_KEY, welder.value.trim());
    await this.doing(async () => {
      const weld = await act("/api/v1/welds", body);
      this.showRunning(weld);
      this.expect(weld.id);
      seam.value = "";
      this.id = null;
      this.tell(text("started"));
      return this.panel.querySelector('[data-act="stop"]');
    });
  }

  async stop() {
    const id = this.panel.dataset.weld;
    await this.doing(async () => {
      await act(`/api/v1/welds/${encodeURIComponent(id)}/stop`);
      this.showNone();
      this.expect(null);
      this.tell(text("stopped"), `/welds/${encodeURIComponent(id)}`);
      return this.form.querySelector("button");
    });
  }

  /** After an act the live message follows a little later; until then it is not believed. */
  expect(id) {
    this.expected = { id, until: performance.now() + BELIEVE_AFTER_MS };
  }

  /** Do one act at a time; `work` gives the button to go on with. */
  async doing(work) {
    const buttons = [...this.panel.querySelectorAll("button")];
    let following;
    this.busy = true;
    this.tell("");
    for (const button of buttons) button.disabled = true;
    try {
      following = await work();
    } catch (error) {
      this.tell(error.message);
      this.outcome.dataset.problem = "";
    } finally {
      this.busy = false;
      for (const button of buttons) button.disabled = false;
      following?.focus({ preventScroll: true });
    }
  }

  showRunning(weld) {
    this.panel.dataset.weld = weld.id;
    const running = part(this.panel, "running");
    for (const name of ["job", "seam"]) write(part(running, name), weld[name] || "–");
    const title = this.form?.querySelector(`option[value="${CSS.escape(weld.procedure ?? "")}"]`)?.textContent;
    write(part(running, "procedure"), title ?? weld.procedure ?? "–");
    setTime(running.querySelector("time"), weld.start);
    running.hidden = false;
    if (this.form) this.form.hidden = true;
  }

  showNone() {
    this.panel.dataset.weld = "";
    part(this.panel, "running").hidden = true;
    if (this.form) this.form.hidden = false;
  }

  tell(sentence, href) {
    delete this.outcome.dataset.problem;
    this.outcome.textContent = sentence;
    if (!href) return;
    const link = document.createElement("a");
    link.href = href;
    link.textContent = text("see_trace");
    this.outcome.append(" ", link);
  }
}

/** An id made here, so that a start sent again after a lost answer is still one record. */
function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(8));
  const random = [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
  const day = new Date().toISOString().slice(0, 10).replaceAll("-", "");
  return `w-${day}-${random}`;
}
