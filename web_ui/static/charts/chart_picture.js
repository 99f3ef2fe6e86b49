/**
 * A chart as a picture to keep: title, drawing, legend and the cautions beneath, on the theme's ground.
 *
 * @typedef {{name: string, colour: string, dash: number[]}} Key
 */

import { wrapped } from "./wrapped_text.js";

const MARGIN = 24;
const LINE = 30;

/**
 * @param {HTMLCanvasElement} drawing
 * @param {{title: string, keys: Key[], lines: string[], ground: string, ink: string}} about
 * @returns {HTMLCanvasElement}
 */
export function chartPicture(drawing, { title, keys, lines, ground, ink }) {
  const scale = Math.max(1, drawing.width / 900);
  const [margin, line] = [MARGIN * scale, LINE * scale];
  const whole = document.createElement("canvas");
  const paper = whole.getContext("2d");
  if (paper === null) throw new Error("this browser cannot draw on a canvas");
  whole.width = drawing.width + 2 * margin;
  paper.font = `${16 * scale}px system-ui, sans-serif`;
  const under = lines.flatMap((words) => wrapped(paper, words, drawing.width));
  whole.height = drawing.height + 2 * margin + line * (2 + keys.length + under.length);
  paper.fillStyle = ground;
  paper.fillRect(0, 0, whole.width, whole.height);
  paper.fillStyle = ink;
  paper.textBaseline = "middle";
  paper.font = `600 ${20 * scale}px system-ui, sans-serif`;
  paper.fillText(title, margin, margin + line / 2, whole.width - 2 * margin);
  paper.drawImage(drawing, margin, margin + line);
  let y = margin + line * 1.5 + drawing.height;
  paper.font = `${16 * scale}px system-ui, sans-serif`;
  for (const key of keys) {
    drawKey(paper, key, margin, y, scale);
    paper.fillStyle = ink;
    paper.fillText(key.name, margin + 64 * scale, y);
    y += line;
  }
  for (const words of under) {
    paper.fillText(words, margin, y, whole.width - 2 * margin);
    y += line;
  }
  return whole;
}

/**
 * @param {CanvasRenderingContext2D} paper
 * @param {Key} key
 * @param {number} x
 * @param {number} y
 * @param {number} scale
 */
function drawKey(paper, { colour, dash }, x, y, scale) {
  paper.strokeStyle = colour;
  paper.lineWidth = 3 * scale;
  paper.setLineDash(dash.map((one) => one * scale));
  paper.beginPath();
  paper.moveTo(x, y);
  paper.lineTo(x + 50 * scale, y);
  paper.stroke();
  paper.setLineDash([]);
}

/**
 * @param {HTMLCanvasElement} canvas
 * @returns {Promise<Blob>}
 */
export function pngOf(canvas) {
  return new Promise((resolve, reject) => {
    canvas.toBlob((blob) => (blob === null ? reject(new Error("this browser cannot make a PNG")) : resolve(blob)), "image/png");
  });
}
