/** The list of what needs a person now. */
import { act } from "./acts.js";
import { said, writeSaid } from "./phrases.js";
import { say } from "./say.js";
import { part, write } from "./tile.js";
import { setTime } from "./times.js";
import { alarmWord, priorityWord, text } from "./words.js";

const ON_THE_WALL = 4; // as in wall.css
const PRIORITIES = ["high", "medium", "low"];
const TO_ACKNOWLEDGE = new Set([
  "unacknowledged", "returned to normal, unacknowledged", "latched, unacknowledged",
]);
const MAY_ACKNOWLEDGE = new Set([...TO_ACKNOWLEDGE, "latched, acknowledged"]);
const SHOWN = new Set([...MAY_ACKNOWLEDGE, "acknowledged"]);

export class Alarms {
  /** `concerns(alarm)` picks what this page shows, `placeName(station)` gives a station's name. */
  constructor(concerns, placeName) {
    this.concerns = concerns;
    this.placeName = placeName;
    this.told = new Map();
    this.list = document.getElementById("alarms");
    this.upkeep = new Set(this.list.dataset.upkeep.split(" "));
    this.list.addEventListener("click", (event) => this.clicked(event));
    this.count();
  }

  /** Show an alarm as it is now. */
  show(alarm) {
    if (!this.concerns(alarm)) return undefined;
    if (!SHOWN.has(alarm.state)) return this.clear(alarm.id);
    this.told.set(alarm.id, performance.now());
    const known = this.find(alarm.id);
    const card = known ?? this.made(alarm);
    fill(card, alarm, this.placeName(alarm.station));
    card.toggleAttribute("data-presses", alarm.state !== OVER && !this.upkeep.has(alarm.kind));
    this.place(card);
    if (!known) this.announce(alarm);
    return this.count();
  }

  /** Take an alarm off the list. */
  clear(id) {
    const card = this.find(id);
    if (card?.contains(document.activeElement)) document.getElementById("main").focus();
    card?.remove();
    this.told.delete(id);
    this.count();
  }

  /** Take off what was not told again since a time: it went while nothing was heard. */
  keepSince(at) {
    for (const card of [...this.list.children]) {
      const told = this.told.get(card.dataset.alarm) ?? 0;
      if (told < at) this.clear(card.dataset.alarm);
    }
  }

  find(id) {
    return [...this.list.children].find((card) => card.dataset.alarm === id);
  }

  made(alarm) {
    const card = document.getElementById("alarm-template").content.firstElementChild.cloneNode(true);
    card.dataset.alarm = alarm.id;
    return card;
  }

  /** Put a card where its urgency belongs, leaving it alone where it is right already. */
  place(card) {
    const after = [...this.list.children].find((other) => other !== card && compare(card, other) < 0) ?? null;
    const right = card.parentNode === this.list && card.nextElementSibling === after;
    if (!right) this.list.insertBefore(card, after);
  }

  count() {
    const all = this.list.children.length;
    const none = all === 0;
    if (all > ON_THE_WALL) this.list.dataset.beyond = text("alarms_beyond", { n: all - ON_THE_WALL });
    else delete this.list.dataset.beyond;
    document.getElementById("calm").hidden = !none;
    const hint = document.getElementById("ack-hint");
    if (hint) hint.hidden = none;
    const section = document.getElementById("needs-section");
    if (section) section.hidden = none;
  }

  announce(alarm) {
    const where = this.placeName(alarm.station);
    say(text("new_alarm", { priority: priorityWord(alarm.priority), place: where, what: said(alarm.what) }));
  }

  async clicked(event) {
    const button = event.target.closest('[data-act="acknowledge"]');
    if (!button) return;
    const card = button.closest("[data-alarm]");
    button.disabled = true;
    try {
      const alarm = await act(`/api/v1/alarms/${encodeURIComponent(card.dataset.alarm)}/acknowledge`, { of_raise: card.dataset.raised });
      say(text("acknowledged", { what: said(alarm.what) }));
      part(card, "place").focus();
      this.show(alarm);
    } catch (error) {
      write(part(card, "by"), error.message);
      say(error.message);
    } finally {
      button.disabled = false;
    }
  }
}


function fill(card, alarm, where) {
  Object.assign(card.dataset, { priority: alarm.priority, state: alarm.state, station: alarm.station, raised: alarm.last_raised });
  card.querySelector("use").setAttribute("href", `#priority-${alarm.priority}`);
  write(part(card, "priority"), priorityWord(alarm.priority));
  write(part(card, "place"), where);
  part(card, "place").setAttribute("href", `/stations/${alarm.station}`);
  writeSaid(part(card, "what"), alarm.what);
  part(card, "what").setAttribute("href", `/alarms/${encodeURIComponent(alarm.id)}`);
  writeSaid(part(card, "to-do"), alarm.to_do);
  writeSaid(part(card, "for-whom"), alarm.for_whom);
  write(part(card, "state"), alarmWord(alarm.state));
  write(part(card, "by"), alarm.acknowledged_by ? text("by", { name: alarm.acknowledged_by }) : "");
  setTime(card.querySelector("time"), alarm.since);
  const button = card.querySelector('[data-act="acknowledge"]');
  if (button) button.hidden = !MAY_ACKNOWLEDGE.has(alarm.state);
}

function compare(a, b) {
  return rank(a) - rank(b) || raisedAt(b) - raisedAt(a);
}

const OVER = "returned to normal, unacknowledged";
const rank = (card) => (TO_ACKNOWLEDGE.has(card.dataset.state) ? 0 : 10)
  + PRIORITIES.indexOf(card.dataset.priority) + (card.dataset.state === OVER ? 0.5 : 0);
const raisedAt = (card) => Date.parse(card.querySelector("time").dateTime);
