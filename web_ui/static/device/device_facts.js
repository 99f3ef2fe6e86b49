/** @import { DeviceState } from "../page/device_state.js" */
/** @import { DeviceFacts, Serving } from "./device_types.js" */
/** @import { Fact } from "./fact_list.js" */

import { durationText, momentText } from "../page/moment_text.js";
import { numberText, shareText, storageText } from "../page/number_text.js";
import { words } from "../page/words.js";

const KIND_WORDS = {
  picamera: "device-camera-kind-picamera",
  simulated: "device-camera-kind-simulated",
  replay: "device-camera-kind-replay",
};

const CALIBRATION_WORDS = {
  commissioned: "device-calibration-commissioned",
  "scene truth": "device-calibration-scene",
  assumed: "device-calibration-assumed",
};

/** @param {DeviceState} state @param {DeviceFacts} facts @returns {Fact[]} */
export function storageFacts({ recording }, facts) {
  const name = recording.name;
  const running = name === null ? words("device-none") : words("device-recording-runs", { name, time: durationText(recording.seconds) });
  return [
    { name: words("device-storage-free"), value: words("device-storage-free-of", { free: storageText(recording.free_mb), total: storageText(facts.storage_total_mb) }) },
    { name: words("device-storage-minutes"), value: words("device-minutes", { minutes: Math.floor(facts.minutes_left) }), ...(facts.minutes_left < 5 ? { mark: "loud" } : {}) },
    { name: words("device-recording"), value: running },
    ...(name === null ? [] : [{ name: words("device-queue"), value: words("device-queue-share", { share: shareText(recording.queue_fill) }) }]),
    { name: words("device-gaps"), value: String(recording.gaps), ...(recording.gaps > 0 ? { mark: /** @type {const} */ ("loud") } : {}) },
  ];
}

/** @param {DeviceState} state @param {DeviceFacts} facts @returns {Fact[]} */
export function cameraFacts({ camera }, facts) {
  const size = words("device-camera-size", { width: String(camera.width), height: String(camera.height) });
  const slow = camera.kind !== "replay" && camera.rate_hz < 0.9 * facts.asked_rate_hz;
  return [
    { name: words("device-camera-model"), value: `${camera.model}, ${words(KIND_WORDS[camera.kind])}, ${size}` },
    { name: words("device-camera-rate"), value: words("device-camera-rate-of", { rate: numberText(camera.rate_hz, 1), asked: numberText(facts.asked_rate_hz, 1) }), ...(slow ? { mark: "loud" } : {}) },
    { name: words("device-camera-lost"), value: String(camera.lost_frames) },
    { name: words("device-camera-age"), value: camera.frame_age_ms < 0 ? words("device-not-known") : words("device-camera-age-ms", { ms: String(Math.round(camera.frame_age_ms / 10) * 10) }) },
    { name: words("device-camera-exposure"), value: words("device-camera-exposure-of", { ms: numberText(camera.exposure_us / 1000, 2), gain: numberText(camera.gain, 1) }) },
  ];
}

/** @param {DeviceState} state @returns {Fact[]} */
export function calibrationFacts({ calibration, calibrated_at = "", light_measured_at = "" }) {
  const made = calibrated_at === "" ? [] : [{ name: words("device-calibrated-at"), value: momentText(calibrated_at) }];
  return [
    { name: words("device-calibration"), value: words(CALIBRATION_WORDS[calibration]), ...(calibration === "assumed" ? { mark: "loud" } : {}) },
    ...made,
    { name: words("device-light-measured"), value: light_measured_at === "" ? words("device-light-assumed") : momentText(light_measured_at) },
  ];
}

/** @param {DeviceState} state @param {DeviceFacts} facts @param {Serving} page @returns {Fact[]} */
export function programFacts({ light }, facts, page) {
  const guard = light.reachable ? { value: words("device-program-answers") } : { value: words("device-program-silent"), mark: /** @type {const} */ ("loud") };
  return [
    { name: words("device-program-guard"), ...guard },
    { name: words("device-program-imager"), value: words("device-program-since", { when: momentText(facts.started_at) }) },
    { name: words("device-program-page"), value: words("device-program-since", { when: momentText(page.started_at) }) },
    { name: words("device-memory"), value: words("device-memory-of", { imager: String(Math.round(facts.memory_mb)), page: String(Math.round(page.memory_mb)) }) },
    { name: words("device-version"), value: `tapetum ${facts.version}` },
  ];
}

/** @param {Serving} page @returns {Fact[]} */
export function networkFacts({ encrypted, fingerprint, names, addresses, tablets }) {
  return [
    { name: words("device-encryption"), value: encrypted ? words("device-encrypted") : words("device-not-encrypted") },
    ...(fingerprint === "" ? [] : [{ name: words("device-fingerprint"), value: fingerprint }]),
    { name: words("device-names"), value: names.join(", ") || words("device-not-known") },
    { name: words("device-addresses"), value: addresses.join(", ") || words("device-not-known") },
    { name: words("device-tablets"), value: String(tablets) },
  ];
}
