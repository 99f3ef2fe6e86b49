import { locale, words } from "./words.js";

/** One standard uncertainty above this many percent of the reference reads "uncertain" (our choice, no source). */
const WIDEST_U_PERCENT = 15;

/** What the device says in place of a value, as in `shared/protocol/control.py`. @type {Record<string, string>} */
const FLAG_WORDS = {
  "no reference": "page-no-reference",
  "reference too dark": "page-reference-too-dark",
  "reference saturated": "page-reference-saturated",
  "saturated": "page-saturated",
  "too dark": "page-too-dark",
  "uncertain": "page-uncertain",
  "unlit": "page-unlit",
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
 * A region's value as people read it: `38 ± 2 %`, or the word that says why there is none.
 *
 * @param {{percent: number | null, percent_u: number | null, flag: string}} value
 */
export function valueText({ percent, percent_u, flag }) {
  if (percent === null && flag) return flagWord(flag);
  if (percent === null || percent_u === null || percent_u > WIDEST_U_PERCENT) return words("page-uncertain");
  if (flag) return flagWord(flag);
  return `${whole(percent)} ± ${Math.max(1, Math.round(percent_u))} %`;
}

/** @param {{percent: number | null, percent_u: number | null, flag: string}} value */
export function isCertain({ percent, percent_u, flag }) {
  return percent !== null && percent_u !== null && percent_u <= WIDEST_U_PERCENT && !flag;
}

/**
 * Minutes and seconds, the minutes as many as there are: `0:42`, `12:05`.
 *
 * @param {number} seconds
 */
export function durationText(seconds) {
  const all = Math.max(0, Math.floor(seconds));
  return `${Math.floor(all / 60)}:${String(all % 60).padStart(2, "0")}`;
}

/**
 * A number as the reader's country writes it, with so many decimals, no thousands set apart.
 *
 * @param {number} value
 * @param {number} decimals
 */
export function numberText(value, decimals) {
  return value.toLocaleString(locale(), { minimumFractionDigits: decimals, maximumFractionDigits: decimals, useGrouping: false });
}

/**
 * Date and time of day as the reader's country writes them.
 *
 * @param {string | number} moment ISO 8601, or milliseconds since 1970
 */
export function momentText(moment) {
  return new Date(moment).toLocaleString(locale(), { dateStyle: "medium", timeStyle: "short" });
}

/**
 * The day alone, as the reader's country writes it.
 *
 * @param {string} moment ISO 8601
 */
export function dateText(moment) {
  return new Date(moment).toLocaleDateString(locale(), { dateStyle: "medium", timeZone: "UTC" });
}

/** @param {number} megabytes */
export function storageText(megabytes) {
  return megabytes >= 1000 ? `${numberText(megabytes / 1000, megabytes >= 10_000 ? 0 : 1)} GB` : `${numberText(megabytes, 0)} MB`;
}

/** @param {number} share */
export function shareText(share) {
  return `${Math.round(share * 100)} %`;
}

/** @param {number} value */
function whole(value) {
  const rounded = Math.round(value);
  return rounded === 0 ? "0" : String(rounded).replace("-", "−");
}
