/** @import { DeviceState, LampState } from "../page/device_state.js" */

import { element, write } from "../page/element.js";
import { dyeWord, lightWord, recordingWord } from "../page/state_words.js";
import { shareText, storageText } from "../page/value_text.js";

/** Live or not, light, recording, dye: always in sight, and "not known" rather than an old word. */
export class StatusLine {
  constructor() {
    this.root = document.body;
    this.recording = element("status-recording");
    this.light = element("status-light");
  }

  /**
   * @param {boolean} live
   * @param {number | null} ageMs
   */
  showPicture(live, ageMs) {
    this.root.classList.toggle("not-live", !live);
    write(element("live-word"), live ? "LIVE" : "NOT LIVE");
    write(element("frame-age"), `${ageText(ageMs)} old`);
  }

  /**
   * @param {DeviceState | null} state null: not known
   * @param {number} sinceMs how long ago the device said so
   */
  showState(state, sinceMs) {
    this.root.classList.toggle("not-known", state === null);
    if (state === null) {
      this.showUnknown();
      return;
    }
    write(element("frame-rate"), `${state.camera.rate_hz.toFixed(1)} per s`);
    this.showLight(state.light);
    this.showRecording(state);
    write(element("since-injection"), dyeWord(state.since_injection_s === null ? null : state.since_injection_s + sinceMs / 1000));
    write(element("lost-frames"), `dropped ${state.camera.lost_frames}`);
    write(element("calibration"), calibrationText(state.calibration));
  }

  showUnknown() {
    write(element("frame-rate"), "– per s");
    write(element("light-word"), "Light not known");
    write(element("light-level"), "– %");
    write(element("light-lease"), "lease –");
    write(element("recording-word"), "Rec not known");
    write(element("recording-gaps"), "gaps –");
    this.root.classList.remove("lit", "tripped", "recording", "gappy");
  }

  /** @param {LampState} light */
  showLight(light) {
    const lit = light.reachable && light.state === "lit";
    this.root.classList.toggle("lit", lit);
    this.root.classList.toggle("tripped", light.reachable && light.state === "tripped");
    write(element("light-word"), lightWord(light));
    write(element("light-level"), `set to ${shareText(light.wanted_level)}`);
    write(element("light-lease"), lit ? `lease ${Math.round(light.lease_left_ms)} ms` : "no lease");
  }

  /** @param {DeviceState} state */
  showRecording({ recording }) {
    const running = recording.name !== null;
    this.root.classList.toggle("recording", running);
    this.root.classList.toggle("gappy", recording.gaps > 0);
    write(element("recording-word"), recordingWord(recording));
    write(element("recording-gaps"), `gaps ${recording.gaps}`);
    write(element("storage"), `${storageText(recording.free_mb)} free`);
  }
}

/** @param {DeviceState["calibration"]} calibration */
export function calibrationText(calibration) {
  if (calibration === "commissioned") return "calibrated";
  return calibration === "assumed" ? "not calibrated" : "scene truth";
}

/** @param {number | null} ageMs */
export function ageText(ageMs) {
  if (ageMs === null) return "– s";
  return ageMs < 9950 ? `${(ageMs / 1000).toFixed(1)} s` : `${Math.min(9999, Math.round(ageMs / 1000))} s`;
}
