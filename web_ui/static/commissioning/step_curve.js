/** @import { Curve, StepName } from "./commissioning_types.js" */

import uPlot from "../libraries/uplot/uPlot.esm.js";
import { chartPicture, pngOf } from "../charts/chart_picture.js";
import { colourOf, faint } from "../charts/curve_look.js";
import { numberText } from "../page/number_text.js";
import { saveFile } from "../charts/saved_file.js";
import { ask } from "../page/device_api.js";
import { button } from "../page/element.js";
import { made } from "../page/made.js";
import { words } from "../page/words.js";
import { curveCsv, inOrder, isMap } from "./curve_table.js";
import { drawMark } from "./curve_mark.js";
import { axisWords, seriesWord, titleOf } from "./curve_words.js";
import { mapSheet, mapTable } from "./step_map.js";

const FONT = "16px system-ui, sans-serif";
const HEIGHT_PX = 300;
/** Steps whose points lie so close that they are a line. @type {Set<StepName>} */
const LINES = new Set(["dark", "sharpness"]);

/** What a step's figures were read from: a curve, or a map of the picture's parts; both can be kept. */
export class StepCurve {
  /**
   * @param {StepName} step
   * @param {boolean} proposed
   */
  constructor(step, proposed) {
    this.step = step;
    /** @type {uPlot | null} */
    this.plot = null;
    /** @type {Curve | null} */
    this.curve = null;
    this.drawing = made("div", "step-drawing");
    this.acts = made("div", "step-curve-acts");
    this.place = made("figure", "step-curve", made("figcaption", "", titleOf(step)), this.drawing, this.acts);
    this.sized = new ResizeObserver(() => this.resize());
    this.themed = new MutationObserver(() => this.draw());
    void this.load(proposed);
  }

  /** @param {boolean} proposed */
  async load(proposed) {
    try {
      this.curve = await ask("GET", `/commissioning/curves/${this.step}${proposed ? "?proposed=true" : ""}`);
    } catch {
      this.curve = null; // the figures say it all; the place says when the device cannot be asked
    }
    this.sized.observe(this.drawing);
    this.themed.observe(document.documentElement, { attributes: true, attributeFilter: ["data-theme"] });
    this.draw();
  }

  close() {
    this.sized.disconnect();
    this.themed.disconnect();
    this.plot?.destroy();
    this.plot = null;
  }

  draw() {
    this.plot?.destroy();
    this.plot = null;
    const curve = this.curve;
    if (curve === null || curve.x.length === 0) {
      this.drawing.replaceChildren(made("p", "teach", words("commissioning-curve-none")));
      return;
    }
    if (isMap(curve)) this.drawing.replaceChildren(mapTable(curve));
    else this.drawCurve(curve);
    const table = button(words("charts-save-table"), () => this.saveTable(), "faint");
    const picture = button(words("charts-save-picture"), () => void this.savePicture(), "faint");
    this.acts.replaceChildren(picture, table);
  }

  /** @param {Curve} curve */
  drawCurve(curve) {
    this.drawing.replaceChildren();
    this.drawing.setAttribute("role", "img");
    this.drawing.setAttribute("aria-label", titleOf(this.step));
    const style = getComputedStyle(this.place);
    const width = Math.max(260, Math.floor(this.drawing.getBoundingClientRect().width));
    this.plot = new uPlot(this.options(curve, style, width), /** @type {uPlot.AlignedData} */ (inOrder(curve)), this.drawing);
  }

  /**
   * @param {Curve} curve
   * @param {CSSStyleDeclaration} style
   * @param {number} width
   * @returns {uPlot.Options}
   */
  options(curve, style, width) {
    const [ink, edge] = [colourOf(style, "--ink"), colourOf(style, "--edge")];
    /** @type {Partial<uPlot.Axis>} */
    const axis = { stroke: ink, font: FONT, labelFont: FONT, labelSize: 26, grid: { stroke: faint(edge, 0.4), width: 1 }, ticks: { stroke: edge, width: 1 } };
    const [x, y] = axisWords(curve.step);
    const places = curve.step === "defects";
    const log = curve.step === "dark";
    return {
      width,
      height: HEIGHT_PX,
      legend: { show: false },
      cursor: { drag: { x: false, y: false }, points: { size: 8 } },
      scales: { x: { time: false }, y: { ...(log ? { distr: 3 } : {}), ...(places ? { dir: -1 } : {}) } },
      axes: [
        { ...axis, label: x, size: 34, values: (_, splits) => splits.map(tick) },
        { ...axis, label: y, size: log ? 96 : 66, values: (_, splits) => splits.map((one) => (one === null ? "" : tick(one))) },
      ],
      series: [
        {},
        ...curve.series.map(({ name }, index) => {
          const colour = colourOf(style, `--curve-${index + 1}`);
          const measured = name === "measured" || name === "places";
          const points = { show: measured && !LINES.has(curve.step), size: places ? 6 : 8, fill: colour };
          // what was measured here and there is not joined by a line: nothing is known between
          return { label: seriesWord(name), stroke: colour, width: 2, dash: measured ? [] : [8, 5], points, ...(points.show ? { paths: () => null } : {}) };
        }),
      ],
      hooks: { draw: [(plot) => drawMark(plot, curve, ink)] },
    };
  }

  resize() {
    const width = Math.max(260, Math.floor(this.drawing.getBoundingClientRect().width));
    if (this.plot !== null && Math.abs(this.plot.width - width) > 1) this.plot.setSize({ width, height: HEIGHT_PX });
  }

  async savePicture() {
    const picture = this.picture();
    if (picture !== null) saveFile(await pngOf(picture), `${this.step}.png`);
  }

  picture() {
    if (this.curve === null) return null;
    const style = getComputedStyle(this.place);
    if (isMap(this.curve)) return mapSheet(this.curve, style);
    if (this.plot === null) return null;
    const keys = this.curve.series.map(({ name }, index) => ({ name: seriesWord(name), colour: colourOf(style, `--curve-${index + 1}`), dash: name === "measured" ? [] : [8, 5] }));
    const about = { title: titleOf(this.step), keys, lines: [], ground: colourOf(style, "--ground"), ink: colourOf(style, "--ink") };
    return chartPicture(this.plot.ctx.canvas, about);
  }

  saveTable() {
    if (this.curve !== null) saveFile(new Blob([curveCsv(this.curve)], { type: "text/csv" }), `${this.step}.csv`);
  }
}

/** @param {number} value */
function tick(value) {
  const decimals = Number.isInteger(value) ? 0 : Math.min((String(value).split(".")[1] ?? "").length, 3);
  return numberText(value, decimals);
}
