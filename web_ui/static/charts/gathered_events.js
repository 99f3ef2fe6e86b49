/** @import { ChartEvent } from "./curve_data.js" */

/**
 * Events of one kind that stand closer than a finger can tell apart, as one.
 *
 * @param {ChartEvent[]} events in any order
 * @param {number} apart_s
 * @returns {{first: ChartEvent, last_s: number, count: number}[]} by time of the first
 */
export function gatheredEvents(events, apart_s) {
  /** @type {Map<string, {first: ChartEvent, last_s: number, count: number}>} */
  const open = new Map();
  const gathered = [];
  for (const event of events.toSorted((a, b) => a.at_s - b.at_s)) {
    const group = open.get(event.kind);
    if (group && event.at_s - group.last_s < apart_s) {
      group.last_s = event.at_s;
      group.count += 1;
    } else {
      const fresh = { first: event, last_s: event.at_s, count: 1 };
      open.set(event.kind, fresh);
      gathered.push(fresh);
    }
  }
  return gathered;
}
