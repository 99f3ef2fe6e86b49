import { wrapped } from "./wrapped_text.js";

/**
 * Measured pictures to keep: each with its caption and its colours in numbers, and beneath what must be known of them.
 *
 * @typedef {object} Ramp what the colours stand for
 * @property {string[]} colours from the low end to the high one
 * @property {{share: number, text: string}[]} ticks
 *
 * @typedef {object} Panel
 * @property {CanvasImageSource & {width: number, height: number}} picture
 * @property {string} caption
 * @property {Ramp} [ramp]
 * @property {(paper: CanvasRenderingContext2D, width: number, height: number) => void} [over] drawn over it
 *
 * @typedef {{title: string, panels: Panel[], lines: string[], ground: string, ink: string}} Sheet
 */

const LEAST_WIDTH = 1100;
const GAP = 16;

/** @param {Sheet} sheet @returns {HTMLCanvasElement} */
export function pictureSheet({ title, panels, lines, ground, ink }) {
  const [natural, tallest] = [panels.reduce((sum, { picture }) => sum + picture.width, 0), Math.max(...panels.map(({ picture }) => picture.height))];
  const scale = Math.max(1, Math.ceil(LEAST_WIDTH / Math.max(natural, 1)));
  const width = natural * scale + GAP * (panels.length + 1);
  const unit = Math.max(18, width / 70);
  const whole = document.createElement("canvas");
  const paper = whole.getContext("2d");
  if (paper === null) throw new Error("this browser cannot draw on a canvas");
  const font = (/** @type {number} */ share, weight = 400) => `${weight} ${Math.round(unit * share)}px system-ui, sans-serif`;
  paper.font = font(0.9);
  const under = lines.flatMap((line) => wrapped(paper, line, width - 2 * GAP));
  const captions = panels.map(({ picture, caption }) => wrapped(paper, caption, picture.width * scale));
  const top = unit * (2.2 + 1.3 * Math.max(...captions.map((one) => one.length)));
  const foot = top + tallest * scale + unit * (panels.some(({ ramp }) => ramp !== undefined) ? 3.6 : 0.8);
  whole.width = width;
  whole.height = Math.ceil(foot + unit * (1.35 * under.length + 0.8));
  paper.fillStyle = ground;
  paper.fillRect(0, 0, whole.width, whole.height);
  paper.fillStyle = ink;
  paper.textBaseline = "top";
  paper.font = font(1.15, 600);
  paper.fillText(title, GAP, unit * 0.6, width - 2 * GAP);
  paper.font = font(0.9);
  let left = GAP;
  panels.forEach((panel, index) => {
    captions[index]?.forEach((line, row) => paper.fillText(line, left, unit * (2.2 + 1.3 * row)));
    drawPanel(paper, panel, { left, top, scale, unit, ink });
    left += panel.picture.width * scale + GAP;
  });
  under.forEach((line, row) => paper.fillText(line, GAP, foot + unit * 1.35 * row));
  return whole;
}

/**
 * @param {CanvasRenderingContext2D} paper
 * @param {Panel} panel
 * @param {{left: number, top: number, scale: number, unit: number, ink: string}} place
 */
function drawPanel(paper, { picture, ramp, over }, { left, top, scale, unit, ink }) {
  const [width, height] = [picture.width * scale, picture.height * scale];
  paper.save();
  paper.translate(left, top);
  paper.imageSmoothingEnabled = false;
  paper.drawImage(picture, 0, 0, width, height);
  paper.save();
  paper.beginPath();
  paper.rect(0, 0, width, height);
  paper.clip();
  over?.(paper, width, height);
  paper.restore();
  if (ramp !== undefined) drawRamp(paper, ramp, { width, height, unit, ink });
  paper.restore();
}

/**
 * @param {CanvasRenderingContext2D} paper with its origin at the picture's corner
 * @param {Ramp} ramp
 * @param {{width: number, height: number, unit: number, ink: string}} under
 */
function drawRamp(paper, ramp, { width, height, unit, ink }) {
  const bar = paper.createLinearGradient(0, 0, width, 0);
  ramp.colours.forEach((colour, index) => bar.addColorStop(index / Math.max(ramp.colours.length - 1, 1), colour));
  paper.fillStyle = bar;
  paper.fillRect(0, height + unit * 0.5, width, unit);
  paper.fillStyle = ink;
  for (const { share, text } of ramp.ticks) {
    const size = paper.measureText(text).width;
    paper.fillRect(Math.min(share * width, width - 1), height + unit * 1.5, 1, unit * 0.3);
    paper.fillText(text, Math.min(Math.max(share * width - size / 2, 0), width - size), height + unit * 1.9);
  }
}

/**
 * Numbers from `low` to `high`, each step.
 *
 * @param {{low: number, high: number, step: number}} scale
 * @param {(number: number) => string} text
 */
export function ticksOf({ low, high, step }, text) {
  const ticks = [];
  for (let number = low; number <= high + step / 2; number += step) ticks.push({ share: (number - low) / (high - low), text: text(number) });
  return ticks;
}
