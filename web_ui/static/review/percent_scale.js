/** @import { PercentColours } from "../picture/legend_scale.js" */

import { element } from "../page/element.js";
import { numberText, withUnit } from "../page/number_text.js";
import { legendTicks, percentColour } from "../picture/legend_scale.js";

const STEPS = 256;

/** The scale of the relative picture, lying under it, from the same colours. */
export class PercentScale {
  /** @param {PercentColours} map */
  constructor(map) {
    this.map = map;
    this.place = element("review-scale");
    this.bar = element("review-scale-bar", HTMLCanvasElement);
  }

  /**
   * @param {number} fullScale
   * @param {boolean} shown whether the picture is in percent
   */
  show(fullScale, shown) {
    this.place.classList.toggle("off", !shown);
    const paper = this.bar.getContext("2d");
    if (paper === null) return;
    for (let step = 0; step < STEPS; step += 1) {
      const [red, green, blue] = percentColour(this.map, (fullScale * step) / (STEPS - 1), fullScale);
      paper.fillStyle = `rgb(${red} ${green} ${blue})`;
      paper.fillRect(step, 0, 1, 1);
    }
    element("review-scale-ticks").replaceChildren(...legendTicks(fullScale).map((percent) => {
      const tick = document.createElement("span");
      tick.className = "review-tick";
      tick.textContent = percent === 0 ? "0" : withUnit(numberText(percent, 0), "%");
      tick.style.setProperty("--share", String(percent / fullScale));
      return tick;
    }));
  }
}
