/** @import { Args } from "./words.js" */

import { FluentNumber, FluentResource } from "../libraries/fluent-bundle/index.js";
import { language, words } from "./words.js";

/**
 * What the device says, in the reader's language. The device speaks English: to its log, to the command line, to whoever asks its
 * interface. Each of its sentences stands in the catalogues whose name begins with `said-`, in English as the device writes it; there
 * it is found again, with the values that stand in it, and said in the page's language. A value whose name begins with `said` is
 * itself words of the device. Of messages that fit, those that open with words of their own go first, then the one with most of its own
 * is meant; one without letters fits only where the words in it are known.
 *
 * @typedef {{id: string, args: Record<string, string | FluentNumber>}} Recognised
 * @typedef {{name: string, isNumber: boolean, isWords: boolean}} Hole
 * @typedef {{id: string, pieces: string[], holes: Hole[], own: number, hasLetters: boolean}} Sentence its text between the holes, and
 *   how many characters that is
 */

/** How the names of values begin that are words of the device. */
const WORDS = "said";

/** A number as the device writes it. */
const NUMBER = /^(?:[+-]?\d+(?:\.\d+)?(?:e[+-]\d+)?|-?inf|nan)$/;

/** No sentence of the device is as long; what is may be someone's text, which is not looked through. */
const LONGEST = 2000;

/** Sentences with values that change, such as seconds left, would fill the memory of a page that is open for days. */
const MOST_REMEMBERED = 500;

let catalogue = "";
/** @type {Sentence[] | null} those surest to be meant go first; a page that speaks English never looks for one */
let sentences = null;
/** @type {Map<string, Recognised | null>} */
const remembered = new Map();

/** @param {string} english the catalogue in English, in Fluent's syntax */
export function learnSentences(english) {
  catalogue = english;
  sentences = null;
  remembered.clear();
}

function learnt() {
  sentences ??= new FluentResource(catalogue).body
    .filter(({ id, value }) => id.startsWith("said-") && value !== null)
    .map(({ id, value }) => sentenceOf(id, /** @type {any} */ (value)))
    .sort((a, b) => Number(b.pieces[0] !== "") - Number(a.pieces[0] !== "") || b.own - a.own);
  return sentences;
}

/**
 * One line of the device in the page's language; one that it does not know, as it is and marked so.
 *
 * @param {string} line
 */
export function said(line) {
  return saidOrNull(line) ?? words("page-in-english", { line });
}

/**
 * Whether the page can say that line of the device in its own language.
 *
 * @param {string} line
 */
export function isKnown(line) {
  return language() === "en" || recognised(line) !== null;
}

/**
 * The catalogues' message that says this line, and the values in it.
 *
 * @param {string} line
 * @returns {Recognised | null}
 */
export function recognised(line) {
  const before = remembered.get(line);
  if (before !== undefined) return before;
  if (remembered.size >= MOST_REMEMBERED) remembered.clear();
  const found = sentenceIn(line);
  remembered.set(line, found);
  return found;
}

/** @param {string} line @returns {Recognised | null} */
function sentenceIn(line) {
  if (line.length > LONGEST) return null;
  for (const { id, pieces, holes, hasLetters } of learnt()) {
    const found = valuesIn(line, pieces);
    if (found === null || !holes.every((hole, index) => fits(hole, found[index] ?? "", hasLetters))) continue;
    const args = holes.map(({ name, isNumber }, index) => [name, isNumber ? numberOf(found[index] ?? "") : found[index]]);
    return { id, args: Object.fromEntries(args) };
  }
  return null;
}

/**
 * What stands between these pieces of a line, each as short as can be: found in one walk along the line, whatever someone wrote in it.
 *
 * @param {string} line
 * @param {string[]} pieces
 */
function valuesIn(line, pieces) {
  const [first, last] = [pieces[0] ?? "", pieces.at(-1) ?? ""];
  if (!line.startsWith(first) || !line.endsWith(last)) return null;
  if (pieces.length === 1) return line === first ? [] : null;
  const end = line.length - last.length;
  if (end < first.length) return null;
  const values = [];
  let from = first.length;
  for (const piece of pieces.slice(1, -1)) {
    const at = line.indexOf(piece, from);
    if (at < 0 || at + piece.length > end) return null;
    values.push(line.slice(from, at));
    from = at + piece.length;
  }
  return [...values, line.slice(from, end)];
}

/** @param {Hole} hole @param {string} value @param {boolean} hasLetters whether its sentence has any */
function fits({ isNumber, isWords }, value, hasLetters) {
  return isNumber ? NUMBER.test(value) : hasLetters || !isWords || recognised(value) !== null;
}

/** @param {string} line @returns {string | null} */
function saidOrNull(line) {
  if (language() === "en" || line === "") return line;
  const found = recognised(line);
  if (found === null) return null;
  const args = Object.entries(found.args).map(([name, value]) => [name, name.startsWith(WORDS) ? saidWithin(String(value)) : value]);
  return words(found.id, /** @type {Args} */ (Object.fromEntries(args)));
}

/**
 * A name or value of the device inside a sentence or a table, or a row of them; what the page does not know may be someone's own word.
 *
 * @param {string} text
 * @returns {string}
 */
export function saidWithin(text) {
  return saidOrNull(text) ?? text.split(", ").map((part) => saidOrNull(part) ?? part).join(", ");
}

/**
 * @param {string} id
 * @param {string | (string | {type: string, name: string})[]} value a message of Fluent: text, `{ $text }`, or `{ NUMBER($number) }`
 * @returns {Sentence}
 */
function sentenceOf(id, value) {
  const pieces = [""];
  const holes = [];
  for (const part of typeof value === "string" ? [value] : value) {
    if (typeof part === "string") pieces[pieces.length - 1] = part;
    else {
      const isNumber = part.type !== "var";
      const { name } = isNumber ? /** @type {any} */ (part).args[0] : part;
      holes.push({ name, isNumber, isWords: name.startsWith(WORDS) });
      pieces.push("");
    }
  }
  const text = pieces.join("");
  return { id, pieces, holes, own: text.length, hasLetters: /[a-z]/i.test(text) };
}

/** With as many decimals, and the same sign, as the device wrote. @param {string} text */
function numberOf(text) {
  if (!Number.isFinite(Number(text))) return text;
  const decimals = /\.(\d+)/.exec(text)?.[1]?.length ?? 0;
  return new FluentNumber(Number(text), {
    minimumFractionDigits: decimals, maximumFractionDigits: Math.max(decimals, text.includes("e") ? 20 : 0),
    signDisplay: text.startsWith("+") ? "exceptZero" : "auto",
  });
}
