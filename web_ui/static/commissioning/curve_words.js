/** @import { Series, StepName } from "./commissioning_types.js" */

import { words } from "../page/words.js";

const TITLE_WORDS = {
  dark: "commissioning-curve-dark",
  defects: "commissioning-curve-defects",
  flat: "commissioning-curve-flat",
  gain: "commissioning-curve-gain",
  light: "commissioning-curve-light",
  scale: "commissioning-scale",
  sharpness: "commissioning-curve-sharpness",
  leakage: "commissioning-curve-leakage",
  sensitivity: "commissioning-curve-sensitivity",
};

/** Across, and up. */
const X_AXIS_WORDS = {
  dark: "commissioning-axis-counts",
  defects: "commissioning-axis-x",
  gain: "commissioning-axis-signal",
  light: "commissioning-axis-level",
  sharpness: "commissioning-axis-frequency",
  sensitivity: "commissioning-axis-concentration",
};

const Y_AXIS_WORDS = {
  dark: "commissioning-axis-pixels",
  defects: "commissioning-axis-y",
  gain: "commissioning-axis-variance",
  light: "commissioning-axis-output",
  sharpness: "commissioning-axis-contrast",
  sensitivity: "commissioning-axis-signal-ms",
};

const SERIES_WORDS = {
  measured: "commissioning-series-measured",
  line: "commissioning-series-line",
  proportional: "commissioning-series-proportional",
  places: "commissioning-series-places",
  share: "commissioning-series-share",
};

/** @param {StepName} step */
export function titleOf(step) {
  return words(TITLE_WORDS[step]);
}

/** @param {StepName} step @returns {[string, string]} */
export function axisWords(step) {
  const drawn = /** @type {keyof typeof X_AXIS_WORDS} */ (step);
  return [words(X_AXIS_WORDS[drawn]), words(Y_AXIS_WORDS[drawn])];
}

/** @param {Series["name"]} name */
export function seriesWord(name) {
  return words(SERIES_WORDS[name]);
}

/** What is marked in a curve. @param {StepName} step */
export function markWord(step) {
  return step === "sharpness" ? words("commissioning-mark-sharpness") : words("commissioning-mark-sensitivity");
}
