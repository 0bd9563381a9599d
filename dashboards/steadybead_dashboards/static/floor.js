/** The floor page: counts the fit stations, follows all of them, and today's welds. */
import { follow } from "./follow.js";
import { write } from "./tile.js";
import { text } from "./words.js";
import { bindWall } from "./wall.js";

const AGAIN_MS = 5_000;
const sum = document.getElementById("sum");
const records = new Map();
let due = null;

function count() {
  const tiles = [...document.querySelectorAll(".tile")];
  const fit = tiles.filter((tile) => tile.dataset.fitness === "fit").length;
  write(sum, text("fit_of", { fit, all: tiles.length }));
}

/** Where a record begins or ends, the list of today is asked for again, soon and not too often. */
function changed(_, live) {
  count();
  if (!live) return;
  const running = live.guns.map((gun) => gun.weld ?? "").join(" ");
  if (records.has(live.station) && records.get(live.station) !== running) due ??= setTimeout(refresh, AGAIN_MS);
  records.set(live.station, running);
}

async function refresh() {
  due = null;
  const answer = await fetch("/", { headers: { Accept: "text/html" } }).catch(() => null);
  if (!answer?.ok) return;
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const fresh = page.getElementById("today");
  if (fresh) document.getElementById("today")?.replaceWith(document.adoptNode(fresh));
}

follow(changed);
bindWall();
