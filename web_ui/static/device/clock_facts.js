/** @import { DeviceFacts } from "./device_types.js" */
/** @import { Fact } from "./fact_list.js" */

import { durationText, momentText } from "../page/moment_text.js";
import { said } from "../page/said.js";
import { words } from "../page/words.js";

/** Clocks that differ by less than this count as the same: asking takes its time too. */
const SAME_S = 3;

const SET_WORDS = {
  "by network": "device-clock-by-network",
  "not since the start": "device-clock-not-set",
  "not known": "device-clock-set-unknown",
};

/**
 * @param {DeviceFacts} facts
 * @param {number} heardMs when they were heard, by this tablet's clock
 * @returns {Fact[]}
 */
export function clockFacts({ now, clock_set, clock_words }, heardMs) {
  const wrong = clock_words === "" ? [] : [{ name: words("device-clock-wrong"), value: said(clock_words), mark: /** @type {const} */ ("loud") }];
  return [
    { name: words("device-clock-now"), value: momentText(now) },
    { name: words("device-clock-beside"), ...besideTablet(Date.parse(now) - heardMs) },
    { name: words("device-clock-set"), value: words(SET_WORDS[clock_set]) },
    ...wrong,
  ];
}

/** @param {number} aheadMs @returns {{value: string, mark?: "loud"}} */
function besideTablet(aheadMs) {
  const seconds = Math.round(Math.abs(aheadMs) / 1000);
  if (seconds <= SAME_S) return { value: words("device-clock-same", { seconds: SAME_S }) };
  const time = lengthText(seconds);
  return { value: aheadMs > 0 ? words("device-clock-ahead", { time }) : words("device-clock-behind", { time }), mark: "loud" };
}

/** @param {number} seconds */
function lengthText(seconds) {
  if (seconds < 3600) return durationText(seconds);
  const hours = Math.floor(seconds / 3600);
  return hours < 48 ? `${hours} h ${Math.floor((seconds % 3600) / 60)} min` : `${Math.floor(hours / 24)} d ${hours % 24} h`;
}
