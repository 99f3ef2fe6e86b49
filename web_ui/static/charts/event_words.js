import { said } from "../page/said.js";
import { words } from "../page/words.js";

/**
 * What happened, in the page's language; a note in its own words.
 *
 * @param {{kind: string, text: string}} event
 */
export function eventWords({ kind, text }) {
  switch (kind) {
    case "injection":
      return text === "" ? words("charts-event-injection") : words("charts-event-injection-dose", { dose: text });
    case "light":
      return text === "0" ? words("charts-event-light-off") : words("charts-event-light", { percent: text });
    case "gap":
      return words("charts-event-gap", { frames: text });
    case "trip":
      return words("charts-event-trip", { reason: said(text) });
    case "end":
      return words("charts-event-end", { reason: said(text) });
    default:
      return text;
  }
}

/**
 * Light that stayed as it was is no event.
 *
 * @template {{kind: string, text: string}} Told
 * @param {Told[]} events in order
 * @returns {Told[]}
 */
export function onceEach(events) {
  /** @type {Map<string, string>} */
  const last = new Map();
  return events.filter(({ kind, text }) => {
    const same = kind === "light" && last.get(kind) === text;
    last.set(kind, text);
    return !same;
  });
}
