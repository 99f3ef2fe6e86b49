/** @import { Acts } from "../page/acts.js" */
/** @import { DeviceState } from "../page/device_state.js" */

import { element, write } from "../page/element.js";
import { saidWithin } from "../page/said.js";
import { numberText, withUnit } from "../page/number_text.js";
import { put, words } from "../page/words.js";
import { outputText, rippleText } from "./light_words.js";

/** Steps of a third of a stop, as photographers count. */
const STEP = 2 ** (1 / 3);

/** Exposure and gain of the camera. */
export class ExposureSheet {
  /**
   * @param {Acts} acts
   * @param {() => DeviceState | null} state
   */
  constructor(acts, state) {
    this.acts = acts;
    this.state = state;
    this.buttons = {
      "exposure-less": () => this.set(1 / STEP, 1),
      "exposure-more": () => this.set(STEP, 1),
      "gain-less": () => this.set(1, 1 / STEP),
      "gain-more": () => this.set(1, STEP),
    };
    for (const [id, run] of Object.entries(this.buttons)) element(id).onclick = run;
    this.chooser = element("exposure-choose", HTMLButtonElement);
    this.chooser.onclick = () => void this.choose();
  }

  /** Exposure, gain and light by what the camera sees; the light must be on for it. */
  async choose() {
    const { done, answer } = await this.acts.run("POST", "/exposure/choice", { apply: true }, this.chooser);
    if (done) this.acts.line.say(chosenText(answer));
  }

  /**
   * @param {number} exposureFactor
   * @param {number} gainFactor
   */
  set(exposureFactor, gainFactor) {
    const camera = this.state()?.camera;
    if (camera === undefined) return;
    const exposure_us = Math.round(Math.min(Math.max(camera.exposure_us * exposureFactor, 20), 1_000_000));
    const gain = Number(Math.min(Math.max(camera.gain * gainFactor, 1), 64).toFixed(3));
    void this.acts.run("PUT", "/exposure", { exposure_us, gain });
  }

  /** @param {DeviceState | null} state */
  show(state) {
    if (state === null) return;
    write(element("exposure-value"), withUnit(numberText(state.camera.exposure_us / 1000, 1), "ms"));
    write(element("pulse-ripple"), rippleText(state.light, state.camera.exposure_us));
    write(element("light-output"), outputText(state.light_measured_at ?? ""));
    write(element("gain-value"), withUnit(numberText(state.camera.gain, 1), "×"));
    const locked = state.recording.name !== null;
    if (locked) put(element("exposure-teach"), "live-exposure-locked");
    else put(element("exposure-teach"), "live-exposure-teach");
    for (const id of Object.keys(this.buttons)) element(id, HTMLButtonElement).disabled = locked;
    this.chooser.disabled = locked;
  }
}

/** @param {{exposure_us: number, gain: number, light_level: number, verdict: string, area: string, seen_share: number}} chosen */
export function chosenText(chosen) {
  const { exposure_us, gain, light_level, verdict, area, seen_share } = chosen;
  return words("live-exposure-set", {
    exposure: numberText(exposure_us / 1000, 1),
    gain: numberText(gain, 1),
    light: Math.round(100 * light_level),
    verdict: verdictWord(verdict),
    area: saidWithin(area),
    seen: Math.round(100 * seen_share),
  });
}

/** What the device found, as in `shared/protocol/control.py`. @type {Record<string, string>} */
const VERDICT_WORDS = {
  "as it is": "live-verdict-as-it-is",
  "brighter": "live-verdict-brighter",
  "darker": "live-verdict-darker",
  "rearranged": "live-verdict-rearranged",
  "as bright as it goes": "live-verdict-brightest",
  "as dark as it goes": "live-verdict-darkest",
};

/** @param {string} verdict */
function verdictWord(verdict) {
  const id = VERDICT_WORDS[verdict];
  return id === undefined ? verdict : words(id);
}
