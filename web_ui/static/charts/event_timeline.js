/** @import { ChartEvent } from "./curve_data.js" */

import { write } from "../page/element.js";
import { words } from "../page/words.js";
import { numberText } from "./measured_text.js";

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
    this.place.replaceChildren(...shown.map((event) => this.mark(event, Math.min(Math.max((event.at_s - first_s) / length_s, 0), 1))));
  }

  /**
   * @param {ChartEvent} event
   * @param {number} share
   */
  mark(event, share) {
    const item = document.createElement("li");
    item.style.setProperty("--share", String(share));
    item.dataset["kind"] = event.kind;
    const touch = document.createElement("button");
    touch.type = "button";
    touch.className = "timeline-mark";
    const label = words("charts-event-at", { what: event.text, time: numberText(event.at_s, 1) });
    touch.setAttribute("aria-label", label);
    touch.title = label;
    touch.addEventListener("click", () => this.chosen(event));
    const sign = document.createElement("span");
    sign.className = "timeline-sign";
    sign.setAttribute("aria-hidden", "true");
    write(sign, SIGNS[event.kind] ?? "•");
    touch.append(sign);
    item.append(touch);
    return item;
  }
}

/** A sign a kind, so that no colour is needed. @type {Record<string, string>} */
const SIGNS = { injection: "▼", note: "✎", "late note": "✎", light: "☀", gap: "▯", trip: "!", region: "▭", reference: "◇" };
