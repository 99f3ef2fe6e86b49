/** @import { MarkActs } from "./mark_acts.js" */

import { button, element, write } from "../page/element.js";
import { nameChooser } from "../page/name_chooser.js";
import { parsedRegion } from "../picture/region_text.js";
import { words } from "../page/words.js";

/** What can be done with the region that was touched. */
export class RegionBar {
  /** @param {MarkActs} acts */
  constructor(acts) {
    this.acts = acts;
    this.place = element("review-region");
    this.title = element("review-region-title");
    this.buttons = element("review-region-acts");
  }

  /** @param {string} region @param {boolean} isReference */
  open(region, isReference) {
    const name = parsedRegion(region).name;
    write(this.title, name);
    const act = (/** @type {string} */ word, /** @type {() => void} */ run) => button(word, () => {
      this.close();
      run();
    });
    this.buttons.replaceChildren(
      ...(isReference ? [] : [act(words("review-make-reference"), () => void this.acts.makeReference(region))]),
      button(words("review-rename"), () => this.rename(region)),
      act(words("review-remove"), () => void this.acts.remove(region)),
      act(words("review-close"), () => {}),
    );
    this.place.hidden = false;
    this.buttons.querySelector("button")?.focus({ preventScroll: true });
  }

  /** @param {string} region */
  rename(region) {
    this.buttons.replaceChildren(nameChooser((name) => {
      this.close();
      void this.acts.rename(region, name);
    }));
  }

  /** @returns {boolean} whether it was open */
  close() {
    const was = !this.place.hidden;
    this.place.hidden = true;
    return was;
  }
}
