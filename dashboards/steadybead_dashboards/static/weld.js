/** The page of one weld record: its trace, the values at the cursor, the export. */
import { bindExport } from "./export.js";
import { bindPicture } from "./picture.js";
import { Lane } from "./lane.js";
import { summarise } from "./summary.js";
import { part, write } from "./tile.js";
import { clock, serverNow, tick } from "./times.js";
import { fetchOverview } from "./trace.js";
import { View } from "./view.js";
import { text } from "./words.js";

const RELOAD_MS = 10_000;
const SETTLED_MS = 250;

const section = document.getElementById("trace");
const outcome = part(section, "outcome");
const seconds = (iso) => (iso ? Date.parse(iso) / 1000 : null);
const record = { start: seconds(section.dataset.start), stop: seconds(section.dataset.stop) };
const whole = [seconds(section.dataset.from), seconds(section.dataset.to)];
const view = new View(whole, moved);
const alarms = [...document.querySelectorAll("[data-alarm-at]")].map((row) => seconds(row.dataset.alarmAt));
const lanes = [...section.querySelectorAll("[data-channel]")]
  .map((box) => new Lane(box, view, record, (t) => pointed(t, "off"), pressed, alarms));
let cursor = null;
let settle;

function moved(range) {
  draw(range);
  write(part(section, "range"), text("zoomed", { start: clock(range[0] * 1000), end: clock(range[1] * 1000) }));
  clearTimeout(settle);
  settle = setTimeout(() => attempt(() => refine(range, false)), SETTLED_MS);
}

function draw(range) {
  for (const lane of lanes) lane.draw(range);
  section.dataset.shownFrom = range[0].toFixed(3);
  section.dataset.shownTo = range[1].toFixed(3);
}

async function refine(range, again) {
  await Promise.all(lanes.map((lane) => lane.refine(range, whole, again)));
  draw(view.range);
}

async function load(again) {
  const { figures } = section.dataset;
  const overviews = await fetchOverview(section.dataset.weld, figures);
  if (figures !== section.dataset.figures) return; // switched meanwhile: the other load is under way
  for (const lane of lanes) lane.take(overviews.get(lane.box.dataset.channel));
  await refine(view.range, again);
  const empty = lanes.every((lane) => lane.overview.samples.t.length === 0);
  write(outcome, empty ? text("no_readings") : "");
  summarise(part(section, "summary"), lanes, whole, record);
  section.dataset.loaded = "";
}

/** While the record is open the trace grows; whoever looks at the whole keeps seeing the whole. */
async function grow() {
  const atWhole = view.range[0] === whole[0] && view.range[1] === whole[1];
  whole[1] = serverNow() / 1000;
  if (atWhole) view.range = [...whole];
  await attempt(() => load(true));
}

async function attempt(work) {
  try {
    await work();
    delete outcome.dataset.problem;
  } catch (error) {
    write(outcome, text("trace_failed", { detail: error.message }));
    outcome.dataset.problem = "";
  }
}

function pointed(t, live) {
  cursor = t;
  const output = part(section, "cursor");
  output.setAttribute("aria-live", live);
  write(output, `${clock(t * 1000)}  ${lanes.map((lane) => lane.valueAt(t, view.range)).join(" · ")}`);
}

function pressed(event) {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  const arrow = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
  if (arrow && event.shiftKey) view.move(arrow * 0.1);
  else if (arrow) moveCursor(arrow);
  else if (event.key === "+" || event.key === "=") view.do("in");
  else if (event.key === "-") view.do("out");
  else if (event.key === "0") view.do("all");
  else return;
  event.preventDefault();
}

function moveCursor(direction) {
  const [from, to] = view.range;
  const t = Math.min(Math.max((cursor ?? (from + to) / 2) + (direction * (to - from)) / 100, from), to);
  for (const lane of lanes) lane.point(t);
  pointed(t, "polite");
}

/** Show the trace as recorded, or as the calibrations in force would have it. */
async function choose(figures) {
  section.dataset.figures = figures;
  delete section.dataset.loaded;
  for (const button of section.querySelectorAll("[data-figures]")) {
    button.setAttribute("aria-pressed", String(button.dataset.figures === figures));
  }
  for (const lane of lanes) Object.assign(lane, { figures, detail: null, closer: null });
  await attempt(() => load(true));
  draw(view.range);
}

for (const button of section.querySelectorAll("[data-figures]")) {
  button.addEventListener("click", () => choose(button.dataset.figures));
}
for (const button of section.querySelectorAll("[data-zoom]")) {
  button.addEventListener("click", () => view.do(button.dataset.zoom));
}
bindExport(whole);
bindPicture(section, lanes, view);
tick();
setInterval(tick, 1_000);
section.dataset.figures = "recorded";
attempt(() => load(false)).then(() => {
  view.set(...whole);
  if (record.stop === null) setInterval(grow, RELOAD_MS);
});
