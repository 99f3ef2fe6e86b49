/** One standard uncertainty above this many percent of the reference reads "uncertain" (our choice, no source). */
const WIDEST_U_PERCENT = 15;

/**
 * A region's value as people read it: `38 ± 2 %`, or the word that says why there is none.
 *
 * @param {{percent: number | null, percent_u: number | null, flag: string}} value
 */
export function valueText({ percent, percent_u, flag }) {
  if (percent === null) return flag || "uncertain";
  if (percent_u === null || percent_u > WIDEST_U_PERCENT) return "uncertain";
  if (flag) return flag;
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

/** @param {number} megabytes */
export function storageText(megabytes) {
  return megabytes >= 1000 ? `${(megabytes / 1000).toFixed(megabytes >= 10_000 ? 0 : 1)} GB` : `${Math.round(megabytes)} MB`;
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
