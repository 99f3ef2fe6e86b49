import { bounds, corners, parsedRegion } from "./region_text.js";

/**
 * Outlines with their names on a canvas: a dark stroke and a light one on it, as on the page.
 *
 * @param {CanvasRenderingContext2D} paper
 * @param {{text: string, isReference: boolean}[]} regions in pixels of the sensor
 * @param {number} scale canvas pixels to one of the sensor
 */
export function paintOutlines(paper, regions, scale) {
  for (const { text, isReference } of regions) {
    const region = parsedRegion(text);
    const path = new Path2D();
    corners(region).forEach(({ x, y }, index) => (index === 0 ? path.moveTo(x * scale, y * scale) : path.lineTo(x * scale, y * scale)));
    if (region.shape !== "line") path.closePath();
    for (const [colour, width] of /** @type {[string, number][]} */ ([["#000", 5], ["#fff", 2]])) {
      paper.strokeStyle = colour;
      paper.lineWidth = width;
      paper.setLineDash(isReference && colour === "#fff" ? [10, 6] : []);
      paper.stroke(path);
    }
    paper.setLineDash([]);
    const { left, top, bottom } = bounds(region);
    const y = top * scale < 28 ? bottom * scale + 4 : top * scale - 24;
    paper.strokeStyle = "#000";
    paper.lineWidth = 4;
    paper.strokeText(region.name, left * scale, y);
    paper.fillStyle = "#fff";
    paper.fillText(region.name, left * scale, y);
  }
}
