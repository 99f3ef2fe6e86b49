/** @import { FluentNumber } from "../libraries/fluent-bundle/index.js" */

import { FluentBundle, FluentResource } from "../libraries/fluent-bundle/index.js";

/** @typedef {"en" | "de" | "es"} Language */
/** @typedef {Record<string, string | number | FluentNumber>} Args */

/** @type {Language[]} */
export const LANGUAGES = ["en", "de", "es"];

/** Attributes of a template that name a message, and what of the element becomes its text. */
const NAMED = { "data-words-label": "aria-label", "data-words-alt": "alt", "data-words-placeholder": "placeholder" };

/** A number and its unit stay on one line (the space between them: SI Brochure, 9th edition, 5.4.3, from memory). */
const BEFORE_UNIT = /(?<=[\d–]) (?=(?:%|°C|×|[µnmk]?[smgVW]|mm|mL|min|h|px|MB|GB)(?![\p{L}\p{N}]))/gu;

let bundle = new FluentBundle("en");
/** @type {Language} */
let spoken = "en";
/** @type {Set<() => void>} */
const listeners = new Set();

/** The language that the page speaks now. */
export function language() {
  return spoken;
}

/** The same with the reader's own country, as `Intl` wants it: how numbers and times are written differs within a language. */
export function locale() {
  return globalThis.navigator?.languages?.find((one) => one.split("-")[0] === spoken) ?? spoken;
}

/**
 * @param {Language} chosen
 * @param {string} catalogue all of its messages, in Fluent's syntax
 */
export function speak(chosen, catalogue) {
  spoken = chosen;
  bundle = new FluentBundle(locale(), { useIsolating: false });
  bundle.addResource(new FluentResource(catalogue));
}

/** @param {() => void} changed what to do when the page speaks another language */
export function onLanguage(changed) {
  listeners.add(changed);
}

/**
 * The message of that name in the page's language. A missing one is shown as its name, and reported: never an empty button.
 *
 * @param {string} id
 * @param {Args} [args]
 * @returns {string}
 */
export function words(id, args = {}) {
  const message = bundle.getMessage(id);
  if (!message?.value) return missing(id, "is not in the catalogue");
  /** @type {Error[]} */
  const errors = [];
  const given = Object.fromEntries(Object.entries(args).map(([name, value]) => [name, isolated(value)]));
  const text = bundle.formatPattern(message.value, given, errors);
  return errors[0] === undefined ? text.replace(BEFORE_UNIT, "\u00a0") : missing(id, errors[0].message);
}

/**
 * @param {string} id
 * @param {string} why
 */
function missing(id, why) {
  globalThis.reportError?.(new Error(`the words ${id}: ${why}`));
  return id;
}

/** Text that people or files chose and that runs from right to left keeps its order to itself. @param {Args[string]} value */
function isolated(value) {
  if (typeof value !== "string" || !/[\u0590-\u08ff\u200f\u202a-\u202e\u2066-\u2069\ufb1d-\ufeff]/.test(value)) return value;
  return `\u2068${value.replaceAll("\u2069", "")}\u2069`;
}

/**
 * Write a message into an element, so that it is written again when the language changes.
 *
 * @param {Element} where
 * @param {string} id
 * @param {Args} [args]
 */
export function put(where, id, args) {
  where.setAttribute("data-words", id);
  if (args === undefined) where.removeAttribute("data-words-args");
  else where.setAttribute("data-words-args", JSON.stringify(args));
  const text = words(id, args);
  if (where.textContent !== text) where.textContent = text;
}

/**
 * Write every message that the elements below one name.
 *
 * @param {ParentNode} root
 */
export function writeWords(root) {
  for (const one of root.querySelectorAll("[data-words]")) {
    const args = one.getAttribute("data-words-args");
    one.textContent = words(one.getAttribute("data-words") ?? "", args === null ? {} : JSON.parse(args));
  }
  for (const [named, becomes] of Object.entries(NAMED)) {
    for (const one of root.querySelectorAll(`[${named}]`)) one.setAttribute(becomes, words(one.getAttribute(named) ?? ""));
  }
}

/** Write the whole page anew. */
export function relabelPage() {
  document.documentElement.lang = spoken;
  writeWords(document);
  for (const changed of listeners) changed();
}
