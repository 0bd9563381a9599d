/** The floor page: counts the fit stations and follows all of them. */
import { follow } from "./follow.js";
import { write } from "./tile.js";
import { text } from "./words.js";

const sum = document.getElementById("sum");

function count() {
  const tiles = [...document.querySelectorAll(".tile")];
  const fit = tiles.filter((tile) => tile.dataset.fitness === "fit").length;
  write(sum, text("fit_of", { fit, all: tiles.length }));
}

follow(count);
