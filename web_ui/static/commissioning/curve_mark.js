/** @import { Curve } from "./commissioning_types.js" */

import { numberText } from "../page/number_text.js";
import { markWord } from "./curve_words.js";

const APART_PX = 6;

/**
 * What is marked in a step's curve: a dashed line, and its word with three digits on the side that has room for it.
 *
 * @param {Pick<import("../libraries/uplot/uPlot.esm.js").default, "bbox" | "ctx" | "valToPos">} plot
 * @param {Curve} curve
 * @param {string} ink
 */
export function drawMark(plot, curve, ink) {
  if (curve.mark === null) return;
  const x = plot.valToPos(curve.mark, "x", true);
  const { left, top, width, height } = plot.bbox;
  if (x < left || x > left + width) return;
  const scale = globalThis.devicePixelRatio || 1;
  const paper = plot.ctx;
  paper.save();
  paper.strokeStyle = ink;
  paper.fillStyle = ink;
  paper.lineWidth = scale;
  paper.setLineDash([4 * scale, 4 * scale]);
  paper.beginPath();
  paper.moveTo(x, top);
  paper.lineTo(x, top + height);
  paper.stroke();
  paper.font = `${15 * scale}px system-ui, sans-serif`;
  paper.textBaseline = "top";
  const text = `${markWord(curve.step)} ${numberText(curve.mark, decimalsOf(curve.mark))}`;
  const apart = APART_PX * scale;
  const fits = x + apart + paper.measureText(text).width <= left + width;
  paper.textAlign = fits ? "left" : "right";
  paper.fillText(text, x + (fits ? apart : -apart), top + 4 * scale);
  paper.restore();
}

/** @param {number} value */
function decimalsOf(value) {
  return value === 0 ? 0 : Math.min(Math.max(2 - Math.floor(Math.log10(Math.abs(value))), 0), 8);
}
