import { outlineOf } from "./region_marks.js";
import { bounds, parsedRegion } from "./region_text.js";

const SVG = "http://www.w3.org/2000/svg";

/**
 * Outlines with their names over a picture that does not change.
 *
 * @param {SVGSVGElement} place over the picture
 * @param {{text: string, isReference: boolean}[]} regions in pixels of the sensor
 * @param {{width: number, height: number}} sensor
 */
export function drawOutlines(place, regions, { width, height }) {
  place.setAttribute("viewBox", `0 0 ${width} ${height}`);
  place.setAttribute("preserveAspectRatio", "none");
  place.replaceChildren(...regions.flatMap(({ text, isReference }) => [...outlineOf(text, isReference ? "reference" : "region"), nameOf(text, { width, height })]));
}

/** @param {string} text @param {{width: number, height: number}} sensor */
function nameOf(text, { width, height }) {
  const region = parsedRegion(text);
  const { left, right, top, bottom } = bounds(region);
  const size = height * 0.05;
  const below = top < 1.3 * size;
  const name = document.createElementNS(SVG, "text");
  const place = { x: Math.min(Math.max((left + right) / 2, 0.1 * width), 0.9 * width), y: below ? Math.min(bottom + size, height - 0.2 * size) : top - 0.35 * size };
  for (const [key, value] of Object.entries({ ...place, "font-size": size, "class": "outline-name", "text-anchor": "middle" })) name.setAttribute(key, String(value));
  name.textContent = region.name;
  return name;
}
