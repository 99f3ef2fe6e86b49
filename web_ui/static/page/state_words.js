/** @import { LampState, RecordingState } from "./device_state.js" */

import { durationText } from "./moment_text.js";
import { shareText } from "./number_text.js";
import { words } from "./words.js";

/** @param {LampState} light */
export function lightWord(light) {
  if (!light.reachable) return words("page-light-no-answer");
  if (light.state === "lit") return words("page-light-on", { level: shareText(light.level) });
  if (light.state === "tripped") return words("page-light-tripped");
  return light.state === "ready" ? words("page-light-ready") : words("page-light-off");
}

/** @param {RecordingState} recording */
export function recordingWord(recording) {
  return recording.name === null ? words("page-not-recording") : words("page-recording", { time: durationText(recording.seconds) });
}

/** @param {number | null} sinceS since the dye went in */
export function dyeWord(sinceS) {
  return sinceS === null ? words("page-no-dye") : words("page-dye", { time: durationText(sinceS) });
}
