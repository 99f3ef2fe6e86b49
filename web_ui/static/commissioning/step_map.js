/** @import { Curve } from "./commissioning_types.js" */

import { colourOf } from "../charts/curve_look.js";
import { numberText, withUnit } from "../page/number_text.js";
import { pictureSheet } from "../charts/picture_sheet.js";
import { made } from "../page/made.js";
import { titleOf } from "./curve_words.js";

/** @typedef {{text: string, share: number}} Cell */

/** Shares of the highest value that the saved picture's scale names. */
const TICKS = [0, 0.5, 1];

/** A grey of this share is as far from black numbers as from white ones (WCAG 2.2, contrast ratio). */
const INK_TURNS_AT = 0.45;

/**
 * A map of the picture's parts, row by row, each with its share of the highest.
 *
 * @param {Curve} curve
 * @returns {Cell[][]}
 */
export function rowsOf(curve) {
  const top = topOf(curve);
  const rows = [];
  for (let from = 0; from < curve.x.length; from += curve.columns) {
    rows.push(curve.x.slice(from, from + curve.columns).map((value) => ({ text: valueText(value, top), share: Math.max(0, Math.min(1, value / top)) })));
  }
  return rows;
}

/** On the page: numbers on shades. @param {Curve} curve */
export function mapTable(curve) {
  const rows = rowsOf(curve).map((cells) => made("tr", "", ...cells.map(({ text, share }) => {
    const cell = made("td", "", text);
    cell.style.setProperty("--share", String(share));
    return cell;
  })));
  return made("table", "step-map", ...rows);
}

/**
 * The same as a picture to keep: grey from ground to ink, with its scale and its numbers.
 *
 * @param {Curve} curve
 * @param {CSSStyleDeclaration} style of the page
 */
export function mapSheet(curve, style) {
  const [rows, top] = [rowsOf(curve), topOf(curve)];
  const [ground, ink] = [colourOf(style, "--ground"), colourOf(style, "--ink")];
  const ramp = { colours: [ground, ink], ticks: TICKS.map((share) => ({ share, text: withUnit(valueText(share * top, top), "%") })) };
  const panel = { picture: shades(rows, ground, ink), caption: "", ramp, over: numbers(rows, ground, ink) };
  return pictureSheet({ title: titleOf(curve.step), panels: [panel], lines: [], ground, ink });
}

/** One pixel a part. @param {Cell[][]} rows @param {string} ground @param {string} ink */
function shades(rows, ground, ink) {
  const picture = document.createElement("canvas");
  [picture.width, picture.height] = [rows[0]?.length ?? 0, rows.length];
  const paper = picture.getContext("2d");
  if (paper === null) throw new Error("this browser cannot draw on a canvas");
  paper.fillStyle = ground;
  paper.fillRect(0, 0, picture.width, picture.height);
  paper.fillStyle = ink;
  rows.forEach((cells, y) => cells.forEach(({ share }, x) => {
    paper.globalAlpha = share;
    paper.fillRect(x, y, 1, 1);
  }));
  return picture;
}

/** @param {Cell[][]} rows @param {string} ground @param {string} ink */
function numbers(rows, ground, ink) {
  return (/** @type {CanvasRenderingContext2D} */ paper, /** @type {number} */ width) => {
    const side = width / (rows[0]?.length ?? 1);
    paper.font = `600 ${Math.round(side * 0.3)}px system-ui, sans-serif`;
    paper.textAlign = "center";
    paper.textBaseline = "middle";
    rows.forEach((cells, y) => cells.forEach(({ text, share }, x) => {
      paper.fillStyle = share > INK_TURNS_AT ? ground : ink;
      paper.fillText(text, (x + 0.5) * side, (y + 0.5) * side);
    }));
  };
}

/** @param {Curve} curve */
function topOf(curve) {
  return Math.max(...curve.x, 1e-9);
}

/** @param {number} value @param {number} top */
function valueText(value, top) {
  return numberText(value, top < 10 ? 1 : 0);
}
