/**
 * Sentences that the diagnosis, the rules and the server made in English, in the page's language.
 * The same rules, over the same list of templates, as on the server (phrasebook.py).
 */
import { comma } from "./figures.js";

const PLACE = /\{(\w+)\}/;
const DAY = /^(\d{4})-(\d{2})-(\d{2})$/;
const NUMBER = /^[±+\-−<]?\s?\d+(\.\d+)?( \S{1,8})?$/;
const PROSE = /[a-z]{2,}[,;]? [a-z]{2,}/;
const JOINTS = ["; ", ", or ", " · ", ", ", " and "];
const STOP = /(?<=[.:]) (?=[A-Z])/;
const ENOUGH = 9; // letters that a template must have to stand around unknown words
const LONGEST = 3000;
const MOST_PARTS = 12;
const MOST_LOOKED_AT = 500; // parts of one sentence: what nobody made is given up
const MOST_KEPT = 1000;

const { sentences = {}, free = [], nested = [], forms = {}, verbatim = [] } = globalThis.steadybeadPhrases ?? {};
const VERBATIM = new Set(verbatim);
const FREE = new Set([...free, ...verbatim]);
const NESTED = new Set(nested);
const book = Object.entries(sentences);
const plain = new Map(book.filter(([english]) => !PLACE.test(english)));
const kept = new Map();
let templates = null;

/** Give a sentence in the page's language, else as it is. */
export const said = (text) => translated(text) ?? text;

/** Write a sentence into an element; one that stays English says so to whoever reads it aloud. */
export function writeSaid(element, text) {
  if (!element) return;
  const found = translated(text);
  const shown = found ?? text;
  if (element.textContent !== shown) element.textContent = shown;
  if (found === null && /\p{L}/u.test(text)) element.lang = "en";
  else element.removeAttribute("lang");
}

function translated(text) {
  if (!book.length || !text) return text ?? "";
  if (!kept.has(text)) {
    if (kept.size >= MOST_KEPT) kept.clear();
    kept.set(text, best(text));
  }
  return kept.get(text);
}

/** A sentence whose words are all known; else one with unknown words, if enough stands around them. */
function best(text) {
  if (text.length > LONGEST) return null;
  const search = new Search();
  return search.said(text) ?? search.fitting(text).find(({ letters }) => letters >= ENOUGH)?.filled ?? null;
}

/** The search for one sentence; it remembers what it found out about its parts. */
class Search {
  constructor() {
    this.known = new Map();
  }

  said(text) {
    if (!this.known.has(text)) {
      if (this.known.size >= MOST_LOOKED_AT) return null;
      this.known.set(text, null); // so that nothing is looked for within itself
      this.known.set(text, this.found(text));
    }
    return this.known.get(text);
  }

  /** The templates that fit, the one with most fixed words first; up to the first sure one. */
  fitting(text) {
    templates ??= book.filter(([english]) => PLACE.test(english)).map(template).sort(moreFixed);
    const fits = [];
    for (const made of templates) {
      const found = match(made, text);
      if (!found) continue;
      let sure = true;
      const values = {};
      for (const name of made.names) {
        const given = found.groups[name];
        const shown = VERBATIM.has(name) ? null : this.value(given, NESTED.has(name));
        sure &&= shown !== null || FREE.has(name) || !PROSE.test(given);
        values[name] = shown ?? (FREE.has(name) ? given : comma(given));
      }
      const filled = made.other.replace(/\{(\w+)\}/g, (_, name) => values[name]);
      fits.push({ filled, sure, letters: made.letters });
      if (sure) break;
    }
    return fits;
  }

  found(text) {
    if (plain.has(text)) return plain.get(text);
    if (!text.trim()) return null;
    return this.fitting(text).find((fit) => fit.sure)?.filled ?? this.inParts(text) ?? this.inOtherDress(text);
  }

  value(given, isNested) {
    const bare = given.replace(/^[ ,;]+|[ ,;]+$/g, "");
    if (NUMBER.test(bare)) return comma(given);
    if (DAY.test(bare)) return given.replace(bare, bare.replace(DAY, "$3.$2.$1"));
    const shown = isNested ? this.said(bare) : plain.get(bare) ?? null;
    return shown === null ? null : given.replace(bare, () => shown);
  }

  /** A row of sentences or of clauses, if each of them is known. */
  inParts(text) {
    const row = text.split(STOP);
    if (row.length > 1) {
      const shown = row.map((part) => this.said(part));
      if (!shown.includes(null)) return shown.join(" ");
    }
    for (const joint of JOINTS) {
      const parts = text.split(joint);
      const shown = parts.length > 1 && parts.length <= MOST_PARTS ? this.row(joint, parts) : null;
      if (!shown) continue;
      const word = joint.replace(/^[ ,;·]+|[ ,;·]+$/g, "");
      return shown.join(word ? joint.replace(word, plain.get(word) ?? word) : joint);
    }
    return null;
  }

  /** Parts that stand between joints; a joint may also stand within a part. */
  row(joint, parts) {
    const rows = new Map([[parts.length, []]]);
    for (let i = parts.length - 1; i >= 0; i -= 1) {
      for (let j = i + 1; j <= parts.length; j += 1) {
        if (!rows.has(j) || (i === 0 && j === parts.length)) continue;
        const shown = this.value(parts.slice(i, j).join(joint), true);
        if (shown === null) continue;
        rows.set(i, [shown, ...rows.get(j)]);
        break;
      }
    }
    return rows.get(0) ?? null;
  }

  /** With a small first letter, or with the full stop that a headline left out. */
  inOtherDress(text) {
    const small = text[0].toLowerCase() + text.slice(1);
    const lower = small === text ? null : this.said(small);
    if (lower !== null) return lower[0].toUpperCase() + lower.slice(1);
    const ends = text.endsWith(".");
    const other = this.said(ends ? text.slice(0, -1) : `${text}.`);
    if (other === null) return null;
    return ends ? `${other}.` : other.replace(/\.+$/, "");
  }
}

/** Hold a text to a template; the fixed pieces are looked for first, which is cheap. */
function match({ pieces, pattern }, text) {
  if (!text.startsWith(pieces[0]) || !text.endsWith(pieces.at(-1))) return null;
  let place = 0;
  for (const piece of pieces) {
    place = text.indexOf(piece, place);
    if (place < 0) return null;
    place += piece.length;
  }
  return pattern.exec(text);
}

function template([english, other]) {
  const all = english.split(/\{(\w+)\}/);
  const pieces = all.filter((_, i) => i % 2 === 0);
  const names = [];
  let pattern = escaped(pieces[0]);
  all.forEach((name, i) => {
    if (i % 2 === 0) return;
    const again = names.includes(name);
    pattern += (again ? `\\k<${name}>` : `(?<${name}>${forms[name] ?? ".*?"})`) + escaped(all[i + 1]);
    if (!again) names.push(name);
  });
  const length = pieces.reduce((sum, part) => sum + part.length, 0);
  const letters = pieces.join("").replace(/[^\p{L}]/gu, "").length;
  return { pieces, pattern: new RegExp(`^${pattern}$`, "s"), names, other, length, letters, english };
}

const moreFixed = (a, b) => b.length - a.length || (a.english < b.english ? -1 : 1);
const escaped = (words) => words.replace(/[.*+?^${}()|[\]\\/-]/g, "\\$&");
