/** @import { PictureHeader } from "../page/device_state.js" */
/** @import { PercentColours } from "./legend_scale.js" */

import { element, write } from "../page/element.js";
import { language } from "../page/words.js";
import { dash, dot, drawMark, stripe } from "./legend_marks.js";
import { contourWords, legendTicks, percentColour } from "./legend_scale.js";

const BAR_STEPS = 256;

/** The scale of the relative picture and its marks, from the same colours as the picture. */
export class Legend {
  /** @param {PercentColours} map */
  constructor(map) {
    this.map = map;
    this.ticks = element("legend-ticks");
    this.place = element("legend");
    this.bar = element("legend-bar", HTMLCanvasElement);
    this.key = "";
    drawMark(element("legend-saturated", HTMLCanvasElement), stripe);
    drawMark(element("legend-dark", HTMLCanvasElement), dot);
    drawMark(element("legend-uncertain", HTMLCanvasElement), dash);
  }

  /** @param {PictureHeader} header */
  show({ view, full_scale_percent: fullScale, contours_percent: contours }) {
    const key = JSON.stringify([view, fullScale, contours, language()]);
    if (key === this.key) return;
    this.key = key;
    this.place.classList.toggle("grey-view", view === "grey");
    write(element("legend-contours-text"), contourWords(contours));
    this.ticks.replaceChildren(
      ...legendTicks(fullScale).map((percent) => tick(percent / fullScale, "legend-tick", String(percent))),
      ...contours.map((percent) => tick(percent / fullScale, "legend-contour", "")),
    );
    this.drawBar(fullScale);
  }

  /** @param {number} fullScale */
  drawBar(fullScale) {
    const paper = this.bar.getContext("2d");
    if (paper === null) return;
    this.bar.height = BAR_STEPS;
    for (let step = 0; step < BAR_STEPS; step += 1) {
      const [red, green, blue] = percentColour(this.map, (fullScale * step) / (BAR_STEPS - 1), fullScale);
      paper.fillStyle = `rgb(${red} ${green} ${blue})`;
      paper.fillRect(0, BAR_STEPS - 1 - step, 1, 1);
    }
  }
}

/**
 * @param {number} share of the scale, from below
 * @param {string} className
 * @param {string} text
 */
function tick(share, className, text) {
  const made = document.createElement("span");
  made.className = className;
  made.textContent = text;
  made.style.setProperty("--share", String(share));
  return made;
}
