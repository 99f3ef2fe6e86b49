/** @import { AnalysisJob, KeptAnalysis, ReviewedRecording } from "./review_types.js" */

/**
 * What to do next with a recording.
 *
 * @param {ReviewedRecording} review
 * @param {KeptAnalysis | null} analysis
 * @param {AnalysisJob | null} job of this recording
 * @returns {"nothing" | "reference" | "touch" | "analyse" | "again" | "running" | "maps" | "done"}
 */
export function nextStep(review, analysis, job) {
  if (review.frames === 0) return "nothing";
  if (job !== null && !job.finished) return "running";
  if (analysis === null) return review.reference !== null ? "analyse" : review.rehearsed ? "reference" : "touch";
  if (!isOfTheseMarks(review, analysis)) return "again";
  return review.has_maps ? "done" : "maps";
}

/**
 * Whether an analysis is of the regions as they are now. Where nothing was marked, the device chose, and they are as it chose.
 *
 * @param {ReviewedRecording} review
 * @param {KeptAnalysis} analysis
 */
export function isOfTheseMarks({ reference, regions }, { curves }) {
  const analysed = new Set(curves.map((one) => one.region));
  if (reference === null && regions.length === 0) return true;
  const marked = [...(reference === null ? [] : [reference]), ...regions].map((one) => one.region);
  if (!marked.every((region) => analysed.has(region))) return false;
  return regions.length === 0 || reference === null || analysed.size === new Set(marked).size;
}
