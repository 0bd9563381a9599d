/** What the forms for entering share: numbers, times, ids made here, and a problem at each field. */
import { ActError } from "./acts.js";
import { text } from "./words.js";

/** Read a number as people type it, also with a decimal comma; null where nothing stands. */
export function number(field) {
  const typed = field.value.trim().replace(",", ".").replace("−", "-");
  if (typed === "") return null;
  const value = Number(typed);
  if (!Number.isFinite(value)) throw new FieldError(field.name, text("no_number", { typed: field.value }));
  return value;
}

/** Read a date-time field of this device as RFC 3339 in UTC; null where nothing stands. */
export const moment = (field) => (field.value ? new Date(field.value).toISOString() : null);

/** Write a time into a date-time field of this device. */
export function setMoment(field, ms) {
  const local = new Date(ms - new Date(ms).getTimezoneOffset() * 60_000);
  field.value = local.toISOString().slice(0, 16);
}

/** An id made here, so that an entry sent again after a lost answer is still one record. */
export function newId(prefix) {
  const bytes = crypto.getRandomValues(new Uint8Array(8));
  return `${prefix}-${[...bytes].map((b) => b.toString(16).padStart(2, "0")).join("")}`;
}

/** A mistake that is seen before anything is sent. */
export class FieldError extends Error {
  constructor(at, message) {
    super(message);
    this.errors = [{ at, detail: message }];
  }
}

/** One form: `work` sends it and gives the sentence to show; problems go to their fields. */
export class EntryForm {
  constructor(form, outcome, work) {
    this.form = form;
    this.outcome = outcome;
    this.work = work;
    form.addEventListener("submit", (event) => { event.preventDefault(); this.send(); });
  }

  async send() {
    const button = this.form.querySelector('button[type="submit"]');
    this.clear();
    button.disabled = true;
    try {
      await this.work(this.form.elements, this);
    } catch (error) {
      this.fail(error);
    } finally {
      button.disabled = false;
    }
  }

  /** Say how it went; `parts` are texts and links. */
  tell(...parts) {
    this.outcome.replaceChildren(...parts.flatMap((part) => [part, " "]));
  }

  clear() {
    this.outcome.replaceChildren();
    delete this.outcome.dataset.problem;
    for (const said of document.querySelectorAll("[data-problem-of]")) said.hidden = true;
    for (const field of this.form.querySelectorAll("[aria-invalid]")) field.removeAttribute("aria-invalid");
  }

  fail(error) {
    const left = (error.errors ?? []).filter(({ at, detail }) => !this.say(at, detail));
    const whole = error.errors?.length ? left.map(({ at, detail }) => `${at}: ${detail}`) : [error.message];
    this.outcome.dataset.problem = "";
    this.tell(error instanceof ActError || error instanceof FieldError ? text("not_kept") : "", ...whole);
    this.form.querySelector('[aria-invalid="true"]')?.focus();
  }

  /** Show a problem at its field; tell whether there is one. `body.x` and `points[2]` lead to x. */
  say(at, detail) {
    const name = at.replace(/^body\./, "").replace(/[.[].*$/, "");
    const said = document.getElementById(`problem-${name}`);
    if (!said) return false;
    said.textContent = said.hidden ? detail : `${said.textContent}\n${detail}`;
    said.hidden = false;
    const field = this.form.querySelector(`[aria-describedby~="problem-${name}"]`);
    field?.setAttribute("aria-invalid", "true");
    field?.closest("details")?.setAttribute("open", "");
    return true;
  }
}

/** A link for an outcome. */
export function link(href, words) {
  const made = document.createElement("a");
  made.href = href;
  made.textContent = words;
  return made;
}
