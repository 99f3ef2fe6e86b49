/** @import { DeviceState, LampState } from "../page/device_state.js" */

import { element, write } from "../page/element.js";
import { dyeWord, lightWord, recordingWord } from "../page/state_words.js";
import { numberText, shareText, storageText, withUnit } from "../page/number_text.js";
import { put, words } from "../page/words.js";

/** Live or not, light, recording, dye: always in sight, and "not known" rather than an old word. */
export class StatusLine {
  constructor() {
    this.root = document.body;
    this.recording = element("status-recording");
    this.light = element("status-light");
  }

  /**
   * @param {boolean} live whether pictures come as they are taken
   * @param {boolean} frozen whether an older one is held on the screen
   * @param {number | null} ageMs of the picture on the screen
   */
  showPicture(live, frozen, ageMs) {
    this.root.classList.toggle("not-live", !live);
    put(element("live-word"), live ? (frozen ? "live-frozen-word" : "live-now") : "page-not-live");
    put(element("frame-age"), "live-age", { age: ageText(ageMs) });
  }

  /**
   * @param {DeviceState | null} state null: not known
   * @param {number} sinceMs how long ago the device said so
   * @param {boolean} bySingles whether pictures come one by one, as no stream can be had
   */
  showState(state, sinceMs, bySingles) {
    this.root.classList.toggle("not-known", state === null);
    if (state === null) {
      this.showUnknown();
      return;
    }
    if (bySingles) put(element("frame-rate"), "live-by-singles");
    else put(element("frame-rate"), "live-rate", { rate: numberText(state.camera.rate_hz, 1) });
    this.showLight(state.light);
    this.showRecording(state);
    write(element("since-injection"), dyeWord(state.since_injection_s === null ? null : state.since_injection_s + sinceMs / 1000));
    put(element("lost-frames"), "live-dropped", { frames: String(state.camera.lost_frames) });
    write(element("calibration"), calibrationText(state.calibration));
  }

  showUnknown() {
    put(element("frame-rate"), "live-rate", { rate: "–" });
    put(element("light-word"), "page-light-not-known");
    write(element("light-level"), withUnit("–", "%"));
    put(element("light-lease"), "live-lease", { left: "–" });
    put(element("recording-word"), "page-recording-not-known");
    put(element("recording-gaps"), "live-gaps", { gaps: "–" });
    this.root.classList.remove("lit", "tripped", "recording", "gappy");
  }

  /** @param {LampState} light */
  showLight(light) {
    const lit = light.reachable && light.state === "lit";
    this.root.classList.toggle("lit", lit);
    this.root.classList.toggle("tripped", light.reachable && light.state === "tripped");
    say(element("light-word"), lightWord(light));
    say(element("light-level"), words("live-set-to", { level: shareText(light.wanted_level) }));
    if (lit) put(element("light-lease"), "live-lease", { left: withUnit(numberText(light.lease_left_ms, 0), "ms") });
    else put(element("light-lease"), "live-no-lease");
  }

  /** @param {DeviceState} state */
  showRecording({ recording }) {
    const running = recording.name !== null;
    this.root.classList.toggle("recording", running);
    this.root.classList.toggle("gappy", recording.gaps > 0);
    say(element("recording-word"), recordingWord(recording));
    put(element("recording-gaps"), "live-gaps", { gaps: String(recording.gaps) });
    put(element("storage"), "live-free", { room: storageText(recording.free_mb) });
  }
}

/** @param {DeviceState["calibration"]} calibration */
export function calibrationText(calibration) {
  if (calibration === "commissioned") return words("live-calibrated");
  return calibration === "assumed" ? words("live-not-calibrated") : words("live-scene-truth");
}

/** @param {number | null} ageMs */
export function ageText(ageMs) {
  if (ageMs === null) return withUnit("–", "s");
  return withUnit(ageMs < 9950 ? numberText(ageMs / 1000, 1) : numberText(Math.min(9999, ageMs / 1000), 0), "s");
}

/**
 * Words that come again with the next state, so that no language need be told.
 *
 * @param {Element} where
 * @param {string} text
 */
function say(where, text) {
  where.removeAttribute("data-words");
  write(where, text);
}
