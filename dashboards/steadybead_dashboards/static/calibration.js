/** Entry of a calibration at the bench: the table of points, and everything around it. */
import { act } from "./acts.js";
import { EntryForm, link, moment, newId, number, setMoment } from "./entry.js";
import { part } from "./tile.js";
import { serverNow, tick } from "./times.js";
import { text } from "./words.js";

const KEY = "steadybead-bench";
const START_POINTS = 3;
const form = document.getElementById("calibration");
let id = null;

const rows = () => [...part(form, "points").rows];
const field = (row, column) => row.querySelector(`[data-column="${column}"]`);
const isEmpty = (row) => [...row.querySelectorAll("input")].every((input) => input.value.trim() === "");
const filled = () => rows().filter((row) => !isEmpty(row));
const kindOf = (n) => (n === 1 ? "offset" : n === 2 ? "two-point" : "piecewise");

function add() {
  const row = document.getElementById("point").content.cloneNode(true);
  part(form, "points").append(row);
}

/** The number of points says what kind of correction it is; one point needs a range. */
function showKind() {
  const n = filled().length;
  part(form, "range").hidden = n !== 1;
  part(form, "kind").textContent = n === 0 ? "" : n === 1 ? text("one_offset") : n === 2 ? text("two_points") : text("piecewise", { n });
}

function showUnit() {
  const unit = form.elements.instrument.selectedOptions[0].dataset.unit;
  part(form, "unit").textContent = unit === "Cel" ? "°C" : unit;
}

function body(fields) {
  const points = filled().map((row) => ({
    reference: number(field(row, "reference")),
    as_found: number(field(row, "as_found")),
    as_left: number(field(row, "as_left")),
  }));
  const single = points.length === 1;
  return {
    id,
    instrument: fields.instrument.value,
    unit: fields.instrument.selectedOptions[0].dataset.unit,
    kind: kindOf(points.length),
    points,
    performed: moment(fields.performed),
    effective: moment(fields.effective),
    expanded_uncertainty: number(fields.expanded_uncertainty) ?? 0,
    coverage_factor: number(fields.coverage_factor) ?? 2,
    reference_instrument: fields.reference_instrument.value.trim(),
    certificate: fields.certificate.value.trim(),
    note: fields.note.value.trim(),
    due: fields.due.value ? new Date(`${fields.due.value}T00:00`).toISOString() : null,
    valid_low: single ? number(fields.valid_low) : null,
    valid_high: single ? number(fields.valid_high) : null,
  };
}

async function keep(fields, entry) {
  id ??= newId("c");
  const kept = await act("/api/v1/calibrations", body(fields));
  id = null;
  localStorage.setItem(KEY, fields.reference_instrument.value.trim());
  entry.tell(text("calibration_kept"), link(`/calibrations/${kept.id}`, text("see_calibration")));
}

if (form) {
  for (let i = 0; i < START_POINTS; i += 1) add();
  form.elements.reference_instrument.value = localStorage.getItem(KEY) ?? "";
  setMoment(form.elements.performed, serverNow());
  new EntryForm(form, part(form, "outcome"), keep);
  part(form, "points").addEventListener("input", showKind);
  form.elements.instrument.addEventListener("change", showUnit);
  form.querySelector('[data-act="add"]').addEventListener("click", () => { add(); field(rows().at(-1), "reference").focus(); });
  form.querySelector('[data-act="remove"]').addEventListener("click", () => { if (rows().length > 1) rows().at(-1).remove(); showKind(); });
  showUnit();
  showKind();
}
tick();
setInterval(tick, 1_000);
