/** Shows on every page what waits to be sent and what was refused, and sends it. */
import { discard, drain, entries, on, reason, retry, waiting } from "./outbox.js";
import { clock } from "./times.js";
import { text } from "./words.js";

const AGAIN_MS = 3_000;
const box = document.getElementById("outbox");
const person = document.querySelector('meta[name="person"]').content;
const sum = box.querySelector("h2");
const list = box.querySelector("ul");

let shown = "";

function show() {
  const all = entries();
  const state = JSON.stringify([reason(), all.map((e) => [e.key, e.problem])]);
  if (state === shown) return;
  shown = state;
  box.hidden = all.length === 0;
  const own = waiting().length;
  const strangers = all.filter((entry) => entry.person !== person && !entry.problem);
  const lines = [];
  if (own) lines.push(text(reason() === "session" ? "waiting_session" : "waiting", { n: own }));
  for (const name of new Set(strangers.map((entry) => entry.person))) {
    lines.push(text("waiting_for", { name, n: strangers.filter((entry) => entry.person === name).length }));
  }
  const refused = all.filter((entry) => entry.problem);
  if (refused.length) lines.push(text("not_taken", { n: refused.length }));
  sum.textContent = lines.join(" · ");
  box.toggleAttribute("data-refused", refused.length > 0);
  list.replaceChildren(...all.map(item));
}

function item(entry) {
  const made = document.createElement("li");
  const what = Object.assign(document.createElement("span"), { textContent: `${clock(entry.at)} ${entry.what}` });
  made.append(what);
  if (!entry.problem) return made;
  const why = Object.assign(document.createElement("strong"), { textContent: entry.problem });
  made.append(why, button(text("try_again"), () => retry(entry.key)), twice(text("discard"), () => discard(entry.key)));
  return made;
}

function button(words, work) {
  const made = Object.assign(document.createElement("button"), { type: "button", className: "button", textContent: words });
  made.addEventListener("click", () => work(made));
  return made;
}

/** What cannot be taken back asks for a second tap. */
function twice(words, work) {
  return button(words, (made) => {
    if (made.dataset.sure) return work();
    made.dataset.sure = "yes";
    made.textContent = text("tap_again");
    return undefined;
  });
}

on("changed", show);
addEventListener("online", drain);
addEventListener("storage", show);
setInterval(() => { if (waiting().length) drain(); }, AGAIN_MS);
show();
if (waiting().length) drain();
