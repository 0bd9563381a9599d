/** The trace in figures, for those who do not see the chart. */
import { printed, text } from "./words.js";

/** Fill the table with one row a channel, over what was measured between start and stop. */
export function summarise(table, lanes, whole, record) {
  const rows = lanes.map((lane) => row(lane, lane.best(whole), record)).filter(Boolean);
  table.tBodies[0].replaceChildren(...rows);
  table.parentElement.hidden = rows.length === 0;
}

function row({ box, detail }, { samples, gaps }, { start, stop }) {
  const inside = (t) => t >= start && (stop === null || t < stop);
  const indexes = samples.t.map((_, i) => i).filter((i) => inside(samples.t[i]));
  if (!indexes.length) return null;
  const values = indexes.filter((i) => samples.q[i] !== "bad" && samples.v[i] !== null).map((i) => samples.v[i]);
  const shown = (value) => (values.length ? printed(value, box.dataset.quantity) : "–");
  const [low, high] = values.reduce(([a, b], v) => [Math.min(a, v), Math.max(b, v)], [Infinity, -Infinity]);
  const single = detail?.samples === samples;
  const mean = values.reduce((sum, v) => sum + v, 0) / values.length;
  const doubtful = indexes.filter((i) => samples.q[i] !== "good").length;
  const missing = gaps.filter(([from, to]) => to > start && (stop === null || from < stop)).length;
  const counts = single ? [indexes.length, doubtful] : [text("too_long"), text("too_long")];
  const label = `${box.dataset.label}, ${box.dataset.unit}`;
  return cells([label, shown(low), single ? shown(mean) : text("too_long"), shown(high), ...counts, missing]);
}

function cells(texts) {
  const tr = document.createElement("tr");
  texts.forEach((shown, i) => {
    const cell = document.createElement(i === 0 ? "th" : "td");
    if (i === 0) cell.scope = "row";
    cell.textContent = shown;
    tr.append(cell);
  });
  return tr;
}
