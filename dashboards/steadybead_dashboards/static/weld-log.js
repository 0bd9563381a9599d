/** What people write of a weld: fields of the log, a late entry, sign-offs, printing. */
import { act } from "./acts.js";
import { EntryForm, moment, newId, number } from "./entry.js";
import { part } from "./tile.js";

const amend = document.getElementById("amend");
const late = document.getElementById("late");
const HEAD = new Set(["place", "time", "stop", "start", "reason", "procedure"]);

const fieldsOf = (form) => [...form.elements].filter((field) => field.name && !HEAD.has(field.name));
const valueOf = (field) => ("number" in field.dataset ? number(field) : field.value.trim());

/** Only what differs from what the page showed is sent. */
function changes(form) {
  const sent = {};
  for (const field of fieldsOf(form)) if (field.value !== field.dataset.before) sent[field.name] = valueOf(field);
  for (const name of ["start", "stop"]) {
    const field = form.elements[name];
    if (field && field.value !== field.dataset.before) sent[name] = moment(field);
  }
  return sent;
}

async function keepAmendment(fields) {
  await act(`/api/v1/welds/${encodeURIComponent(amend.dataset.weld)}/amendments`, {
    ...changes(amend), reason: fields.reason.value.trim(),
  });
  location.reload();
}

let id = null;

async function keepLate(fields) {
  id ??= newId("w");
  const [station, gun] = fields.place.value.split(" ");
  const sent = { weld: id, station, gun, time: moment(fields.time), stop: moment(fields.stop), reason: fields.reason.value.trim() };
  if (fields.procedure.value) sent.procedure = fields.procedure.value;
  for (const field of fieldsOf(late)) {
    const value = valueOf(field);
    if (value !== null && value !== "") sent[field.name] = value;
  }
  const kept = await act("/api/v1/welds", sent);
  location.assign(`/welds/${encodeURIComponent(kept.id)}`);
}

const plan = document.getElementById("cut-plan");
const result = document.getElementById("cut-result");
let planId = null;
let resultId = null;

async function keepPlan(fields) {
  planId ??= newId("cut");
  const address = `/api/v1/welds/${encodeURIComponent(plan.dataset.weld)}/cut-plans`;
  await act(address, { id: planId, reason: fields.reason.value.trim(), width_mm: number(fields.width_mm) });
  location.reload();
}

async function keepResult(fields) {
  resultId ??= newId("cr");
  await act(`/api/v1/welds/${encodeURIComponent(result.dataset.weld)}/cut-results`, {
    id: resultId, strip: fields.strip.value, method: fields.method.value, outcome: fields.outcome.value,
    value: number(fields.value), unit: fields.unit.value.trim(), laboratory: fields.laboratory.value.trim(),
  });
  location.reload();
}

async function sign(button) {
  const { weld, role } = button.dataset;
  button.disabled = true;
  try {
    await act(`/api/v1/welds/${encodeURIComponent(weld)}/signatures`, { as_role: role });
    location.reload();
  } catch (error) {
    const outcome = part(document, "sign-outcome");
    outcome.textContent = error.message;
    outcome.dataset.problem = "";
    button.disabled = false;
  }
}

/** Write a time into a field of this device, with its seconds. */
function setSeconds(field) {
  const ms = Date.parse(field.dataset.time);
  field.value = new Date(ms - new Date(ms).getTimezoneOffset() * 60_000).toISOString().slice(0, 19);
}

if (amend) {
  for (const field of amend.querySelectorAll("[data-time]")) setSeconds(field);
  for (const field of amend.elements) if (field.name) field.dataset.before = field.value;
  new EntryForm(amend, part(amend, "outcome"), keepAmendment);
}
if (plan) new EntryForm(plan, part(plan, "outcome"), keepPlan);
if (result) new EntryForm(result, part(result, "outcome"), keepResult);
if (late) new EntryForm(late, part(late, "outcome"), keepLate);
for (const button of document.querySelectorAll('[data-act="sign"]')) button.addEventListener("click", () => sign(button));
document.querySelector('[data-act="print"]')?.addEventListener("click", () => print());
