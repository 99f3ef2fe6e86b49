import { locale } from "./words.js";

/**
 * A moment of the device as people of this tablet's language and place write it.
 *
 * @param {string} moment UTC, ISO 8601
 */
export function momentText(moment) {
  const at = Date.parse(moment);
  if (Number.isNaN(at)) return moment;
  return new Intl.DateTimeFormat(locale(), { dateStyle: "medium", timeStyle: "short" }).format(at);
}
