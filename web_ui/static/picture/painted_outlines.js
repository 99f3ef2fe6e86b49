/** @import { Window } from "./picture_geometry.js" */

import { labelPlaces, leader } from "./label_places.js";
import { bounds, corners, parsedRegion } from "./region_text.js";

/** A name this share of the picture's width high is read on paper too, and never smaller than that many pixels. */
const NAME_SHARE = 1 / 48;
const LEAST_NAME = 15;

/**
 * Outlines on a canvas, a dark stroke and a light one on it as on the page, and their names where they hide least.
 *
 * @param {CanvasRenderingContext2D} paper
 * @param {{text: string, isReference: boolean}[]} regions in pixels of the sensor
 * @param {{width: number, height: number}} size of the picture on the paper, from its origin
 * @param {Window} part of the sensor that it shows
 */
export function paintOutlines(paper, regions, size, part) {
  const scale = size.width / part.width;
  const high = Math.max(LEAST_NAME, size.width * NAME_SHARE);
  paper.font = `600 ${Math.round(high)}px system-ui, sans-serif`;
  paper.textBaseline = "middle";
  const marked = regions.map(({ text, isReference }) => {
    const region = parsedRegion(text);
    const [left, top, right, bottom] = edges(bounds(region), scale, part);
    const width = paper.measureText(region.name).width + high;
    return { region, isReference, wanted: { box: { left, top, right, bottom }, width, height: 1.5 * high } };
  });
  for (const { region, isReference } of marked) {
    const path = new Path2D();
    corners(region).forEach(({ x, y }, index) => path[index === 0 ? "moveTo" : "lineTo"]((x - part.x) * scale, (y - part.y) * scale));
    if (region.shape !== "line") path.closePath();
    stroke(paper, path, isReference);
  }
  labelPlaces(marked.map(({ wanted }) => wanted), { left: 0, ...size }).forEach((place, index) => {
    const one = marked[index];
    if (one === undefined) return;
    const line = leader(one.wanted, place);
    if (line !== null) stroke(paper, new Path2D(`M${line[0].x} ${line[0].y}L${line[1].x} ${line[1].y}`), false);
    paper.fillStyle = "rgb(0 0 0 / 75%)";
    paper.fillRect(place.x, place.y, one.wanted.width, one.wanted.height);
    paper.fillStyle = "#fff";
    paper.fillText(one.region.name, place.x + high / 2, place.y + 0.78 * high);
  });
}

/**
 * @param {{left: number, top: number, right: number, bottom: number}} box
 * @param {number} scale
 * @param {Window} part
 * @returns {[number, number, number, number]} left, top, right, bottom on the paper
 */
function edges({ left, top, right, bottom }, scale, { x, y }) {
  return [(left - x) * scale, (top - y) * scale, (right - x) * scale, (bottom - y) * scale];
}

/** @param {CanvasRenderingContext2D} paper @param {Path2D} path @param {boolean} dashed */
function stroke(paper, path, dashed) {
  for (const [colour, width] of /** @type {[string, number][]} */ ([["#000", 5], ["#fff", 2]])) {
    paper.strokeStyle = colour;
    paper.lineWidth = width;
    paper.setLineDash(dashed && colour === "#fff" ? [10, 6] : []);
    paper.stroke(path);
  }
  paper.setLineDash([]);
}
