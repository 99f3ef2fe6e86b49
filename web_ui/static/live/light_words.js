/** @import { LampState } from "../page/device_state.js" */

/**
 * What to say about the light beside the picture: why it tripped and what to do, why it stays dark though wanted; else nothing.
 *
 * @param {LampState} light
 * @param {boolean} rearmed whether the press that leaves `tripped` was just made
 */
export function lightSentence(light, rearmed) {
  if (!light.reachable) return "The light guard does not answer: the light is off. It is started again by itself.";
  if (light.state === "tripped") {
    const why = sentence(light.reason || "The light was tripped");
    if (rearmed) return `${why} Let go of Light.`;
    return `${why} Put that right, then press Light once to arm it again; the next press lights.`;
  }
  if (light.wanted_on && light.state !== "lit" && light.reason) return sentence(light.reason);
  return "";
}

/**
 * What dimming by pulses does to one picture after another: `PWM ripple 0.05 % at 15.0 ms`.
 *
 * @param {LampState} light
 * @param {number} exposureUs
 */
export function rippleText(light, exposureUs) {
  const name = light.pwm === "software" ? "Software PWM" : "PWM";
  if (light.state !== "lit" || light.ripple === undefined) return `${name} ripple: known while lit`;
  const at = `at ${(exposureUs / 1000).toFixed(1)} ms`;
  if (!light.pulse_hz) return `No PWM ripple ${at}: the light does not pulse`;
  const percent = light.ripple * 100;
  return `${name} ripple ${percent >= 0.995 ? percent.toFixed(1) : percent.toFixed(2)} % ${at}`;
}

/** @param {string} measuredAt moment in ISO 8601; empty: never */
export function outputText(measuredAt) {
  return measuredAt === "" ? "Light output assumed linear" : `Light output measured ${measuredAt.slice(0, 10)}`;
}

/** @param {string} words */
function sentence(words) {
  const trimmed = words.trim();
  const capital = trimmed.charAt(0).toUpperCase() + trimmed.slice(1);
  return /[.!?]$/.test(capital) ? capital : `${capital}.`;
}
