/** @import { StepName, Walk } from "./commissioning_types.js" */

import { words } from "../page/words.js";

/** @type {StepName[]} */
export const STEPS = ["dark", "defects", "flat", "gain", "light", "scale", "sharpness", "leakage", "sensitivity"];

/** Without these, counts are corrected by assumption. @type {StepName[]} */
export const NEEDED = ["dark", "defects", "flat", "gain", "light"];

/** Names of everything that the list shows. */
const NAME_WORDS = {
  check: "commissioning-check",
  dark: "commissioning-dark",
  defects: "commissioning-defects",
  flat: "commissioning-flat",
  gain: "commissioning-gain",
  light: "commissioning-light",
  scale: "commissioning-scale",
  sharpness: "commissioning-sharpness",
  leakage: "commissioning-leakage",
  sensitivity: "commissioning-sensitivity",
  history: "commissioning-history",
  papers: "commissioning-papers",
};

const ABOUT_WORDS = {
  check: "commissioning-check-about",
  dark: "commissioning-dark-about",
  defects: "commissioning-defects-about",
  flat: "commissioning-flat-about",
  gain: "commissioning-gain-about",
  light: "commissioning-light-about",
  scale: "commissioning-scale-about",
  sharpness: "commissioning-sharpness-about",
  leakage: "commissioning-leakage-about",
  sensitivity: "commissioning-sensitivity-about",
  history: "commissioning-history-about",
  papers: "commissioning-papers-about",
};

const GUIDE_WORDS = {
  check: "commissioning-check-guide",
  dark: "commissioning-dark-guide",
  defects: "commissioning-even-guide",
  flat: "commissioning-even-guide",
  gain: "commissioning-gain-guide",
  light: "commissioning-light-guide",
  scale: "commissioning-scale-guide",
  sharpness: "commissioning-sharpness-guide",
  leakage: "commissioning-leakage-guide",
  sensitivity: "commissioning-sensitivity-guide",
};

const ITEM_WORDS = {
  storage: "commissioning-of-check-storage",
  clock: "commissioning-of-check-clock",
  calibration: "commissioning-of-check-calibration",
  "dark level": "commissioning-of-check-dark-level",
  "new defects": "commissioning-of-check-new-defects",
  leakage: "commissioning-of-check-leakage",
  "light answers": "commissioning-of-check-light-answers",
  "light trips": "commissioning-of-check-light-trips",
  supply: "commissioning-of-check-supply",
  "light conditions": "commissioning-of-check-light-conditions",
};

/** Everything that an address of this place may name. */
export const SHEETS = /** @type {(keyof typeof NAME_WORDS)[]} */ (Object.keys(NAME_WORDS));

/** @param {string} name @returns {name is keyof typeof NAME_WORDS} */
export function isSheet(name) {
  return Object.hasOwn(NAME_WORDS, name);
}

/** @param {keyof typeof NAME_WORDS} name */
export function nameOf(name) {
  return words(NAME_WORDS[name]);
}

/** @param {keyof typeof ABOUT_WORDS} name */
export function aboutOf(name) {
  return words(ABOUT_WORDS[name]);
}

/** What to do before a walk, one line each. @param {Walk} walk */
export function guideOf(walk) {
  return words(GUIDE_WORDS[walk]).split("\n");
}

/** @param {string} name as the device calls a line of the check */
export function itemName(name) {
  return Object.hasOwn(ITEM_WORDS, name) ? words(ITEM_WORDS[/** @type {keyof typeof ITEM_WORDS} */ (name)]) : name;
}

/** @param {Iterable<StepName>} steps */
export function stepNames(steps) {
  return [...steps].map(nameOf).join(", ");
}
