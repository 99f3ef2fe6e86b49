/** @import { ChartEvent } from "./curve_data.js" */

import { write } from "../page/element.js";
import { words } from "../page/words.js";
import { eventSign } from "./event_look.js";
import { gatheredEvents } from "./gathered_events.js";
import { numberText } from "../page/number_text.js";

/** Marks closer than this share of the line would lie on each other. */
const APART = 0.05;

/** What happened, as marks on a line under the scrub bar; each is a touch that goes there, and says what it is. */
export class EventTimeline {
  /**
   * @param {HTMLElement} place
   * @param {(event: ChartEvent) => void} chosen
   */
  constructor(place, chosen) {
    this.place = place;
    this.chosen = chosen;
    place.classList.add("timeline");
  }

  /**
   * @param {ChartEvent[]} events
   * @param {number} first_s
   * @param {number} last_s
   */
  show(events, first_s, last_s) {
    const length_s = Math.max(last_s - first_s, 1e-6);
    const shown = events.filter(({ at_s }) => at_s >= first_s - 0.5 && at_s <= last_s + 0.5);
    const marks = gatheredEvents(shown, APART * length_s).map(({ first, last_s: until_s, count }) => {
      const share = Math.min(Math.max((first.at_s - first_s) / length_s, 0), 1);
      return this.mark(first, share, count === 1 ? "" : words("charts-events-more", { count: count - 1, time: numberText(until_s, 1) }));
    });
    this.place.replaceChildren(...marks);
  }

  /**
   * @param {ChartEvent} event
   * @param {number} share
   * @param {string} more what is said of others like it that follow at once
   */
  mark(event, share, more) {
    const item = document.createElement("li");
    item.style.setProperty("--share", String(share));
    item.dataset["kind"] = event.kind;
    const touch = document.createElement("button");
    touch.type = "button";
    touch.className = "timeline-mark";
    const label = [words("charts-event-at", { what: event.text, time: numberText(event.at_s, 1) }), more].filter(Boolean).join("; ");
    touch.setAttribute("aria-label", label);
    touch.title = label;
    touch.addEventListener("click", () => this.chosen(event));
    const sign = document.createElement("span");
    sign.className = "timeline-sign";
    sign.setAttribute("aria-hidden", "true");
    write(sign, eventSign(event.kind));
    touch.append(sign);
    item.append(touch);
    return item;
  }
}

