/** The page of one alarm: the trace around its onset, and what a person does about it. */
import { act } from "./acts.js";
import { Chart } from "./chart.js";
import { part, write } from "./tile.js";
import { serverNow, tick } from "./times.js";
import { fetchDetail } from "./trace.js";
import { text } from "./words.js";

const HOUR_MS = 3_600_000;
const sheet = document.getElementById("sheet");
const onset = document.getElementById("onset");
const seconds = (iso) => (iso ? Date.parse(iso) / 1000 : null);
const number = (words) => (words === "" ? null : Number(words));

async function draw(box, range, record) {
  const { channel, low, high, decimals } = box.dataset;
  const chart = new Chart(box, { low: number(low), high: number(high), decimals: Number(decimals) });
  const { samples, gaps } = await fetchDetail(channel, range, "recorded");
  chart.show(samples, gaps, range, record);
  box.dataset.readings = samples.t.length;
}

async function drawAll() {
  const { from, to, onset: start, over } = onset.dataset;
  const record = { start: seconds(start), stop: seconds(over) };
  const boxes = [...onset.querySelectorAll("[data-channel]")];
  try {
    await Promise.all(boxes.map((box) => draw(box, [seconds(from), seconds(to)], record)));
    const none = boxes.every((box) => box.dataset.readings === "0");
    write(part(onset, "trace-outcome"), none ? text("no_readings") : "");
  } catch (error) {
    write(part(onset, "trace-outcome"), text("trace_failed", { detail: error.message }));
  }
  onset.dataset.loaded = "";
}

/** What goes with an act; null where a reason is still missing. */
function bodyOf(button) {
  const { act: name, hours } = button.dataset;
  if (name === "acknowledge") return { of_raise: sheet.dataset.raised };
  if (name !== "shelve" && name !== "take-out-of-service") return {};
  const field = sheet.querySelector('[name="reason"]');
  if (!field.value.trim()) {
    field.value = "";
    field.reportValidity();
    return null;
  }
  const reason = field.value;
  if (name === "take-out-of-service") return { reason };
  return { reason, until: new Date(serverNow() + Number(hours) * HOUR_MS - 1_000).toISOString() };
}

async function clicked(event) {
  const button = event.target.closest("[data-act]");
  const body = button && bodyOf(button);
  if (!body) return;
  button.disabled = true;
  try {
    await act(`/api/v1/alarms/${encodeURIComponent(sheet.dataset.alarm)}/${button.dataset.act}`, body);
    location.reload();
  } catch (error) {
    write(part(sheet, "outcome"), error.message);
    part(sheet, "outcome").dataset.problem = "";
    button.disabled = false;
  }
}

sheet.addEventListener("click", clicked);
sheet.querySelector("form")?.addEventListener("submit", (event) => event.preventDefault());
tick();
setInterval(tick, 1_000);
if (onset) drawAll();
