/** @import { Shape } from "../picture/picture_geometry.js" */

import { element, write } from "../page/element.js";
import { numberText, withUnit } from "../page/number_text.js";
import { put } from "../page/words.js";
import { copies, windowOf } from "../picture/picture_geometry.js";

/** The bar takes at most this share of the picture's width. */
const MOST_SHARE = 0.25;

/** Lengths that a bar may stand for, in mm. */
const LENGTHS_MM = [0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500];

/**
 * The longest length that fits, and its share of the shown picture's width.
 *
 * @param {Shape} shape
 * @param {number} mmPerPx
 * @returns {{mm: number, share: number} | null} null where not even the shortest fits
 */
export function barLength(shape, mmPerPx) {
  const share_mm = 1 / (windowOf(shape).width * mmPerPx * copies(shape).length);
  const mm = LENGTHS_MM.findLast((length) => length * share_mm <= MOST_SHARE);
  return mm === undefined ? null : { mm, share: mm * share_mm };
}

/** A bar of so many millimetres at the distance at which the scale was measured; where it was not, words that say that it was not. */
export class ScaleBar {
  constructor() {
    this.place = element("scale");
    this.bar = element("scale-bar");
    this.words = element("scale-words");
    this.key = "";
  }

  /**
   * @param {Shape} shape
   * @param {number | null} mmPerPx
   */
  show(shape, mmPerPx) {
    const key = JSON.stringify([shape, mmPerPx]);
    if (key === this.key) return;
    this.key = key;
    const length = mmPerPx === null ? null : barLength(shape, mmPerPx);
    this.bar.hidden = length === null;
    element("scale-distance").hidden = length === null;
    if (length === null) put(this.words, "live-scale-not-measured");
    else {
      this.words.removeAttribute("data-words");
      this.bar.style.width = `${length.share * 100}%`;
      write(this.words, withUnit(numberText(length.mm, length.mm < 1 ? 1 : 0), "mm"));
    }
  }
}
