/** Shows plainly whether the page follows, and marks old values when it does not. */
import { say } from "./say.js";
import { span } from "./times.js";
import { text } from "./words.js";

const indicator = document.getElementById("link");
const banner = document.getElementById("stale");
const LABELS = { live: "live", connecting: "connecting", lost: "lost", "broker-lost": "lost", "signed-out": "signed_out" };

let before = "connecting";

/** Show the state of the stream; `ago` is the time in ms since something was heard. */
export function showLink(word, ago) {
  if (indicator) { // a page that asks again and again has no stream to tell of
    indicator.dataset.link = word;
    write(indicator.querySelector('[data-part="link-word"]'), text(LABELS[word]));
  }
  const old = word === "lost" || word === "broker-lost" || word === "signed-out";
  document.body.toggleAttribute("data-silent", old);
  if (old) write(banner.querySelector('[data-part="stale-text"]'), explain(word, ago));
  const way = banner.querySelector('[data-part="stale-way"]');
  if (way) way.hidden = word !== "signed-out";
  banner.hidden = !old;
  if (word === "live" && before !== "live" && before !== "connecting") say(text("back"));
  before = word;
}

function explain(word, ago) {
  if (word === "signed-out") return text("signed_out_long");
  return word === "lost" ? text("lost_long", { ago: span(ago) }) : text("broker_lost");
}

function write(element, shown) {
  if (element.textContent !== shown) element.textContent = shown;
}
