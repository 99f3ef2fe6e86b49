/** @import { LampState } from "../page/device_state.js" */

import { said } from "../page/said.js";
import { dateText } from "../page/moment_text.js";
import { numberText } from "../page/number_text.js";
import { words } from "../page/words.js";

/**
 * What to say about the light beside the picture: why it tripped and what to do, why it stays dark though wanted; else nothing.
 *
 * @param {LampState} light
 * @param {boolean} rearmed whether the press that leaves `tripped` was just made
 */
export function lightSentence(light, rearmed) {
  if (!light.reachable) return words("live-guard-silent");
  if (light.state === "tripped") {
    const why = sentence(said(light.reason) || words("live-tripped"));
    if (rearmed) return words("live-tripped-rearmed", { why });
    return words("live-tripped-because", { why });
  }
  if (light.wanted_on && light.state !== "lit" && light.reason) return sentence(said(light.reason));
  return "";
}

/**
 * What dimming by pulses does to one picture after another: `PWM ripple 0.05 % at 15.0 ms`.
 *
 * @param {LampState} light
 * @param {number} exposureUs
 */
export function rippleText(light, exposureUs) {
  const pwm = light.pwm === "software" ? words("live-software-pwm") : "PWM";
  if (light.state !== "lit" || light.ripple === undefined) return words("live-ripple-unknown", { pwm });
  const exposure = numberText(exposureUs / 1000, 1);
  if (!light.pulse_hz) return words("live-ripple-none", { exposure });
  const percent = light.ripple * 100;
  return words("live-ripple", { pwm, percent: numberText(percent, percent >= 0.995 ? 1 : 2), exposure });
}

/** @param {string} measuredAt moment in ISO 8601; empty: never */
export function outputText(measuredAt) {
  return measuredAt === "" ? words("live-output-assumed") : words("live-output-measured", { date: dateText(measuredAt) });
}

/** @param {string} text */
function sentence(text) {
  const trimmed = text.trim();
  const capital = trimmed.charAt(0).toUpperCase() + trimmed.slice(1);
  return /[.!?]$/.test(capital) ? capital : `${capital}.`;
}
