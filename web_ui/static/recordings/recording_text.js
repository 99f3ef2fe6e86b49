/** @import { RecordingSummary } from "./recordings_types.js" */

import { durationText, momentText } from "../page/moment_text.js";
import { storageText } from "../page/number_text.js";
import { locale, words } from "../page/words.js";

/** @param {string} startedAt ISO 8601, or empty */
export function startText(startedAt) {
  if (startedAt === "") return words("recordings-date-unknown");
  return Number.isNaN(Date.parse(startedAt)) ? startedAt : momentText(startedAt);
}

/**
 * Everything about a recording that fits in one quiet line.
 *
 * @param {RecordingSummary} recording
 * @param {boolean} running it is still being recorded, so that it has no end yet is no defect
 */
export function aboutText(recording, running = false) {
  return [
    durationText(recording.seconds),
    storageText(recording.size_mb),
    ...(recording.gaps > 0 ? [words("recordings-gaps", { count: recording.gaps })] : []),
    ...(recording.complete || running ? [] : [words("recordings-cut-off")]),
  ].join(" · ");
}

/** What a recording is called where there is room for a few words. @param {RecordingSummary} recording */
export function titleText(recording) {
  return recording.case || words("recordings-no-case");
}

/** @param {number} count a number as people write large ones */
export function countText(count) {
  return new Intl.NumberFormat(locale(), { useGrouping: true }).format(count);
}

/** @param {number} value as it was entered: a dose is not rounded */
export function amountText(value) {
  return value.toLocaleString(locale(), { maximumFractionDigits: 2, useGrouping: false });
}
