/** Figures as the page's language writes them. */
const takesComma = document.documentElement.lang !== "en";

/** Write decimal commas in a text of figures, where the language has them. */
export function comma(shown) {
  return takesComma ? shown.replace(/(?<![\w.])(\d+)\.(\d+)(?![\w.])/g, "$1,$2") : shown;
}

/** Print a number with so many decimals and a true minus sign. */
export function fixed(value, decimals) {
  return comma(value.toFixed(decimals).replace("-", "−"));
}
