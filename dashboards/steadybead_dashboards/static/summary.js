/** The trace in figures, for those who do not see the chart. */
import { printed } from "./words.js";

/** Fill the table with one row a channel, over the readings between start and stop. */
export function summarise(table, lanes, record) {
  const rows = lanes.filter(({ samples }) => samples.t.length).map((lane) => row(lane, record));
  table.tBodies[0].replaceChildren(...rows);
  table.hidden = rows.length === 0;
}

function row({ box, samples, gaps }, { start, stop }) {
  const inside = (t) => t >= start && (stop === null || t < stop);
  const indexes = samples.t.map((_, i) => i).filter((i) => inside(samples.t[i]));
  const values = indexes.filter((i) => samples.q[i] !== "bad" && samples.v[i] !== null).map((i) => samples.v[i]);
  const shown = (value) => (values.length ? `${printed(value, box.dataset.quantity)} ${box.dataset.unit}` : "–");
  const mean = values.reduce((sum, v) => sum + v, 0) / values.length;
  const [low, high] = values.reduce(([a, b], v) => [Math.min(a, v), Math.max(b, v)], [Infinity, -Infinity]);
  const doubtful = indexes.filter((i) => samples.q[i] !== "good").length;
  const missing = gaps.filter(([from, to]) => to > start && (stop === null || from < stop)).length;
  return cells([box.dataset.label, shown(low), shown(mean), shown(high), indexes.length, doubtful, missing]);
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
