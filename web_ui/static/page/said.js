/** @import { Args } from "./words.js" */

import { FluentNumber, FluentResource } from "../libraries/fluent-bundle/index.js";
import { language, words } from "./words.js";

/**
 * What the device says, in the reader's language. The device speaks English: to its log, to the command line, to whoever asks its
 * interface. Each of its sentences stands in the catalogues whose name begins with `said-`, in English as the device writes it; there
 * it is found again, with the values that stand in it, and said in the page's language. A value whose name begins with `said` is
 * itself words of the device. Of messages that fit, one that opens with words of its own is meant, and of those the one
 * with the most; one without letters of its own fits only where the words in it are known.
 *
 * @typedef {{id: string, args: Record<string, string | FluentNumber>}} Recognised
 * @typedef {{id: string, names: string[], numbers: boolean[], form: RegExp, opens: boolean, length: number, letters: number}} Sentence
 */

/** A decimal number as the device writes it. */
const NUMBER = "[+-]?\\d+(?:\\.\\d+)?(?:e[+-]\\d+)?";

/** Sentences with values that change, such as seconds left, would fill the memory of a page that is open for days. */
const MOST_REMEMBERED = 500;

/** @type {Sentence[]} those surest to be meant go first */
let sentences = [];
/** @type {Map<string, Recognised | null>} */
const remembered = new Map();

/** @param {string} catalogue the English one, in Fluent's syntax */
export function learnSentences(catalogue) {
  sentences = new FluentResource(catalogue).body
    .filter(({ id, value }) => id.startsWith("said-") && value !== null)
    .map(({ id, value }) => sentenceOf(id, /** @type {any} */ (value)))
    .sort((a, b) => Number(b.opens) - Number(a.opens) || b.length - a.length);
  remembered.clear();
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
  return saidOrNull(line) !== null;
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
  for (const { id, form, names, numbers, letters } of sentences) {
    const [, ...found] = form.exec(line) ?? [];
    if (found.length === 0 && !form.test(line)) continue;
    if (letters === 0 && !found.every((value, index) => !isWords(names[index] ?? "") || recognised(value))) continue;
    return { id, args: Object.fromEntries(found.map((value, index) => [names[index], numbers[index] ? numberOf(value) : value])) };
  }
  return null;
}

/** @param {string} line @returns {string | null} */
function saidOrNull(line) {
  if (language() === "en" || line === "") return line;
  const found = recognised(line);
  if (found === null) return null;
  const args = Object.entries(found.args).map(([name, value]) => [name, isWords(name) ? saidWithin(String(value)) : value]);
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

/** @param {string} name of a value in a message */
function isWords(name) {
  return name.startsWith("said");
}

/**
 * @param {string} id
 * @param {string | (string | {type: string, name: string})[]} value a message of Fluent: text, `{ $text }`, or `{ NUMBER($number) }`
 * @returns {Sentence}
 */
function sentenceOf(id, value) {
  const parts = typeof value === "string" ? [value] : value;
  const texts = parts.filter((part) => typeof part === "string");
  const holes = parts.filter((part) => typeof part !== "string");
  const form = parts.map((part) => (typeof part === "string" ? escaped(part) : part.type === "var" ? "(.*?)" : `(${NUMBER})`));
  return {
    id,
    names: holes.map((hole) => /** @type {any} */ (hole.type === "var" ? hole : /** @type {any} */ (hole).args[0]).name),
    numbers: holes.map((hole) => hole.type !== "var"),
    form: new RegExp(`^${form.join("")}$`, "s"),
    opens: typeof parts[0] === "string",
    length: texts.join("").length,
    letters: texts.join("").replaceAll(/[^a-z]/gi, "").length,
  };
}

/** With as many decimals, and the same sign, as the device wrote. @param {string} text */
function numberOf(text) {
  const decimals = /\.(\d+)/.exec(text)?.[1]?.length ?? 0;
  return new FluentNumber(Number(text), {
    minimumFractionDigits: decimals, maximumFractionDigits: Math.max(decimals, text.includes("e") ? 20 : 0),
    signDisplay: text.startsWith("+") ? "exceptZero" : "auto",
  });
}

/** @param {string} text */
function escaped(text) {
  return text.replaceAll(/[.*+?^${}()|[\]\\]/g, "\\$&");
}
