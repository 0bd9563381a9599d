/** Times in the site's zone, lengths of time in words, and the server's clock. */
const zone = document.documentElement.dataset.zone;
const language = document.documentElement.lang === "en" ? "en-GB" : document.documentElement.lang;
const clockFormat = formatIn(zone, { hour: "2-digit", minute: "2-digit", second: "2-digit" });
const dayFormat = formatIn(zone, { year: "numeric", month: "2-digit", day: "2-digit" });
const utcFormat = formatIn("UTC", {
  year: "numeric", month: "2-digit", day: "2-digit",
  hour: "2-digit", minute: "2-digit", second: "2-digit",
});

const JUMP_MS = 30_000; // no message is that late: this device's clock was set
let ahead = Date.parse(document.documentElement.dataset.now) - Date.now();

function formatIn(timeZone, parts) {
  return new Intl.DateTimeFormat(language, { timeZone, hourCycle: "h23", ...parts });
}

/** Now in ms by the server's clock, as far as it is known. */
export const serverNow = () => Date.now() + ahead;

/** Set the server's clock from a time that it has just sent. */
export function heardTime(iso) {
  const told = Date.parse(iso);
  const seen = told - Date.now();
  if (Number.isFinite(told)) ahead = seen < ahead - JUMP_MS ? seen : Math.max(seen, ahead - 50);
}

/** Write the time of day in the site's zone. */
export const clock = (ms) => clockFormat.format(ms);

/** Write day and time of day in the site's zone, the day in the order of the page's language. */
export function dayAndClock(ms) {
  const p = Object.fromEntries(dayFormat.formatToParts(ms).map((x) => [x.type, x.value]));
  const day = language.startsWith("en") ? `${p.year}-${p.month}-${p.day}` : `${p.day}.${p.month}.${p.year}`;
  return `${day} ${clock(ms)}`;
}

/** Write a time in UTC, for the hover. */
export function utc(ms) {
  const p = Object.fromEntries(utcFormat.formatToParts(ms).map((x) => [x.type, x.value]));
  return `${p.year}-${p.month}-${p.day} ${p.hour}:${p.minute}:${p.second} UTC`;
}

/** Write a length of time in at most two units. */
export function span(ms) {
  const seconds = Math.max(0, Math.floor(ms / 1000));
  const two = (n) => String(n).padStart(2, "0");
  if (seconds < 60) return `${seconds} s`;
  if (seconds < 3600) return `${Math.floor(seconds / 60)} min ${two(seconds % 60)} s`;
  if (seconds < 86400) return `${Math.floor(seconds / 3600)} h ${two(Math.floor((seconds % 3600) / 60))} min`;
  return `${Math.floor(seconds / 86400)} d ${Math.floor((seconds % 86400) / 3600)} h`;
}

/** Point a `<time>` element at a time; its text is kept by `tick`. */
export function setTime(element, iso) {
  if (element.dateTime === iso) return;
  element.dateTime = iso;
  element.title = utc(Date.parse(iso));
  element.textContent = span(serverNow() - Date.parse(iso));
}

/** Bring the clock and every running length of time up to date. */
export function tick() {
  const now = serverNow();
  for (const element of document.querySelectorAll("time[data-clock]")) {
    element.textContent = clock(now);
    element.dateTime = new Date(now).toISOString();
    element.title = utc(now);
  }
  for (const element of document.querySelectorAll("time[data-since]")) {
    if (element.dateTime) write(element, span(now - Date.parse(element.dateTime)));
  }
}

function write(element, shown) {
  if (element.textContent !== shown) element.textContent = shown;
}
