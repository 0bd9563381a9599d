/** Brings a drawn station up to date from a live message. */
import { draw, place } from "./gauge.js";
import { said, writeSaid } from "./phrases.js";
import { setTime } from "./times.js";
import { fitnessWord, printed, printedLimit, slug, stateWord, text } from "./words.js";

const OLD_AFTER_MS = 10_000;
const JUDGED = new Set(["ready", "hot", "welding"]);

/** Find a named part inside an element. */
export const part = (element, name) => element.querySelector(`[data-part="${name}"]`);

/** Write a text only where it changed. */
export function write(element, shown) {
  if (element && element.textContent !== shown) element.textContent = shown;
}

/** Show a live message in the station's element. */
export function showStation(element, live) {
  const states = new Map(live.guns.map((gun) => [gun.gun, gun]));
  for (const box of element.querySelectorAll("[data-gun]")) showGun(box, states.get(box.dataset.gun));
  const values = new Map(live.values.map((value) => [local(value.channel), value]));
  for (const row of element.querySelectorAll("[data-channel]")) {
    const value = values.get(row.dataset.channel);
    if (value) showValue(row, value, Date.parse(live.time));
    else if (values.size && row.dataset.quality === "none") write(part(row, "note"), text("unheard"));
  }
  const watched = live.fitness === "fit" && element.querySelector("[data-abnormal]") !== null;
  showFitness(element, live.fitness, watched ? [text("watched")] : live.reasons, watched);
  element.toggleAttribute("data-quiet", isQuiet(element));
}

/** Not fit, and yet nothing wrong now: a gun that is warming, an alarm that is over or of upkeep. */
function isQuiet(element) {
  const id = CSS.escape(element.dataset.station);
  const pressing = `[data-presses][data-station="${id}"]`;
  const wrong = element.querySelector("[data-abnormal]") ?? document.querySelector(pressing);
  return element.dataset.fitness === "not fit" && !wrong;
}

/** Show that nothing is heard of a station. */
export function showSilence(element) {
  showFitness(element, "no data", [text("silent")]);
  for (const box of element.querySelectorAll("[data-gun]")) showState(box, "no data");
}

/** A channel's name inside its station. */
export function local(channel) {
  const parts = channel.split("/");
  return parts.slice(-2).join("/");
}

/** `watched`: fit, and yet a value is outside its window without an alarm. */
function showFitness(element, fitness, reasons, watched = false) {
  element.dataset.fitness = fitness;
  element.toggleAttribute("data-watched", watched);
  const box = part(element, "fitness");
  box.dataset.fitness = fitness;
  box.querySelector("use").setAttribute("href", `#fit-${watched ? "watched" : slug(fitness)}`);
  write(part(box, "fitness-word"), watched ? text("fit_so_far") : fitnessWord(fitness));
  const list = part(element, "reasons");
  if (list.dataset.shown === reasons.join("\n")) return;
  list.dataset.shown = reasons.join("\n");
  list.replaceChildren(...reasons.map(item));
  list.hidden = reasons.length === 0;
}

function item(reason) {
  const li = document.createElement("li");
  writeSaid(li, reason);
  return li;
}

function showGun(box, gun) {
  showState(box, gun ? gun.state : "no data");
  if (!gun) return;
  const since = part(box, "for");
  const time = since.querySelector("time") ?? since.appendChild(document.createElement("time"));
  time.dataset.since = "";
  setTime(time, gun.since);
}

function showState(box, state) {
  box.dataset.state = state;
  const mark = part(box, "state");
  mark.dataset.state = state;
  mark.querySelector("use").setAttribute("href", `#state-${slug(state)}`);
  write(part(mark, "state-word"), stateWord(state));
}

function showValue(row, value, stationTime) {
  const name = row.dataset.quantity;
  const age = stationTime - Date.parse(value.time);
  row.dataset.quality = value.quality;
  row.toggleAttribute("data-old", age > OLD_AFTER_MS);
  write(part(row, "value"), printed(value.value, name));
  write(part(row, "note"), note(value, age));
  const gauge = row.querySelector(".gauge");
  if (gauge) showPlace(row, gauge, value, name);
}

function showPlace(row, gauge, value, name) {
  const at = place(value.value, value.low, value.high);
  const out = at.place === "low" || at.place === "high";
  const state = row.closest("[data-gun]")?.dataset.state;
  row.dataset.place = at.place;
  row.toggleAttribute("data-abnormal", out && JUDGED.has(state));
  draw(gauge, at);
  write(part(row, "window"), `${printedLimit(value.low, name)} – ${printedLimit(value.high, name)}`);
  if (out) part(row, "side").querySelector("use").setAttribute("href", `#side-${at.place}`);
  write(part(row, "side-word"), at.place.startsWith("no ") ? "" : text(at.place));
}

function note(value, age) {
  const parts = [];
  if (value.quality !== "good") parts.push(value.reason ? `${text(value.quality)}: ${said(value.reason)}` : text(value.quality));
  if (age > OLD_AFTER_MS) parts.push(text("old", { age: `${Math.floor(age / 1000)} s` }));
  return parts.join(" ");
}
