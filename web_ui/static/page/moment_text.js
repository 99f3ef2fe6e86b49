import { locale } from "./words.js";

/**
 * Date and time of day as the reader's country writes them; what is no moment, as it is.
 *
 * @param {string} moment ISO 8601
 */
export function momentText(moment) {
  const at = Date.parse(moment);
  return Number.isNaN(at) ? moment : new Intl.DateTimeFormat(locale(), { dateStyle: "medium", timeStyle: "short" }).format(at);
}

/**
 * The day alone, as the reader's country writes it.
 *
 * @param {string} moment ISO 8601
 */
export function dateText(moment) {
  return new Date(moment).toLocaleDateString(locale(), { dateStyle: "medium", timeZone: "UTC" });
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
