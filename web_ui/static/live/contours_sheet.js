/** @import { Acts } from "../page/acts.js" */
/** @import { DeviceState } from "../page/device_state.js" */

import { button, element } from "../page/element.js";
import { words } from "../page/words.js";

const CHOICES_PERCENT = [10, 20, 30, 40, 50, 60, 70, 80, 90, 100];
const MOST = 4;

/** Which percentages have a line. */
export class ContoursSheet {
  /** @param {Acts} acts */
  constructor(acts) {
    this.acts = acts;
    this.place = element("contours-choices");
    /** @type {number[]} */
    this.chosen = [];
    this.place.append(
      ...CHOICES_PERCENT.map((percent) => {
        const choice = button(`${percent} %`, () => this.toggle(percent));
        choice.dataset["percent"] = String(percent);
        return choice;
      }),
    );
  }

  /** @param {DeviceState | null} state */
  show(state) {
    if (state === null) return;
    this.chosen = state.contours_percent;
    this.mark();
  }

  mark() {
    for (const choice of this.place.children) {
      const percent = Number(choice.getAttribute("data-percent"));
      choice.setAttribute("aria-pressed", String(this.chosen.includes(percent)));
    }
  }

  /** @param {number} percent */
  toggle(percent) {
    const without = this.chosen.filter((other) => other !== percent);
    const removed = without.length < this.chosen.length;
    if (!removed && without.length >= MOST) {
      this.acts.line.say(words("live-contours-most", { most: MOST }));
      return;
    }
    this.chosen = removed ? without : [...without, percent].sort((a, b) => a - b);
    this.mark();
    void this.acts.run("PUT", "/contours", { percent: this.chosen });
  }
}
