/** @import { ChartEvent } from "../charts/curve_data.js" */
/** @import { ReviewedRecording, RunEvent } from "./review_types.js" */

import { eventWords, onceEach } from "../charts/event_words.js";

/** Kinds that are told on the timeline; regions chosen while recording are on the picture. */
const TOLD = new Set(["injection", "note", "light", "gap", "trip", "end", "late note"]);

/**
 * What happened, in words, in order; an injection that was taken back is left out.
 *
 * @param {ReviewedRecording} review
 * @returns {ChartEvent[]}
 */
export function toldEvents({ events, late_notes }) {
  const late = late_notes.map(({ at_s, text }) => ({ kind: "late note", at_s, text }));
  return onceEach([...withoutUndone(events), ...late].filter(({ kind }) => TOLD.has(kind)).sort((a, b) => a.at_s - b.at_s))
    .map((event) => ({ kind: event.kind, at_s: event.at_s, text: eventWords(event) }));
}

/** @param {RunEvent[]} events */
function withoutUndone(events) {
  /** @type {RunEvent[]} */
  const kept = [];
  for (const event of events) {
    if (event.kind !== "injection undone") kept.push(event);
    else {
      const last = kept.findLastIndex(({ kind }) => kind === "injection");
      if (last >= 0) kept.splice(last, 1);
    }
  }
  return kept;
}
