/** Start and stop of the weld record of one gun. */
import { newId, number } from "./entry.js";
import { enter, keptWords, now, on, waitingAt } from "./outbox.js";
import { said } from "./phrases.js";
import { part, write } from "./tile.js";
import { setTime } from "./times.js";
import { quantity, startHint, text } from "./words.js";

const BELIEVE_AFTER_MS = 10_000;
/** Kept for each person: on a shared tablet the next one must not begin under the last one's name. */
const WELDER_KEY = `steadybead-welder ${document.querySelector('meta[name="person"]')?.content ?? ""}`;

export class Record {
  constructor(box, station) {
    this.station = station;
    this.box = box;
    this.gun = box.dataset.gun;
    this.panel = box.querySelector(".record");
    this.form = part(this.panel, "start");
    this.outcome = part(this.panel, "outcome");
    this.form?.addEventListener("submit", (event) => { event.preventDefault(); this.start(); });
    this.panel.querySelector('[data-act="stop"]')?.addEventListener("click", () => this.stop());
    const known = localStorage.getItem(WELDER_KEY);
    if (this.form && known !== null) this.form.elements.welder.value = known;
    this.form?.elements.procedure.addEventListener("change", () => this.showReach());
    this.after = part(this.panel, "after");
    this.after?.addEventListener("submit", (event) => { event.preventDefault(); this.judge(event.submitter.value); });
    if (this.form && !this.panel.dataset.weld) this.showReach();
    if (!this.form) return;
    on("sent", ({ detail }) => { if (detail.entry.place === this.place) this.sent(detail); });
    this.restore();
  }

  get place() {
    return `${this.station} ${this.gun}`;
  }

  /** After a reload: what waits on this device is newer than what the server told. */
  restore() {
    for (const { kind, weld, body } of waitingAt(this.place)) {
      if (kind === "start") this.showRunning({ ...body, id: weld, start: body.time });
      if (kind === "stop") this.showStopped(weld);
      if (kind === "look") this.after.hidden = true;
    }
  }

  /** An entry that had waited was taken. */
  sent({ entry, answer }) {
    if (entry.kind === "start" && answer.stop === null) this.expect(answer.id);
    if (entry.kind === "stop") this.expect(null);
    if (!waitingAt(this.place).length) this.tell(text("sent_now"));
  }

  /** Say beforehand whether this gun's channels could ever say that they conform to the procedure. */
  async showReach() {
    const procedure = this.form.elements.procedure.value;
    const query = new URLSearchParams({ gun: this.gun, procedure });
    const answer = await fetch(`/api/v1/stations/${this.station}/reach?${query}`).catch(() => null);
    if (!answer?.ok || procedure !== this.form.elements.procedure.value) return;
    const { items } = await answer.json();
    const never = items.filter((item) => !item.can_conform);
    const words = never.map((item) => `${quantity(item.quantity).label}: ${said(item.words).replaceAll("Cel", "°C")}`);
    write(part(this.form, "reach"), words.join(" · "));
  }

  /** Say near the button what a record started now would show; the box was brought up to date before. */
  hint() {
    if (!this.form) return;
    const outside = this.box.querySelector(".readouts [data-abnormal]") ? text("start_outside") : "";
    write(part(this.form, "start-hint"), startHint(this.box.dataset.state) ?? outside);
  }

  /** Keep what the welder sees of the bead that was just finished. */
  async judge(visual) {
    const { seam_length_mm: length, beads } = this.after.elements;
    const outcome = part(this.after, "after-outcome");
    const weld = this.after.dataset.weld;
    try {
      const sent = { visual, entry: newId("e"), acted: now() };
      if (length.value.trim()) sent.seam_length_mm = number(length);
      if (beads.value.trim()) sent.beads = number(beads);
      const path = `/api/v1/welds/${encodeURIComponent(weld)}/amendments`;
      const what = text("entry_look", { gun: this.gun });
      const { waiting } = await enter({ path, body: sent, kind: "look", place: this.place, weld, what });
      this.after.reset();
      this.after.hidden = true;
      if (waiting) this.tell(keptWords());
      else this.tell(text("looked_at"), `/welds/${encodeURIComponent(weld)}`);
      this.outcome.scrollIntoView({ block: "nearest" });
    } catch (error) {
      outcome.textContent = error.errors?.[0]?.detail ?? error.message;
      outcome.dataset.problem = "";
    }
  }

  /** Follow the live message: another record may have been started or stopped elsewhere. */
  async follow(id) {
    const shown = this.panel.dataset.weld || null;
    if (this.busy || this.expects(id) || id === shown || (this.form && waitingAt(this.place).length)) return;
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
    this.id ??= newRecordId();
    const body = { station: this.station, gun: this.gun, weld: this.id, time: now() };
    const { trial, rod_batch: batch, rod_check: check, seam_length_mm: length } = this.form.elements;
    for (const field of [trial, batch, check]) if (field.value.trim()) body[field.name] = field.value.trim();
    for (const field of [job, seam, welder, procedure]) if (field.value.trim()) body[field.name] = field.value.trim();
    localStorage.setItem(WELDER_KEY, welder.value.trim());
    await this.doing(async () => {
      if (length.value.trim()) body.seam_length_mm = number(length);
      const what = startWords(this.gun, body);
      const entry = { path: "/api/v1/welds", body, kind: "start", place: this.place, weld: this.id, what };
      const { answer, waiting } = await enter(entry);
      if (this.after) this.after.hidden = true;
      const weld = answer ?? { ...body, id: body.weld, start: body.time };
      this.showRunning(weld);
      this.expect(weld.id);
      for (const own of [seam, length, trial]) own.value = ""; // they belong to one seam
      this.id = null;
      this.tell(waiting ? keptWords() : text("started"));
      return this.panel.querySelector('[data-act="stop"]');
    });
  }

  async stop() {
    const id = this.panel.dataset.weld;
    await this.doing(async () => {
      const path = `/api/v1/welds/${encodeURIComponent(id)}/stop`;
      const what = text("entry_stop", { gun: this.gun });
      const { waiting } = await enter({ path, body: { time: now() }, kind: "stop", place: this.place, weld: id, what });
      this.showStopped(id);
      document.dispatchEvent(new Event("record-stopped"));
      this.expect(null);
      if (waiting) this.tell(keptWords());
      else this.tell(text("stopped"), `/welds/${encodeURIComponent(id)}`);
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

  showStopped(weld) {
    this.showNone();
    Object.assign(this.after, { hidden: false }).dataset.weld = weld;
    this.panel.scrollIntoView({ block: "start" });
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
function newRecordId() {
  return newId(`w-${now().slice(0, 10).replaceAll("-", "")}`);
}

/** Name a start by what was given of job and seam. */
function startWords(gun, { job, seam }) {
  if (job && seam) return text("entry_start_job_seam", { gun, job, seam });
  if (job) return text("entry_start_job", { gun, job });
  return seam ? text("entry_start_seam", { gun, seam }) : text("entry_start", { gun });
}
