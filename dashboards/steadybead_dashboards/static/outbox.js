/**
 * Entries wait on this device until the server has them: they survive a reload, go in the order
 * in which they were made, carry the time of the act and an id, and so count once.
 */
import { act } from "./acts.js";
import { serverNow } from "./times.js";
import { text } from "./words.js";

const PREFIX = "steadybead-entry-";
const PATIENCE_MS = 2_500;
const person = document.querySelector('meta[name="person"]').content;
const KEPT = { network: "kept_here", session: "kept_session", later: "kept_later" };
const asked = new Map();
const handed = new EventTarget();

let running = Promise.resolve();
let why = "";

/** Hear of every change: `changed`, and `sent` with the entry and its answer as detail. */
export const on = (name, handle) => handed.addEventListener(name, handle);

/** The time of an act, now by the server's clock. */
export const now = () => new Date(serverNow()).toISOString();

/** Why nothing is sent just now: `` , `network`, `later` or `session`. */
export const reason = () => why;

/** Say that an entry was kept here, and until when. */
export const keptWords = () => text(KEPT[why] ?? "kept_here");

/** All entries on this device in their order; those with `problem` were refused. */
export function entries() {
  const keys = Object.keys(localStorage).filter((key) => key.startsWith(PREFIX));
  return keys.sort().map((key) => ({ ...JSON.parse(localStorage.getItem(key)), key }));
}

/** Entries of the person who is signed in, not refused so far. */
export const waiting = () => entries().filter((entry) => entry.person === person && !entry.problem);

/** Entries of one gun that the server does not have yet. */
export const waitingAt = (place) => waiting().filter((entry) => entry.place === place);

/**
 * Keep an entry and send it: {path, body, kind, place, weld, what}. Gives {answer}, or
 * {waiting: true} where the network is gone. Throws ActError if the server refuses it at once;
 * then the form still has it, and it does not stay here.
 */
export async function enter(entry) {
  let kept;
  try {
    kept = keep(entry);
  } catch {
    return { answer: await act(entry.path, entry.body) }; // no room on this device: only at once
  }
  const outcome = new Promise((resolve, reject) => asked.set(kept.key, { resolve, reject }));
  const patience = setTimeout(() => settle(kept, { waiting: true }), navigator.onLine ? PATIENCE_MS : 0);
  drain();
  try {
    return await outcome;
  } finally {
    clearTimeout(patience);
  }
}

/** Send what waits, one after the other. */
export function drain() {
  running = running.then(sendAll, sendAll);
  return running;
}

/** Try a refused entry once more. */
export function retry(key) {
  const entry = entries().find((other) => other.key === key);
  if (entry) save({ ...entry, problem: "" });
  return drain();
}

/** Throw a refused entry away. */
export function discard(key) {
  localStorage.removeItem(key);
  tell("changed");
}

function keep(entry) {
  const last = entries().at(-1)?.order ?? 0;
  const order = Math.max(last + 1, Math.round(serverNow()));
  const kept = { ...entry, order, person, at: serverNow(), problem: "" };
  kept.key = PREFIX + String(order).padStart(16, "0");
  save(kept);
  return kept;
}

function save({ key, ...entry }) {
  localStorage.setItem(key, JSON.stringify(entry));
  tell("changed");
}

async function sendAll() {
  for (const entry of waiting()) {
    if (localStorage.getItem(entry.key) !== null && !(await send(entry))) break;
  }
  tell("changed");
}

/** Send one; tell whether the next may follow. */
async function send(entry) {
  try {
    const answer = await act(entry.path, entry.body);
    why = "";
    localStorage.removeItem(entry.key);
    if (!settle(entry, { answer })) tell("sent", { entry, answer });
    return true;
  } catch (error) {
    if (error.kind !== "refused") return held(entry, error.kind ?? "network");
    if (error.type === "later-record" && afterwards(entry)) return send(entries().find((e) => e.key === entry.key));
    refuse(entry, error);
    return true;
  }
}

function held(entry, kind) {
  why = kind;
  settle(entry, { waiting: true });
  return false;
}

function refuse(entry, error) {
  const form = asked.get(entry.key);
  asked.delete(entry.key);
  if (form) {
    localStorage.removeItem(entry.key);
    form.reject(error);
  } else if (localStorage.getItem(entry.key) !== null) {
    save({ ...entry, problem: error.message });
  }
}

/** Meanwhile another record was started on the gun: enter this one, with its stop, as a late one. */
function afterwards(start) {
  const stop = waiting().find((entry) => entry.kind === "stop" && entry.weld === start.weld);
  if (start.kind !== "start" || !stop || start.body.stop) return false;
  save({ ...start, body: { ...start.body, stop: stop.body.time, reason: text("without_network") } });
  localStorage.removeItem(stop.key);
  return true;
}

/** Answer the form that waits for this entry; tell whether one did. */
function settle(entry, outcome) {
  const form = asked.get(entry.key);
  asked.delete(entry.key);
  form?.resolve(outcome);
  return form !== undefined;
}

function tell(name, detail) {
  handed.dispatchEvent(new CustomEvent(name, { detail }));
}
