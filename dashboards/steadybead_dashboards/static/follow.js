/** What the floor and the station page share: stream, alarms, silence of single stations. */
import { Alarms } from "./alarms.js";
import { Feed } from "./feed.js";
import { showLink } from "./link.js";
import { showSilence, showStation } from "./tile.js";
import { tick } from "./times.js";

const SILENT_MS = 8_000;
const FEED = "/api/v1/live";

/** Follow the stations drawn on the page; `changed(element, live)` is told of each message. */
export function follow(changed) {
  const tiles = new Map([...document.querySelectorAll(".tile[data-station]")].map((t) => [t.dataset.station, t]));
  const heard = new Map([...tiles.keys()].map((id) => [id, performance.now()]));
  const alarms = new Alarms(
    (alarm) => tiles.has(alarm.station),
    (station) => tiles.get(station)?.dataset.name ?? station,
  );
  new Feed(FEED, {
    live(live) {
      const element = tiles.get(live.station);
      if (!element) return;
      heard.set(live.station, performance.now());
      showStation(element, live);
      changed(element, live);
    },
    alarm: (alarm) => alarms.show(alarm),
    cleared: (id) => alarms.clear(id),
    begun: (at) => alarms.keepSince(at),
    state: showLink,
  });
  setInterval(() => { tick(); silence(tiles, heard, changed); }, 1_000);
  tick();
}

function silence(tiles, heard, changed) {
  for (const [id, element] of tiles) {
    if (performance.now() - heard.get(id) <= SILENT_MS || element.dataset.fitness === "no data") continue;
    showSilence(element);
    changed(element, null);
  }
}
