/** Words and units, as the server's catalogue gave them with the page. */
import { comma } from "./figures.js";

const tables = JSON.parse(document.getElementById("words").textContent);

/** Give a text; `{name}` is replaced by `values.name`. */
export function text(key, values = {}) {
  return (tables.texts[key] ?? key).replace(/\{(\w+)\}/g, (whole, name) => values[name] ?? whole);
}

export const fitnessWord = (fitness) => tables.fitness[fitness] ?? fitness;
export const stateWord = (state) => tables.states[state] ?? state;
export const startHint = (state) => tables.starts[state];
export const priorityWord = (priority) => tables.priorities[priority] ?? priority;
export const alarmWord = (state) => tables.alarms[state] ?? state;

/** Give label, unit and decimals of a quantity. */
export function quantity(name) {
  return tables.quantities[name] ?? { label: name, unit: "", decimals: 1 };
}

/** Print a value with the decimals of its quantity; an en dash where there is none. */
export function printed(value, name) {
  if (value === null || value === undefined) return "–";
  return comma(plainly(value, name));
}

function plainly(value, name) {
  const shown = value.toFixed(quantity(name).decimals);
  return (Number(shown) === 0 ? shown.replace("-", "") : shown).replace("-", "−");
}

/** Print a limit: like a value, but without zeros at its end; an ellipsis where it is open. */
export function printedLimit(value, name) {
  if (value === null) return "…";
  const shown = plainly(value, name);
  return comma(shown.includes(".") ? shown.replace(/\.?0+$/, "") : shown);
}

/** Shape ids carry no spaces. */
export const slug = (word) => word.replaceAll(" ", "-");
