/** @import { KeptAnalysis, ReviewedRecording } from "./review_types.js" */

import { numberText, withUnit } from "../page/number_text.js";
import { said, saidWithin } from "../page/said.js";
import { words } from "../page/words.js";

/**
 * What to bear in mind of a recording, one line each.
 *
 * @param {ReviewedRecording} review
 * @param {KeptAnalysis | null} analysis
 */
export function cautionWords(review, analysis) {
  return [
    ...(review.complete ? [] : [words("review-cut-off")]),
    ...(review.gaps > 0 ? [words("review-gaps", { frames: review.gaps })] : []),
    ...(review.calibration === "assumed" ? [words("review-not-calibrated")] : []),
    ...(review.unknown.length > 0 ? [words("review-unknown", { what: review.unknown.map(saidWithin).join(", ") })] : []),
    ...(review.has_baseline ? [] : [words(review.injected_at_s === null ? "review-baseline-not-known" : "review-no-baseline")]),
    ...(review.ambient ? [words("review-ambient")] : []),
    ...placeWords(review, analysis),
    ...(analysis?.warnings ?? []).map(said),
  ];
}

/**
 * Whether the outlines follow the tissue, and in how many frames nobody knows where it is.
 *
 * @param {ReviewedRecording} review
 * @param {KeptAnalysis | null} analysis
 */
function placeWords({ reference, regions }, analysis) {
  if (analysis === null) return reference === null && regions.length === 0 ? [] : [words("review-outlines-still")];
  const { locked_share, largest_shift_mm } = analysis;
  const lost = 1 - (locked_share ?? 1);
  return [
    ...(largest_shift_mm === null ? [] : [words("review-moved", { mm: numberText(largest_shift_mm, 1) })]),
    ...(lost > 0 ? [words("review-lost", { percent: withUnit(numberText(100 * lost, 1), "%") })] : []),
  ];
}
