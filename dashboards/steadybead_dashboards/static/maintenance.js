/** The maintenance page: records work on a filter with one tap, and shows what it changed. */
import { act } from "./acts.js";
import { newId } from "./entry.js";
import { say } from "./say.js";
import { part } from "./tile.js";
import { dayAndClock, tick, utc } from "./times.js";
import { text } from "./words.js";

const LOOK_EVERY_MS = 30_000;
const LOOKS = 40;
const API = "/api/v1/filter-changes";
const WORK = {
  changed: text("filter_changed"), "tapped out": text("filter_tapped_out"), inspected: text("filter_inspected"),
};
const rows = document.getElementById("done-rows");

/** One filter: its buttons, its note, and the entry that waits to be sent. */
class Filter {
  constructor(card) {
    this.card = card;
    this.buttons = [...card.querySelectorAll("[data-kind]")];
    this.waiting = null;
    for (const button of this.buttons) button.addEventListener("click", () => this.record(button.dataset.kind));
  }

  async record(kind) {
    const note = this.card.querySelector('[name="note"]').value.trim();
    // An entry that was not confirmed keeps its id, so that the next tap cannot make it two.
    if (this.waiting?.kind !== kind || this.waiting?.note !== note) {
      this.waiting = { id: newId("fc"), station: this.card.dataset.station, kind, note };
    }
    this.lock(true);
    try {
      const kept = await act(API, this.waiting);
      this.waiting = null;
      this.card.querySelector('[name="note"]').value = "";
      await this.show(kept);
    } catch (error) {
      this.tell(error.message, true);
    } finally {
      this.lock(false);
    }
  }

  async show(kept) {
    const row = addRow(kept, this.card.dataset.name);
    if (kept.kind !== "inspected") this.begin(kept);
    const found = await this.look(kept.id, row);
    const values = { before: dropText(found?.before), work: WORK[kept.kind] };
    const sentence = kept.kind === "inspected" ? text("filter_seen")
      : found?.before ? text("filter_before", values) : text("filter_kept", values);
    this.tell(sentence, false);
    say(sentence);
    this.follow(kept, row, found, LOOKS);
  }

  /** What was told of the old filter no longer holds. */
  begin(kept) {
    setTime(part(this.card, "last-change"), kept.time);
    for (const told of this.card.querySelectorAll("[data-told]")) told.toggleAttribute("hidden", true);
    for (const card of document.querySelectorAll(`[data-filter-of="${kept.station}"]`)) card.hidden = true;
    const left = document.querySelectorAll(".finding-card:not([hidden])").length;
    document.getElementById("nothing-to-do").hidden = left > 0;
  }

  /** Ask for the drop before and after; null where that cannot be told now. */
  async look(id, row) {
    try {
      const answer = await fetch(`${API}/${id}`, { credentials: "same-origin" });
      if (!answer.ok) return null;
      const found = await answer.json();
      part(row, "before").textContent = dropText(found.before);
      part(row, "after").textContent = dropText(found.after);
      return found;
    } catch {
      return null;
    }
  }

  follow(kept, row, found, left) {
    if (found?.after || left === 0 || kept.kind === "inspected") {
      if (found?.after) {
        const values = { before: dropText(found.before), after: dropText(found.after) };
        this.tell([text("filter_effect", values), kept.kind !== "inspected" && noLower(found) && text("filter_no_lower")].filter(Boolean).join(" "), false);
      }
      return;
    }
    setTimeout(async () => this.follow(kept, row, await this.look(kept.id, row), left - 1), LOOK_EVERY_MS);
  }

  tell(sentence, isProblem) {
    const outcome = part(this.card, "outcome");
    outcome.textContent = sentence;
    outcome.toggleAttribute("data-problem", isProblem);
  }

  lock(is) {
    for (const button of this.buttons) button.disabled = is;
  }
}

function dropText(drop) {
  if (!drop) return "–";
  const flow = drop.flow_l_min === null ? "" : `, ${drop.flow_l_min.toFixed(0)} L/min`;
  return `${drop.drop_pa.toFixed(0)} Pa${flow}`;
}

/** The drop is no lower than before, at no more than a tenth more air: as on the server. */
function noLower({ before, after }) {
  if (!before || after.drop_pa < before.drop_pa) return false;
  return before.flow_l_min === null || after.flow_l_min === null || after.flow_l_min <= 1.1 * before.flow_l_min;
}

function addRow(kept, place) {
  const known = rows.querySelector(`[data-change="${kept.id}"]`);
  if (known) return known;
  const row = document.getElementById("done-template").content.firstElementChild.cloneNode(true);
  row.dataset.change = kept.id;
  stamp(row.querySelector("time"), kept.time);
  part(row, "place").textContent = place;
  part(row, "work").textContent = [WORK[kept.kind], kept.note].filter(Boolean).join(" · ");
  part(row, "author").textContent = kept.author;
  rows.prepend(row);
  rows.closest("table").hidden = false;
  document.getElementById("nothing-done").hidden = true;
  return row;
}

function setTime(box, iso) {
  const time = document.createElement("time");
  stamp(time, iso);
  box.replaceChildren(time);
}

function stamp(time, iso) {
  time.dateTime = iso;
  time.title = utc(Date.parse(iso));
  time.textContent = dayAndClock(Date.parse(iso));
}

for (const card of document.querySelectorAll(".filter-card")) new Filter(card);
tick();
setInterval(tick, 1_000);
