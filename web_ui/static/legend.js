/** @import { PictureHeader } from "./device_state.js" */

import { element, write } from "./element.js";
import { contourWords, legendTicks } from "./legend_scale.js";

/** The scale of the relative picture, from the same colour table as the picture. */
export class Legend {
  /** @param {number[][]} colourTable 256 colours, red green blue, from nothing to full scale */
  constructor(colourTable) {
    this.ticks = element("legend-ticks");
    this.place = element("legend");
    this.key = "";
    drawBar(element("legend-bar", HTMLCanvasElement), colourTable);
    drawSaturated(element("legend-saturated", HTMLCanvasElement));
    drawTooDark(element("legend-dark", HTMLCanvasElement));
  }

  /** @param {PictureHeader} header */
  show(header) {
    const key = JSON.stringify([header.view, header.full_scale_percent, header.contours_percent]);
    if (key === this.key) return;
    this.key = key;
    this.place.classList.toggle("grey-view", header.view === "grey");
    write(element("legend-contours-text"), contourWords(header.contours_percent));
    this.ticks.replaceChildren(
      ...legendTicks(header.full_scale_percent).map((percent) => tick(percent, header.full_scale_percent, String(percent))),
      ...header.contours_percent.map((percent) => tick(percent, header.full_scale_percent, "")),
    );
  }
}

/**
 * @param {number} percent
 * @param {number} fullScale
 * @param {string} text empty: the mark of a contour
 */
function tick(percent, fullScale, text) {
  const made = document.createElement("span");
  made.className = text === "" ? "legend-contour" : "legend-tick";
  made.textContent = text;
  made.style.setProperty("--share", String(percent / fullScale));
  return made;
}

/**
 * @param {HTMLCanvasElement} bar
 * @param {number[][]} colours
 */
function drawBar(bar, colours) {
  const paper = bar.getContext("2d");
  if (paper === null) return;
  bar.height = colours.length;
  colours.forEach(([red, green, blue], index) => {
    paper.fillStyle = `rgb(${red} ${green} ${blue})`;
    paper.fillRect(0, colours.length - 1 - index, 1, 1);
  });
}

/** @param {HTMLCanvasElement} swatch */
function drawSaturated(swatch) {
  const paper = swatch.getContext("2d");
  if (paper === null) return;
  paper.fillStyle = "#fff";
  paper.fillRect(0, 0, swatch.width, swatch.height);
  paper.fillStyle = "#000";
  for (let y = 0; y < swatch.height; y += 1) {
    for (let x = 0; x < swatch.width; x += 1) if ((x + y) % 8 < 3) paper.fillRect(x, y, 1, 1);
  }
}

/** @param {HTMLCanvasElement} swatch */
function drawTooDark(swatch) {
  const paper = swatch.getContext("2d");
  if (paper === null) return;
  paper.fillStyle = "#202020";
  paper.fillRect(0, 0, swatch.width, swatch.height);
  paper.fillStyle = "#909090";
  for (let y = 2; y < swatch.height; y += 6) for (let x = 2; x < swatch.width; x += 6) paper.fillRect(x, y, 2, 2);
}
