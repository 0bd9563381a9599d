/** The page of one sensor: two traces in one chart, and which instrument is fitted. */
import { act, problemOf } from "./acts.js";
import { EntryForm, moment, newId, number } from "./entry.js";
import { fixed } from "./figures.js";
import { Pair } from "./pair.js";
import { part } from "./tile.js";
import { serverNow, tick } from "./times.js";
import { text } from "./words.js";

const POINTS = 600;
const HOUR_MS = 3_600_000;
const section = document.getElementById("pair");
const said = part(section, "pair-said");
const chart = new Pair(section.querySelector(".pair-chart"), Number(section.dataset.decimals));

async function buckets(figures, from, to) {
  const query = new URLSearchParams({
    channel: section.dataset.channel, points: POINTS, as: figures,
    start: new Date(from).toISOString(), end: new Date(to).toISOString(),
  });
  const answer = await fetch(`/api/v1/readings?${query}`, { headers: { Accept: "application/json" } });
  if (!answer.ok) throw new Error(await problemOf(answer));
  return (await answer.json()).items;
}

/** Put both beside each other; where a bucket is missing, or has no value, the line breaks. */
function joined(recorded, recalibrated, step) {
  const rows = [];
  recorded.forEach((bucket, i) => {
    const t = (Date.parse(bucket.start) + Date.parse(bucket.end)) / 2000;
    const last = rows.at(-1);
    if (last && t - last[0] > 1.5 * step) rows.push([(t + last[0]) / 2, null, null]);
    rows.push([t, bucket.mean, recalibrated[i]?.mean ?? null]);
  });
  return rows;
}

async function show(hours) {
  const to = serverNow();
  const from = to - hours * HOUR_MS;
  for (const button of section.querySelectorAll("[data-hours]")) {
    button.setAttribute("aria-pressed", String(Number(button.dataset.hours) === hours));
  }
  try {
    const [recorded, recalibrated] = await Promise.all(["recorded", "recalibrated"].map((f) => buckets(f, from, to)));
    const rows = joined(recorded, recalibrated, (to - from) / POINTS / 1000);
    chart.show(rows, [from / 1000, to / 1000]);
    said.textContent = summary(rows);
    delete said.dataset.problem;
  } catch (error) {
    said.textContent = text("trace_failed", { detail: error.message });
    said.dataset.problem = "";
  }
  section.dataset.loaded = String(hours);
}

/** The chart in words, for those who do not see it. */
function summary(rows) {
  const both = rows.filter((row) => row[1] !== null && row[2] !== null);
  if (!both.length) return text("no_readings");
  const moved = both.map((row) => row[2] - row[1]);
  const [least, most] = [Math.min(...moved), Math.max(...moved)];
  const shown = (value) => fixed(value, 1);
  const { unit } = section.dataset;
  if (Math.abs(least) < 0.05 && Math.abs(most) < 0.05) return text("same_lines");
  return text("moved_by", { least: shown(least), most: shown(most), unit });
}

async function fit(fields, entry) {
  const form = entry.form;
  let instrument = fields.instrument.value;
  form.dataset.id ??= newId("i");
  form.dataset.record ??= newId("f");
  if (!instrument) instrument = (await act("/api/v1/instruments", newInstrument(fields, form.dataset.id))).id;
  const body = { id: form.dataset.record, channel: form.dataset.channel };
  if (fields.start.value) body.start = moment(fields.start);
  await act(`/api/v1/instruments/${encodeURIComponent(instrument)}/fittings`, body);
  location.reload();
}

function newInstrument(fields, id) {
  return {
    id,
    serial: fields.serial.value.trim(),
    kind: fields.kind.value.trim(),
    unit: fields.unit.value,
    tolerance: number(fields.tolerance) ?? 0,
    interval_days: number(fields.interval_days),
  };
}

async function takeOff(button) {
  const { instrument, record, revision } = button.dataset;
  const outcome = part(document, "fit-outcome");
  button.disabled = true;
  try {
    await act(`/api/v1/instruments/${encodeURIComponent(instrument)}/fittings`, {
      id: record, channel: section.dataset.channel, end: new Date(serverNow()).toISOString(), revision: Number(revision),
    });
    location.reload();
  } catch (error) {
    outcome.textContent = error.message;
    outcome.dataset.problem = "";
    button.disabled = false;
  }
}

for (const button of section.querySelectorAll("[data-hours]")) {
  button.addEventListener("click", () => show(Number(button.dataset.hours)));
}
const form = document.getElementById("fit");
if (form) {
  new EntryForm(form, part(document, "fit-outcome"), fit);
  form.elements.instrument.addEventListener("change", () => { part(form, "new").hidden = form.elements.instrument.value !== ""; });
}
document.querySelector('[data-act="take-off"]')?.addEventListener("click", (event) => takeOff(event.currentTarget));
tick();
setInterval(tick, 1_000);
show(1);
