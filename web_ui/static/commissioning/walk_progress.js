/** @import { DeviceState } from "../page/device_state.js" */
/** @import { Walk, WalkState } from "./commissioning_types.js" */

import { button, write } from "../page/element.js";
import { made } from "../page/made.js";
import { said } from "../page/said.js";
import { put, words } from "../page/words.js";
import { checkItems } from "./check_items.js";
import { nameOf } from "./step_words.js";
import { lampPicture } from "./walk_guide.js";

/** A walk on its way: whether the ring is lit, what it does now, what it has found so far, and the way to end it. */
export class WalkProgress {
  /**
   * @param {Walk} walk
   * @param {(pressed: Element) => void} stop
   */
  constructor(walk, stop) {
    this.beganMs = performance.now();
    this.title = made("h2", "", words("commissioning-running", { step: nameOf(walk) }));
    this.lamp = made("p", "ring-word", lampPicture(), made("span", ""));
    this.since = made("p", "running-since");
    this.lines = made("ol", "said");
    this.lines.setAttribute("aria-live", "polite");
    this.items = made("div", "");
    const end = button(words("commissioning-stop"), () => stop(end), "strong walk-stop");
    this.place = made("div", "progress", this.title, made("div", "progress-head", this.lamp, this.since), end, this.lines, this.items);
    this.said = "";
    this.found = -1;
  }

  /**
   * @param {WalkState} walk
   * @param {DeviceState} state
   */
  show(walk, state) {
    const lit = state.light.state === "lit";
    this.lamp.classList.toggle("ring-lit", lit);
    const word = this.lamp.querySelector("span");
    if (word !== null) write(word, lit ? words("commissioning-ring-lit") : words("commissioning-ring-dark"));
    put(this.since, "commissioning-running-since", { seconds: Math.floor((performance.now() - this.beganMs) / 1000) });
    const lines = walk.said.length === 0 ? [words("commissioning-begins")] : walk.said.map(said);
    if (lines.join("\n") !== this.said) {
      this.said = lines.join("\n");
      this.lines.replaceChildren(...lines.map((one) => made("li", "", one)));
    }
    if (walk.items.length !== this.found) {
      this.found = walk.items.length;
      this.items.replaceChildren(checkItems(walk.items, false));
    }
  }
}
