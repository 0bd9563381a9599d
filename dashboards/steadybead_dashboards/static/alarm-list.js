/** The page of all alarms: follows what needs a person; what is put away is drawn by the server. */
import { Alarms } from "./alarms.js";
import { Feed } from "./feed.js";
import { showLink } from "./link.js";
import { tick } from "./times.js";

const AWAY = new Set(["shelved", "out of service", "suppressed by design"]);
const AGAIN_MS = 1_000;
const section = document.getElementById("away-section");
const names = JSON.parse(section.dataset.names);
const drawn = new Map([...section.querySelectorAll("[data-away]")].map((row) => [row.dataset.away, row.dataset.state]));
const alarms = new Alarms(() => true, (station) => names[station] ?? station);
let again;

/** Ask for the page anew where the list of what is put away is no longer what was drawn. */
function moved(id, state) {
  const now = AWAY.has(state) ? state : undefined;
  if (drawn.get(id) === now) return;
  clearTimeout(again);
  again = setTimeout(() => location.reload(), AGAIN_MS);
}

new Feed("/api/v1/live", {
  live() {},
  alarm(alarm) {
    alarms.show(alarm);
    moved(alarm.id, alarm.state);
  },
  cleared(id) {
    alarms.clear(id);
    moved(id, "normal");
  },
  begun: (at) => alarms.keepSince(at),
  state: showLink,
});
tick();
setInterval(tick, 1_000);
