/** Entry of a reference check at the gun: what does not change is remembered on this device. */
import { fixed } from "./figures.js";
import { EntryForm, FieldError, link, newId, number } from "./entry.js";
import { enter, keptWords, now } from "./outbox.js";
import { part } from "./tile.js";
import { tick } from "./times.js";
import { text } from "./words.js";

const KEY = "steadybead-check";
const REMEMBERED = ["reference_instrument", "expanded_uncertainty", "meter", "meter_uncertainty"];
const form = document.getElementById("check");
let ids = null;

const memory = () => JSON.parse(localStorage.getItem(KEY) ?? "{}");
const chosen = () => form.querySelector('[name="gun"]:checked');
const place = () => `${form.dataset.station} ${chosen()?.value ?? ""}`;

function remember() {
  const kept = memory();
  for (const name of REMEMBERED) kept[name] = form.elements[name].value.trim();
  kept.nozzles = { ...kept.nozzles, [place()]: form.elements.nozzle.value.trim() };
  localStorage.setItem(KEY, JSON.stringify(kept));
  showRemembered();
}

function recall() {
  const kept = memory();
  for (const name of REMEMBERED) if (kept[name]) form.elements[name].value = kept[name];
  recallNozzle();
  part(form, "instruments").open = !kept.reference_instrument;
  showRemembered();
}

function recallNozzle() {
  form.elements.nozzle.value = memory().nozzles?.[place()] ?? "";
}

function showRemembered() {
  part(form, "remembered").textContent = [form.elements.reference_instrument.value, form.elements.meter.value]
    .filter(Boolean).join(", ");
}

/** One check of the nozzle; one of the flow, too, where a meter is named. */
function checks(fields) {
  const gun = chosen();
  const flow = number(fields.flow);
  const common = { time: ids.time, nozzle: fields.nozzle.value.trim(), occasion: fields.occasion.value };
  const nozzle = {
    ...common, id: ids.nozzle, channel: gun.dataset.nozzle, reference: number(fields.reference),
    reference_instrument: fields.reference_instrument.value.trim(),
    expanded_uncertainty: number(fields.expanded_uncertainty) ?? 0,
  };
  if (nozzle.reference === null) throw new FieldError("reference", text("probe_first"));
  if (flow !== null) nozzle.flow_l_min = flow;
  const shown = part(form, "shown-row").hidden ? null : number(fields.shown);
  if (shown !== null) nozzle.shown = shown;
  if (flow === null || !gun.dataset.flow || !fields.meter.value.trim()) return [nozzle];
  return [nozzle, {
    ...common, id: ids.flow, channel: gun.dataset.flow, reference: flow,
    reference_instrument: fields.meter.value.trim(),
    expanded_uncertainty: number(fields.meter_uncertainty) ?? 0,
  }];
}

async function keep(fields, entry) {
  ids ??= { nozzle: newId("r"), flow: newId("r"), time: now() };
  const kept = [];
  for (const body of checks(fields)) kept.push(await attempt(body));
  const sent = kept.filter(({ answer }) => answer);
  ids = null;
  remember();
  form.elements.reference.value = "";
  form.elements.flow.value = "";
  form.elements.shown.value = "";
  part(form, "shown-row").hidden = true;
  if (sent.length < kept.length) entry.tell(keptWords());
  else entry.tell(...sent.map(({ answer }) => sentence(answer)), link(`/sensors/${sent[0].answer.channel}`, text("see_sensor")));
}

/** Where the gun's own reading is missing, ask for it. */
async function attempt(body) {
  try {
    const what = text("entry_check", { channel: body.channel });
    return await enter({ path: "/api/v1/reference-checks", body, kind: "check", place: place(), weld: "", what });
  } catch (error) {
    if (error.errors?.some(({ at }) => at === "shown")) part(form, "shown-row").hidden = false;
    throw error;
  }
}

function sentence(check) {
  const round = (value) => fixed(value, 1);
  const unit = check.unit === "Cel" ? "°C" : check.unit;
  const values = { true: round(check.reference), shown: round(check.shown), by: round(Math.abs(check.deviation)), unit };
  return `${text("check_kept", values)} ${check.deviation > 0 ? text("reads_high", values) : text("reads_low", values)}`;
}

if (form) {
  recall();
  new EntryForm(form, part(form, "outcome"), keep);
  for (const radio of form.querySelectorAll('[name="gun"]')) radio.addEventListener("change", recallNozzle);
}
tick();
setInterval(tick, 1_000);
