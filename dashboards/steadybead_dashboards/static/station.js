/** The station page: follows one station, its records and strip charts. */
import { follow } from "./follow.js";
import { Record } from "./record.js";
import { renewing } from "./renew.js";
import { Strip } from "./strip.js";
import { local } from "./tile.js";

const tile = document.querySelector(".tile[data-station]");
const station = tile.dataset.station;
const records = new Map([...tile.querySelectorAll("[data-gun]")].map((box) => [box.dataset.gun, new Record(box, station)]));
const strips = new Map([...tile.querySelectorAll("[data-chart]")].map((box) => [box.dataset.chart, new Strip(box, station)]));

const recent = renewing("recent-records");
document.addEventListener("record-stopped", recent.soon); // one so short that no live message told it

follow((_, live) => {
  for (const record of records.values()) record.hint();
  if (!live) return;
  recent(live);
  for (const gun of live.guns) records.get(gun.gun)?.follow(gun.weld);
  for (const value of live.values) strips.get(local(value.channel))?.add(value);
});

setInterval(() => {
  if (!document.hidden) for (const strip of strips.values()) strip.draw();
}, 1_000);
