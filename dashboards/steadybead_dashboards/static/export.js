/** CSV of a channel over the time of a trace, asked of the API by `Accept`. */
import { problemOf } from "./acts.js";
import { part } from "./tile.js";
import { text } from "./words.js";

/** Let each export button fetch its channel; `whole` is [from, to] in s. */
export function bindExport(whole) {
  for (const button of document.querySelectorAll("[data-export]")) {
    button.addEventListener("click", () => save(button, whole));
  }
}

async function save(button, whole) {
  const outcome = part(document, "export-outcome");
  delete outcome.dataset.problem;
  button.disabled = true;
  try {
    offer(await fetchCsv(button, whole), button.dataset.file);
    outcome.textContent = text("csv_ready", { name: button.dataset.file });
  } catch (error) {
    outcome.textContent = text("csv_failed", { detail: error.message });
    outcome.dataset.problem = "";
  } finally {
    button.disabled = false;
  }
}

async function fetchCsv(button, whole) {
  const answer = await fetch(addressOf(button.dataset, whole), { headers: { Accept: "text/csv" } });
  if (!answer.ok) throw new Error(await problemOf(answer));
  return answer.blob();
}

/** One channel is asked of the readings, everything of the record's trace, in the figures shown. */
function addressOf({ export: channel, weld }, whole) {
  const figures = document.getElementById("trace").dataset.figures;
  if (weld) return `/api/v1/welds/${encodeURIComponent(weld)}/trace?as=${figures}`;
  const [start, end] = whole.map((s) => new Date(s * 1000).toISOString());
  return `/api/v1/readings?${new URLSearchParams({ channel, start, end, as: figures })}`;
}

function offer(blob, name) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(blob);
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}
