/** Files of a trace: CSV and Parquet are asked of the API by `Accept`, JSON is joined page by page. */
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
    const made = button.dataset.accept === "application/json" ? await fetchJson(button, whole) : await fetchFile(button, whole);
    offer(made, button.dataset.file);
    outcome.textContent = text("csv_ready", { name: button.dataset.file });
  } catch (error) {
    outcome.textContent = text("csv_failed", { detail: error.message });
    outcome.dataset.problem = "";
  } finally {
    button.disabled = false;
  }
}

async function fetchFile(button, whole) {
  const answer = await fetch(addressOf(button.dataset, whole), { headers: { Accept: button.dataset.accept ?? "text/csv" } });
  if (!answer.ok) throw new Error(await problemOf(answer));
  return answer.blob();
}

/** Join the pages of a trace: the columns of each channel, and its gaps, go on from page to page. */
async function fetchJson(button, whole) {
  const address = addressOf(button.dataset, whole);
  let joined = null;
  let cursor = "";
  do {
    const answer = await fetch(`${address}${cursor}`, { headers: { Accept: "application/json" } });
    if (!answer.ok) throw new Error(await problemOf(answer));
    const page = await answer.json();
    cursor = page.next ? `&cursor=${page.next}` : "";
    if (joined) page.channels.forEach((channel, i) => extend(joined.channels[i], channel));
    else joined = page;
  } while (cursor);
  joined.next = null;
  return new Blob([JSON.stringify(joined)], { type: "application/json" });
}

function extend(held, more) {
  for (const name of ["time", "value", "quality", "reason", "gaps"]) {
    for (const item of more[name]) held[name].push(item);
  }
}

/** One channel is asked of the readings, everything of the record's trace, in the figures shown. */
function addressOf({ export: channel, weld, which }, whole) {
  const figures = document.getElementById("trace").dataset.figures;
  if (weld) return `/api/v1/welds/${encodeURIComponent(weld)}/${which ?? "trace"}?as=${figures}`;
  const [start, end] = whole.map((s) => new Date(s * 1000).toISOString());
  return `/api/v1/readings?${new URLSearchParams({ channel, start, end, as: figures })}`;
}

/** Let the browser save a file. */
export function offer(blob, name) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(blob);
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}
