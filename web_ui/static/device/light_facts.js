/** @import { ConditionState, LampState } from "../page/device_state.js" */
/** @import { Fact } from "./fact_list.js" */

import { said } from "../page/said.js";
import { lightWord } from "../page/state_words.js";
import { numberText, shareText, withUnit } from "../page/number_text.js";
import { words } from "../page/words.js";

/** The guard's conditions by its own names, in words; those that are the operator's wish are left out. */
const CONDITION_WORDS = {
  "ring obeys": "device-ring-obeys",
  "camera agrees": "device-camera-agrees",
  "imager connected": "device-imager-connected",
  "frames fresh": "device-frames-fresh",
  "exposure locked": "device-exposure-locked",
  "LED temperature": "device-led-temperature",
  supply: "device-supply",
  cover: "device-cover",
  distance: "device-distance",
  "continuous light": "device-continuous-light",
  "exposure budget": "device-exposure-budget",
};

/**
 * The ring, and everything that has to be true for it to be lit.
 *
 * @param {LampState} light
 * @returns {Fact[]}
 */
export function lightFacts(light) {
  const why = light.reason === "" ? [] : [{ name: words("device-light-why"), value: said(light.reason), mark: /** @type {const} */ ("loud") }];
  const ring = [
    { name: words("device-light-state"), value: lightWord(light) },
    ...(light.state === "lit" ? [] : why),
    { name: words("device-light-level"), value: shareText(light.wanted_level) },
  ];
  if (!light.reachable) return [...ring, { name: words("device-program-guard"), value: words("device-guard-silent"), mark: "loud" }];
  return [...ring, ...(light.conditions ?? []).filter((one) => Object.hasOwn(CONDITION_WORDS, one.name)).map(conditionFact)];
}

/** @param {ConditionState} condition @returns {Fact} */
function conditionFact(condition) {
  const name = words(CONDITION_WORDS[/** @type {keyof typeof CONDITION_WORDS} */ (condition.name)]);
  if (condition.state === "absent") return { name, value: words("device-not-fitted"), mark: "quiet" };
  if (condition.state === "missing") return { name, value: `${words("device-condition-missing")}: ${said(condition.sentence)}`, mark: "loud" };
  const value = valueText(condition);
  return { name, value: value === "" ? words("device-condition-met") : `${words("device-condition-met")}: ${value}` };
}

/** @param {ConditionState} condition */
function valueText({ name, value, limit, unit }) {
  if (name === "exposure budget") return value === null ? words("device-budget-endless") : words("device-budget-left", { seconds: Math.floor(value) });
  if (value === null) return "";
  if (name === "continuous light") return words("device-lit-of", { seconds: Math.round(value), limit: limit ?? 0 });
  const measured = withUnit(numberText(value, unit === "V" ? 2 : 0), unit);
  return limit === null ? measured : `${measured}, ${words("device-condition-limit", { limit: withUnit(numberText(limit, unit === "V" ? 1 : 0), unit) })}`;
}
