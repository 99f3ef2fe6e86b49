/** @import { Commissioning, StepName } from "./commissioning_types.js" */

import { NEEDED, STEPS } from "./step_words.js";

const DAY_MS = 86_400_000;

/**
 * The one thing to do next; `step` names what it is about.
 *
 * @typedef {{what: "decide" | "start" | "step" | "old" | "failing" | "force" | "check" | "check failed" | "ready" | "optional" | "replay", step: StepName | null, days: number}} Next
 */

/**
 * Whole days from one moment to another, by the device's own clock.
 *
 * @param {string} from in ISO 8601
 * @param {string} to
 */
export function daysBetween(from, to) {
  return Math.max(0, Math.floor((Date.parse(to) - Date.parse(from)) / DAY_MS));
}

/** @param {Commissioning} known @param {StepName} step */
export function ageDays(known, step) {
  const line = known.steps.find((one) => one.step === step);
  return line === undefined || line.made_at === "" ? null : daysBetween(line.made_at, known.now);
}

/** @param {Commissioning} known @param {StepName} step */
export function isTooOld(known, step) {
  const days = ageDays(known, step);
  return days !== null && days > known.oldest_days;
}

/** Whether a figure of that step is outside its limit. @param {Commissioning} known @param {StepName} step */
export function isOutside(known, step) {
  return known.steps.find((one) => one.step === step)?.figures.some((one) => one.passed === false) ?? false;
}

/** Whether the newest calibration, and the newest light output, are what results use. @param {Commissioning} known */
export function isInForce(known) {
  const light = known.steps.find((one) => one.step === "light")?.made_at ?? "";
  return known.newest === known.in_force && light === known.light_in_force;
}

/**
 * @param {Commissioning} known
 * @returns {Next}
 */
export function whatNext(known) {
  const next = (/** @type {Next["what"]} */ what, /** @type {StepName | null} */ step = null, days = 0) => ({ what, step, days });
  if (known.sensor === "") return next("replay");
  if (known.proposal !== null) return next("decide", known.proposal.step);
  // a step that is not listed is none of this device's: a ring of one level has no light output to take
  const never = (/** @type {StepName} */ step) => known.steps.some((one) => one.step === step && one.made_at === "");
  if (known.steps.every(({ step }) => never(step))) return next("start", "dark");
  const missing = NEEDED.find(never);
  if (missing !== undefined) return next("step", missing);
  const worn = nextOfWorn(known);
  if (worn !== null) return worn;
  if (!isInForce(known)) return next("force");
  // the check weighs leakage, so it needs that step too
  if (never("leakage")) return next("step", "leakage");
  return nextOfCheck(known) ?? next(STEPS.some(never) ? "optional" : "ready", STEPS.find(never) ?? null);
}

/** A step that was taken and no longer holds. @param {Commissioning} known @returns {Next | null} */
function nextOfWorn(known) {
  const old = NEEDED.find((step) => isTooOld(known, step));
  if (old !== undefined) return { what: "old", step: old, days: ageDays(known, old) ?? 0 };
  const failing = STEPS.find((step) => isOutside(known, step));
  return failing === undefined ? null : { what: "failing", step: failing, days: 0 };
}

/** @param {Commissioning} known @returns {Next | null} */
function nextOfCheck({ checks: [last], now }) {
  if (last === undefined || last.made_at.slice(0, 10) !== now.slice(0, 10)) return { what: "check", step: null, days: 0 };
  return last.passed ? null : { what: "check failed", step: null, days: 0 };
}
