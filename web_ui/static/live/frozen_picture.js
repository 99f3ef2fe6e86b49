/** @import { PictureCanvas } from "../picture/picture_canvas.js" */

import { element } from "../page/element.js";
import { numberText } from "../page/number_text.js";
import { words } from "../page/words.js";

/** A frozen picture is forgotten after so long: nobody looks at it any more, and somebody may take it for live. */
const LONGEST_MS = 10 * 60_000;

/**
 * The picture held on this tablet, while stream, recording and everyone else's picture go on. A frame, bars and a word say so; one
 * touch leads back.
 */
export class FrozenPicture {
  /**
   * @param {PictureCanvas} canvas
   * @param {() => boolean} canFreeze whether there is a live picture
   * @param {() => void} changed
   */
  constructor(canvas, canFreeze, changed) {
    this.canvas = canvas;
    this.canFreeze = canFreeze;
    this.changed = changed;
    this.button = element("freeze");
    this.button.onclick = () => this.toggle();
    element("frozen-back").onclick = () => this.melt();
    this.place = element("frozen");
  }

  get frozen() {
    return this.canvas.frozen;
  }

  toggle() {
    if (this.frozen) this.melt();
    else if (this.canFreeze()) {
      this.canvas.freeze();
      this.show();
    }
  }

  melt() {
    if (!this.frozen) return;
    this.canvas.melt();
    this.show();
  }

  show() {
    this.place.hidden = !this.frozen;
    document.body.classList.toggle("frozen", this.frozen);
    this.button.setAttribute("aria-pressed", String(this.frozen));
    this.changed();
  }

  /** @param {number | null} ageMs of the picture that is held */
  look(ageMs) {
    if (!this.frozen) return;
    if (ageMs === null || ageMs > LONGEST_MS) {
      this.melt();
      return;
    }
    const word = element("frozen-word");
    const text = words("live-frozen", { seconds: numberText(Math.floor(ageMs / 1000), 0) });
    if (word.textContent !== text) word.textContent = text;
  }
}
