/** The set-up page: keeps what is heard and refused up to date, and checks a plant file's text. */
import { act } from "./acts.js";
import { showLink } from "./link.js";
import { tick } from "./times.js";
import { writeSaid } from "./phrases.js";
import { text } from "./words.js";

const AGAIN_MS = 5_000;
const form = document.getElementById("check-form");
const verdict = document.getElementById("verdict");
const problems = document.getElementById("problems");
const summary = document.getElementById("summary");
let heard = performance.now();

/** Ask for the page again and take over what differs; what somebody has in hand stays. */
async function refresh() {
  if (document.hidden) return;
  const answer = await fetch(location.pathname, { signal: AbortSignal.timeout(2 * AGAIN_MS) }).catch(() => null);
  if (!answer?.ok || answer.redirected) {
    showLink(answer?.redirected ? "signed-out" : "lost", performance.now() - heard);
    return;
  }
  heard = performance.now();
  showLink("live", 0);
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  for (const list of document.querySelectorAll("[data-fresh-list]")) renew(list, fresh.querySelector("[data-fresh-list]"));
  for (const old of document.querySelectorAll("[data-fresh]")) {
    const now = fresh.querySelector(`[data-fresh="${CSS.escape(old.dataset.fresh)}"]`);
    if (now) replace(old, now);
  }
}

/** Put a list's items in their new order, adding and dropping some. */
function renew(list, fresh) {
  const known = new Map([...list.children].map((item) => [item.dataset.fresh, item]));
  const items = [...fresh.children].map((item) => known.get(item.dataset.fresh) ?? document.adoptNode(item));
  if (items.length === list.children.length && items.every((item, i) => item === list.children[i])) return;
  if (!list.contains(document.activeElement)) list.replaceChildren(...items);
}

function replace(old, now) {
  if (old.isEqualNode(now) || old.contains(document.activeElement)) return;
  if (old.querySelector("details[open]")) return;
  old.replaceWith(document.adoptNode(now));
}

async function read(file) {
  if (file.size > form.dataset.most * 1024) {
    fail(text("plant_too_large", { most: form.dataset.most }));
    return;
  }
  form.elements.text.value = await file.text();
  await check();
}

async function check() {
  const button = form.querySelector('button[type="submit"]');
  button.disabled = true;
  show("");
  try {
    tell(await act("/api/v1/plant-file/check", { text: form.elements.text.value }));
  } catch (error) {
    fail(error.message);
  } finally {
    button.disabled = false;
  }
}

function show(sentence) {
  delete verdict.dataset.problem;
  verdict.textContent = sentence;
  problems.hidden = true;
  summary.hidden = true;
}

function fail(sentence) {
  show(sentence);
  verdict.dataset.problem = "";
}

function tell(found) {
  if (!found.in_order) {
    fail(text(found.more ? "plant_many" : found.problems.length === 1 ? "plant_one" : "plant_some", { n: found.problems.length }));
    problems.replaceChildren(...found.problems.map(problem));
    problems.hidden = false;
    return;
  }
  show(text("plant_in_order", { stations: found.stations.length, channels: found.channels }));
  const lines = found.stations.map((s) => text("plant_station", { station: s.name || s.station, guns: s.guns, channels: s.channels }));
  for (const [key, names] of [["plant_added", found.added], ["plant_removed", found.removed], ["plant_changed", found.changed]]) {
    if (names.length) lines.push(text(key, { n: names.length, names: names.slice(0, 20).join(", ") + (names.length > 20 ? ", …" : "") }));
  }
  if (!found.added.length && !found.removed.length && !found.changed.length) lines.push(text("plant_same"));
  summary.replaceChildren(list(lines));
  summary.hidden = false;
}

function list(lines) {
  const made = document.createElement("ul");
  made.className = "dashes";
  made.append(...lines.map((line) => Object.assign(document.createElement("li"), { textContent: line })));
  return made;
}

/** A mistake; its line leads to the text. */
function problem({ line, what, remedy }) {
  const item = document.createElement("li");
  const button = Object.assign(document.createElement("button"), { type: "button", className: "plain", textContent: text("plant_line", { line }) });
  button.addEventListener("click", () => select(line));
  const wrong = document.createElement("p");
  const fix = Object.assign(document.createElement("p"), { className: "fix remedy" });
  writeSaid(wrong, what);
  writeSaid(fix, remedy);
  item.append(button, wrong, fix);
  return item;
}

/** Mark a line of the text and bring it into view. */
function select(line) {
  const field = form.elements.text;
  const lines = field.value.split("\n");
  const start = lines.slice(0, line - 1).reduce((sum, row) => sum + row.length + 1, 0);
  field.focus();
  field.setSelectionRange(start, start + (lines[line - 1]?.length ?? 0));
  field.scrollTop = Math.max(0, (line - 4) * parseFloat(getComputedStyle(field).lineHeight));
}

form.addEventListener("submit", (event) => { event.preventDefault(); check(); });
form.elements.file.addEventListener("change", () => { if (form.elements.file.files[0]) read(form.elements.file.files[0]); });
tick();
setInterval(tick, 1_000);
setInterval(refresh, AGAIN_MS);
