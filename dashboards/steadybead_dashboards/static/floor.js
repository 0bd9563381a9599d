/** The floor page: counts the fit stations, follows all of them, and today's welds. */
import { follow } from "./follow.js";
import { renewing } from "./renew.js";
import { write } from "./tile.js";
import { text } from "./words.js";
import { bindWall } from "./wall.js";

const sum = document.getElementById("sum");
const welds = renewing("today");

function count() {
  const tiles = [...document.querySelectorAll(".tile")];
  const fit = tiles.filter((tile) => tile.dataset.fitness === "fit").length;
  write(sum, text("fit_of", { fit, all: tiles.length }));
}

function changed(_, live) {
  count();
  if (live) welds(live);
}

follow(changed);
bindWall();
