/** Procedures: a new revision, its approval, printing. */
import { act } from "./acts.js";
import { EntryForm, number } from "./entry.js";
import { part } from "./tile.js";
import { tick } from "./times.js";

const WINDOWS = ["nozzle_temperature", "air_flow", "travel_speed", "rod_force"];
const TEXTS = ["id", "title", "material", "process", "flow_reference", "rod", "nozzle", "tacking", "preparation", "source", "edition", "note", "reason"];
const form = document.getElementById("procedure");

function body(fields) {
  const sent = { revision: Number(form.dataset.revision), warm_up_s: number(fields.warm_up_s) ?? 0 };
  for (const name of TEXTS) if (fields[name]) sent[name] = fields[name].value.trim();
  for (const name of WINDOWS) {
    sent[name] = { low: number(fields[`${name}_low`]), high: number(fields[`${name}_high`]) };
  }
  return sent;
}

async function keep(fields) {
  const kept = await act("/api/v1/procedures", body(fields));
  location.assign(`/procedures/${encodeURIComponent(kept.id)}`);
}

async function approve(button) {
  const { procedure, revision } = button.dataset;
  button.disabled = true;
  try {
    await act(`/api/v1/procedures/${encodeURIComponent(procedure)}/approve`, { revision: Number(revision) });
    location.reload();
  } catch (error) {
    const outcome = part(document, "outcome");
    outcome.textContent = error.message;
    outcome.dataset.problem = "";
    button.disabled = false;
  }
}

if (form) new EntryForm(form, part(form, "outcome"), keep);
document.querySelector('[data-act="approve"]')?.addEventListener("click", (event) => approve(event.currentTarget));
document.querySelector('[data-act="print"]')?.addEventListener("click", () => print());
tick();
setInterval(tick, 1_000);
