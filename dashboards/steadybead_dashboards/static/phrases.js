/**
 * Sentences that the diagnosis, the rules and the server made in English, in the page's language.
 * The same rules, over the same list of templates, as on the server (phrasebook.py).
 */
import { comma } from "./figures.js";

const PLACE = /\{(\w+)\}/;
const NUMBER = /^[±+\-−<]?\s?\d+(\.\d+)?( \S{1,8})?$/;
const PROSE = /[a-z]{2,}[,;]? [a-z]{2,}/;
const JOINTS = ["; ", ", or ", " · ", ", ", " and "];
const STOP = /(?<=[.:]) (?=[A-Z])/;
const DEEPEST = 6;
const MOST_KEPT = 1000;
const book = Object.entries(globalThis.steadybeadPhrases ?? {});
const plain = new Map(book.filter(([english]) => !PLACE.test(english)));
const kept = new Map();
let templates = null;

/** Give a sentence in the page's language, else as it is. */
export function said(text) {
  return translated(text) ?? text;
}

/** Write a sentence into an element; one that stays English says so to whoever reads it aloud. */
export function writeSaid(element, text) {
  if (!element) return;
  const found = translated(text);
  const shown = found ?? text;
  if (element.textContent !== shown) element.textContent = shown;
  if (book.length && found === null && /[a-z]/i.test(text)) element.lang = "en";
  else element.removeAttribute("lang");
}

function translated(text) {
  if (!book.length || !text) return book.length ? null : text ?? "";
  if (!kept.has(text)) {
    if (kept.size >= MOST_KEPT) kept.clear();
    kept.set(text, find(text, 0));
  }
  return kept.get(text);
}

function find(text, depth) {
  if (depth > DEEPEST || !text.trim()) return null;
  if (plain.has(text)) return plain.get(text);
  const [whole, sure] = byTemplate(text, depth);
  if (sure) return whole;
  return inParts(text, depth) ?? whole ?? inOtherDress(text, depth);
}

function byTemplate(text, depth) {
  let fallback = null;
  templates ??= book.filter(([english]) => PLACE.test(english)).map(template).sort(moreFixed);
  for (const { piece, pattern, names, other } of templates) {
    const found = text.includes(piece) ? pattern.exec(text) : null;
    if (!found) continue;
    let sure = true;
    const values = {};
    for (const name of names) {
      const given = found.groups[name];
      const shown = value(given, depth);
      sure &&= shown !== null || !PROSE.test(given);
      values[name] = shown ?? given;
    }
    const filled = other.replace(/\{(\w+)\}/g, (_, name) => values[name]);
    if (sure) return [filled, true];
    fallback ??= filled;
  }
  return [fallback, false];
}

function value(given, depth) {
  const bare = given.replace(/^[ ,;]+|[ ,;]+$/g, "");
  if (NUMBER.test(bare)) return comma(given);
  const shown = find(bare, depth + 1);
  return shown === null ? null : given.replace(bare, () => shown);
}

function inParts(text, depth) {
  const sentences = text.split(STOP);
  if (sentences.length > 1) {
    const shown = sentences.map((part) => find(part, depth + 1));
    if (!shown.includes(null)) return shown.join(" ");
  }
  for (const joint of JOINTS) {
    const parts = text.split(joint);
    if (parts.length === 1) continue;
    const shown = parts.map((part) => value(part, depth));
    if (shown.includes(null)) continue;
    const word = joint.trim();
    return shown.join(joint.replace(word, plain.get(word) ?? word));
  }
  return null;
}

function inOtherDress(text, depth) {
  if (depth === DEEPEST) return null;
  const small = text[0].toLowerCase() + text.slice(1);
  const lower = small === text ? null : find(small, depth + 1);
  if (lower !== null) return lower[0].toUpperCase() + lower.slice(1);
  const ends = text.endsWith(".");
  const other = find(ends ? text.slice(0, -1) : `${text}.`, DEEPEST);
  if (other === null) return null;
  return ends ? `${other}.` : other.replace(/\.+$/, "");
}

function template([english, other]) {
  const pieces = english.split(/\{(\w+)\}/);
  const fixed = pieces.filter((_, i) => i % 2 === 0);
  const names = [];
  let pattern = escaped(fixed[0]);
  pieces.forEach((name, i) => {
    if (i % 2 === 0) return;
    pattern += (names.includes(name) ? `\\k<${name}>` : `(?<${name}>.*?)`) + escaped(pieces[i + 1]);
    if (!names.includes(name)) names.push(name);
  });
  const piece = fixed.reduce((a, b) => (b.length > a.length ? b : a));
  const length = fixed.reduce((sum, part) => sum + part.length, 0);
  return { piece, pattern: new RegExp(`^${pattern}$`, "s"), names, other, length, english };
}

const moreFixed = (a, b) => b.length - a.length || (a.english < b.english ? -1 : 1);
const escaped = (words) => words.replace(/[.*+?^${}()|[\]\\/-]/g, "\\$&");
