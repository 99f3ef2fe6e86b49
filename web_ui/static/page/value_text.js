import { plusMinus } from "./measured_text.js";
import { words } from "./words.js";

/** What the device says in place of a value, as in `shared/protocol/control.py`. @type {Record<string, string>} */
const FLAG_WORDS = {
  "no reference": "page-no-reference",
  "reference too dark": "page-reference-too-dark",
  "reference saturated": "page-reference-saturated",
  "saturated": "page-saturated",
  "too dark": "page-too-dark",
  "uncertain": "page-uncertain",
  "unlit": "page-unlit",
  "before the dye": "review-before-dye",
  "no picture yet": "page-no-picture-yet",
  "place not known": "page-place-not-known",
  "out of the picture": "page-out-of-picture",
  "reference out of the picture": "page-out-of-picture",
};

/**
 * A flag of the device in the page's language; one that the page does not know, as the device says it.
 *
 * @param {string} flag
 */
export function flagWord(flag) {
  const id = FLAG_WORDS[flag];
  return id === undefined ? flag : words(id);
}

/**
 * A region's value as people read it: `38 ± 2 %`, or the word that says why there is none. How unsure is too unsure, the device says.
 *
 * @param {{percent: number | null, percent_u: number | null, flag: string}} value
 */
export function valueText({ percent, percent_u, flag }) {
  if (flag) return flagWord(flag);
  return percent === null || percent_u === null ? words("page-uncertain") : plusMinus(percent, percent_u, 0, "%");
}

/** @param {{percent: number | null, percent_u: number | null, flag: string}} value */
export function isCertain({ percent, percent_u, flag }) {
  return percent !== null && percent_u !== null && !flag;
}
