/** The page of one weld record: its trace, the values at the cursor, the export. */
import { problemOf } from "./acts.js";
import { Chart } from "./chart.js";
import { bindExport } from "./export.js";
import { Samples } from "./samples.js";
import { summarise } from "./summary.js";
import { part, write } from "./tile.js";
import { clock, serverNow, tick } from "./times.js";
import { View, bindPointer, cursorOptions, takeSelection } from "./view.js";
import { printed, printedLimit, text } from "./words.js";

const REACH_AT_LEAST_S = 0.5;
const RELOAD_MS = 10_000;

const section = document.getElementById("trace");
const seconds = (iso) => (iso ? Date.parse(iso) / 1000 : null);
const record = { start: seconds(section.dataset.start), stop: seconds(section.dataset.stop) };
const whole = [seconds(section.dataset.from), seconds(section.dataset.to)];
const view = new View(whole, showRange);
const lanes = [...section.querySelectorAll("[data-channel]")].map(lane);
let cursor = null;

function lane(box) {
  const number = (name) => (box.dataset[name] === "" ? null : Number(box.dataset[name]));
  const spec = {
    low: number("low"), high: number("high"), decimals: number("decimals"),
    cursor: cursorOptions("trace", () => view),
    hooks: {
      setSelect: [(u) => takeSelection(u, view)],
      setCursor: [(u) => { if (u.cursor.left >= 0) pointed(u.posToVal(u.cursor.left, "x"), "off"); }],
      ready: [(u) => queueMicrotask(() => bindPointer({ plot: u }, view))],
    },
  };
  const made = { box, chart: new Chart(box, spec), samples: new Samples(), gaps: [], reach: REACH_AT_LEAST_S };
  box.addEventListener("keydown", (event) => pressed(event));
  return made;
}

function showRange(range) {
  for (const { chart, samples, gaps } of lanes) chart.show(samples, gaps, range, record);
  const shown = text("zoomed", { start: clock(range[0] * 1000), end: clock(range[1] * 1000) });
  write(part(section, "range"), shown);
  section.dataset.shownFrom = range[0].toFixed(3);
  section.dataset.shownTo = range[1].toFixed(3);
}

function pointed(t, live) {
  cursor = t;
  const values = lanes.map((each) => `${each.box.dataset.label} ${valueAt(each, t)}`);
  const output = part(section, "cursor");
  output.setAttribute("aria-live", live);
  write(output, `${clock(t * 1000)}  ${values.join(" · ")}`);
}

function valueAt({ box, samples, gaps, reach }, t) {
  const i = samples.nearest(t, reach);
  if (i < 0 || gaps.some(([from, to]) => from < t && t < to)) return text("gap");
  const quality = samples.q[i] === "good" ? "" : ` (${text(samples.q[i])}${samples.r[i] ? `: ${samples.r[i]}` : ""})`;
  return `${printed(samples.v[i], box.dataset.quantity)} ${box.dataset.unit}${quality}`;
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
  for (const { chart } of lanes) chart.plot.setCursor({ left: chart.plot.valToPos(t, "x"), top: 10 }, false);
  pointed(t, "polite");
}

async function load() {
  const answer = await fetch(`/api/v1/welds/${encodeURIComponent(section.dataset.weld)}/trace`, {
    headers: { Accept: "application/json" },
  });
  if (!answer.ok) throw new Error(await problemOf(answer));
  const trace = await answer.json();
  for (const lane of lanes) {
    const column = trace.channels.find((c) => c.channel === lane.box.dataset.channel);
    lane.samples = new Samples();
    column?.time.forEach((iso, i) => lane.samples.add(seconds(iso), column.value[i], column.quality[i], column.reason[i]));
    lane.gaps = column?.gaps.map((gap) => [seconds(gap.start), seconds(gap.end)]) ?? [];
    lane.reach = lane.samples.gapAfter(REACH_AT_LEAST_S);
    showWindow(lane, column?.window);
  }
}

/** The window in the channel's own figures, which may refer to another state of the gas. */
function showWindow({ box, chart }, window) {
  if (!window) return;
  Object.assign(chart.spec, { low: window.low, high: window.high });
  const { quantity: name, unit } = box.dataset;
  const limits = `${printedLimit(window.low, name)} – ${printedLimit(window.high, name)} ${unit}`;
  const note = window.note ? `; ${window.note}` : "";
  write(box.parentElement.querySelector('[data-part="window"]'), text("window", { limits, note }));
}

async function refresh() {
  const outcome = part(section, "outcome");
  try {
    await load();
    const n = lanes.reduce((sum, { samples }) => sum + samples.t.length, 0);
    write(outcome, n ? "" : text("no_readings"));
    section.dataset.readings = String(n);
    summarise(part(section, "summary"), lanes, record);
  } catch (error) {
    write(outcome, text("trace_failed", { detail: error.message }));
    outcome.dataset.problem = "";
  }
}

/** While the record is open the trace grows; whoever looks at the whole keeps seeing the whole. */
async function grow() {
  const atWhole = view.range[0] === whole[0] && view.range[1] === whole[1];
  whole[1] = serverNow() / 1000;
  await refresh();
  view.set(...(atWhole ? whole : view.range));
}

for (const button of section.querySelectorAll("[data-zoom]")) {
  button.addEventListener("click", () => view.do(button.dataset.zoom));
}
bindExport(whole);
await refresh();
view.set(...whole);
if (record.stop === null) setInterval(grow, RELOAD_MS);
tick();
setInterval(tick, 1_000);
