/** @import { Figure } from "./review_types.js" */

import { measuredText } from "../page/measured_text.js";
import { words } from "../page/words.js";

/** Name of each figure. @type {Record<string, string>} */
const NAME_WORDS = {
  peak_relative_percent: "review-peak",
  relative_percent_at_reference_peak: "review-at-reference-peak",
  arrival_s: "review-arrival",
  time_to_peak_s: "review-time-to-peak",
  half_rise_s: "review-half-rise",
  ingress_slope_percent_per_s: "review-ingress-slope",
  washout_half_life_s: "review-washout",
  baseline_counts_per_ms: "review-baseline",
};

/** What each means, as `shared/inflow/DEFINITIONS.md` defines it. @type {Record<string, string>} */
const DEFINITION_WORDS = {
  peak_relative_percent: "review-peak-means",
  relative_percent_at_reference_peak: "review-at-reference-peak-means",
  arrival_s: "review-arrival-means",
  time_to_peak_s: "review-time-to-peak-means",
  half_rise_s: "review-half-rise-means",
  ingress_slope_percent_per_s: "review-ingress-slope-means",
  washout_half_life_s: "review-washout-means",
  baseline_counts_per_ms: "review-baseline-means",
};

/** Why a map says nothing there. @type {Record<string, string>} */
const STANDING_WORDS = {
  saturated: "review-standing-saturated",
  "too dark": "review-standing-too-dark",
  uncertain: "review-standing-uncertain",
  "not seen": "review-standing-not-seen",
};

/** @param {string} key */
export function figureName(key) {
  const id = NAME_WORDS[key];
  return id === undefined ? key : words(id);
}

/** @param {string} key */
export function figureMeans(key) {
  const id = DEFINITION_WORDS[key];
  return id === undefined ? "" : words(id);
}

/** A unit of the device in the page's language. @param {string} unit */
export function unitWord(unit) {
  return unit === "counts/ms" ? words("live-curves-signal-unit") : unit;
}

/** @param {Figure} figure */
export function figureText({ value, u, unit }) {
  return value === null ? words("review-not-known") : measuredText(value, u, unitWord(unit));
}

/** @param {import("./review_types.js").MapValue} found */
export function mapValueText({ value, u, unit, standing }) {
  return value === null ? standingWord(standing) : measuredText(value, u, unitWord(unit));
}

/** @param {string} standing why there is no value */
export function standingWord(standing) {
  const id = STANDING_WORDS[standing];
  return id === undefined ? standing : words(id);
}
