/** @import { ComparedPoint, Comparison, Estimate, PointValue, Remainder } from "./compare_types.js" */

import { measuredText, plusMinus } from "../page/measured_text.js";
import { numberText, withUnit } from "../page/number_text.js";
import { words } from "../page/words.js";
import { figureName, standingWord } from "../review/figure_words.js";

/** A percentage less sure than this, in points (one standard uncertainty), reads "uncertain", as in the pictures (`shared/settings.py`). */
const WIDEST_U_PERCENT = 5;

/** What is said of each region, the first large. @type {[string, string][]} key and unit */
export const FIGURES = [
  ["relative_percent_at_end", "%"],
  ["peak_relative_percent", "%"],
  ["relative_percent_at_reference_peak", "%"],
  ["arrival_s", "s"],
  ["time_to_peak_s", "s"],
  ["half_rise_s", "s"],
  ["ingress_slope_percent_per_s", "%/s"],
  ["washout_half_life_s", "s"],
];

/** How what was left is known, as in `shared/compare/remainder.py`. @type {Record<string, string>} */
const METHOD_WORDS = {
  "prediction and observation": "compare-left-both",
  "prediction": "compare-left-prediction",
  "observation": "compare-left-observation",
  "baseline alone": "compare-left-baseline",
  "no second injection": "compare-left-none",
};

/** @param {string} key */
export function comparedName(key) {
  return key === "relative_percent_at_end" ? words("compare-at-end") : figureName(key);
}

/**
 * @param {Estimate | undefined} figure
 * @param {string} unit
 * @param {boolean} [signed] of a difference, which says which way it goes
 */
export function estimateText(figure, unit, signed = false) {
  if (figure === undefined || figure.value === null || figure.u === null) return words("compare-not-known");
  if (unit === "%" && figure.u > WIDEST_U_PERCENT) return words("page-uncertain");
  const text = measuredText(figure.value, figure.u, unit === "%" && signed ? words("compare-points") : unit);
  return signed ? withSign(text) : text;
}

/** Which way a difference goes; what reads 0 goes none. @param {string} text */
function withSign(text) {
  return /^[^±]*[1-9]/.test(text) && !text.startsWith("−") ? `+${text}` : text;
}

/**
 * The same for one glance: whole percent, one decimal where it is that sure.
 *
 * @param {Estimate | undefined} figure
 * @param {boolean} [signed]
 */
export function levelText(figure, signed = false) {
  if (figure === undefined || figure.value === null || figure.u === null) return words("compare-not-known");
  if (figure.u > WIDEST_U_PERCENT) return words("page-uncertain");
  const text = plusMinus(figure.value, figure.u, figure.u < 0.5 ? 1 : 0, signed ? words("compare-points") : "%");
  return signed ? withSign(text) : text;
}

/**
 * Whether two of its standard uncertainties (about 95 in 100) leave a difference's sign open.
 *
 * @param {Estimate | undefined} figure
 */
export function isOpen(figure) {
  return figure === undefined || figure.value === null || figure.u === null || Math.abs(figure.value) < 2 * figure.u;
}

/**
 * What the pictures say at the point that was touched, each with one standard uncertainty, or why there is no number.
 *
 * @param {ComparedPoint} found
 */
export function pointText({ first, second, difference }) {
  const text = (/** @type {PointValue} */ { percent: value, u, standing }, /** @type {boolean} */ signed) => (
    value === null || u === null ? standingWord(standing) : levelText({ value, u }, signed)
  );
  return words("compare-point", { first: text(first, false), second: text(second, false), difference: text(difference, true) });
}

/** @param {Remainder} remainder */
export function leftText(remainder) {
  const id = METHOD_WORDS[remainder.method];
  const how = id === undefined ? remainder.method : words(id);
  const left = remainder.left_percent;
  return left === null || left.value === null ? how : `${how} ${words("compare-left-amount", { amount: measuredText(left.value, left.u, "%") })}`;
}

/** @param {Comparison} found */
export function alignedText(found) {
  const { aligned } = found;
  if (aligned === null) return words("compare-not-matched");
  const moved = aligned.shift_mm === null ? withUnit(numberText(aligned.shift_px, 0), "px") : withUnit(numberText(aligned.shift_mm, 1), "mm");
  return words("compare-matched", { moved, turned: numberText(aligned.rotation_deg, 1), sure: numberText(aligned.confidence, 2) });
}

/** @param {Comparison} found */
export function betweenText(found) {
  if (found.between_s === null) return words("compare-between-unknown");
  return words("compare-between", { minutes: numberText(found.between_s / 60, 1) });
}
