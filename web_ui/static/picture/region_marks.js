/** @import { RegionValue } from "../page/device_state.js" */
/** @import { Box } from "./label_places.js" */
/** @import { Shape } from "./picture_geometry.js" */

import { element, write } from "../page/element.js";
import { labelPlaces, leader } from "./label_places.js";
import { copies, shownPoint, windowOf } from "./picture_geometry.js";
import { bounds, corners, parsedRegion } from "./region_text.js";
import { withUnit } from "../page/number_text.js";
import { flagWord, isCertain, valueText } from "../page/value_text.js";
import { words } from "../page/words.js";
import { REFERENCE_NAME } from "./region_acts.js";

const SVG = "http://www.w3.org/2000/svg";

/**
 * @typedef {object} Marked
 * @property {RegionValue} value
 * @property {boolean} isReference
 */

/** Outlines over the picture, and beside each its value. */
export class RegionMarks {
  /**
   * @param {SVGSVGElement} [outlines] those of the live picture, unless told otherwise
   * @param {HTMLElement} [labels]
   */
  constructor(outlines = element("outlines", SVGSVGElement), labels = element("labels")) {
    this.outlines = outlines;
    this.labels = labels;
    /** @type {Marked[]} */
    this.marked = [];
    /** @type {Shape | null} */
    this.shape = null;
    this.drawnKey = "";
    /** @type {SVGElement | null} */
    this.draft = null;
  }

  /**
   * @param {Shape} shape
   * @param {RegionValue | null} reference
   * @param {RegionValue[]} values
   * @param {number} sequence of the frame the values were measured in
   */
  show(shape, reference, values, sequence) {
    this.shape = shape;
    this.marked = [
      ...(reference === null ? [] : [{ value: reference, isReference: true }]),
      ...values.map((value) => ({ value, isReference: false })),
    ];
    const room = this.labels.getBoundingClientRect();
    const key = JSON.stringify([shape, room.width, room.height, this.marked.map(({ value, isReference }) => [value.region, isReference, value.flag])]);
    if (key !== this.drawnKey) this.draw(shape);
    this.marked.forEach(({ value, isReference }, index) => {
      const label = this.labels.children[index];
      if (label instanceof HTMLElement) writeLabel(label, value, isReference, sequence, reference?.flag ?? "");
    });
    if (key !== this.drawnKey) this.place(shape, room);
    this.drawnKey = key;
  }

  /**
   * Outlines go where the tissue is now; what stands beside them follows with the next values.
   *
   * @param {string[]} regions as many as there are, in their order
   * @param {boolean} lost the tissue's place is not known, so they stay and are dashed
   */
  follow(regions, lost) {
    this.outlines.classList.toggle("lost", lost);
    if (this.shape === null || regions.length !== this.marked.length) return;
    if (this.marked.every(({ value }, index) => value.region === regions[index])) return;
    this.marked = this.marked.map((one, index) => ({ ...one, value: { ...one.value, region: regions[index] ?? one.value.region } }));
    this.drawnKey = "";
    this.drawOutlines(this.shape);
  }

  /** @param {Shape} shape */
  draw(shape) {
    this.drawOutlines(shape);
    this.labels.replaceChildren(...this.marked.map(({ isReference }) => emptyLabel(isReference)));
  }

  /** @param {Shape} shape */
  drawOutlines(shape) {
    this.outlines.setAttribute("viewBox", `0 0 ${shape.width * copies(shape).length} ${shape.height}`);
    this.outlines.replaceChildren(
      ...inEachCopy(shape, () => this.marked.flatMap(({ value, isReference }) => outlineOf(value.region, isReference ? "reference" : "region"))),
      ...(this.draft === null ? [] : [this.draft]),
    );
  }

  /**
   * Values stand in the right half side by side: the left one is the plain picture.
   *
   * @param {Shape} shape
   * @param {{width: number, height: number}} room
   */
  place(shape, room) {
    const half = copies(shape).length - 1;
    const copy = copies(shape)[half] ?? { left: 0, width: 1 };
    const scale = (room.width * copy.width) / shape.width;
    const shift = room.width * copy.left;
    const wanted = this.marked.map(({ value }, index) => {
      const label = this.labels.children[index];
      const box = shownBox(shape, bounds(parsedRegion(value.region)), half, room);
      if (!(label instanceof HTMLElement)) return { box, width: 0, height: 0 };
      label.hidden = box.right <= shift || box.left >= shift + room.width * copy.width || box.bottom <= 0 || box.top >= room.height;
      return { box, width: label.offsetWidth, height: label.offsetHeight };
    });
    for (const old of this.outlines.querySelectorAll(".leader")) old.remove();
    labelPlaces(wanted, { left: shift, width: room.width * copy.width, height: room.height }).forEach((place, index) => {
      const label = this.labels.children[index];
      if (label instanceof HTMLElement) label.style.transform = `translate(${Math.round(place.x)}px, ${Math.round(place.y)}px)`;
      const line = label instanceof HTMLElement && !label.hidden && wanted[index] && leader(wanted[index], place);
      if (!line) return;
      const ends = line.map(({ x, y }) => ({ x: (x - shift) / scale + half * shape.width, y: y / scale }));
      this.outlines.append(...strokes("polyline", ends, "leader"));
    });
  }

  /**
   * The outline under a finger that is drawing; null takes it away.
   *
   * @param {string | null} region
   */
  sketch(region) {
    this.draft?.remove();
    this.draft = null;
    if (region === null || this.shape === null) return;
    const group = document.createElementNS(SVG, "g");
    group.append(...inEachCopy(this.shape, () => outlineOf(region, "draft")));
    this.outlines.append(group);
    this.draft = group;
  }
}

/**
 * @param {Shape} shape
 * @param {Box} box in sensor pixels
 * @param {number} half
 * @param {{width: number, height: number}} room
 * @returns {Box} where it is shown, in CSS pixels
 */
function shownBox(shape, box, half, room) {
  const start = shownPoint(shape, { x: box.left, y: box.top }, half);
  const end = shownPoint(shape, { x: box.right, y: box.bottom }, half);
  return { left: start.x * room.width, right: end.x * room.width, top: start.y * room.height, bottom: end.y * room.height };
}

/**
 * What is drawn in sensor pixels, once for each copy of the sensor and cut off at its edge.
 *
 * @param {Shape} shape
 * @param {() => SVGElement[]} drawn
 */
function inEachCopy(shape, drawn) {
  const { x, y, width, height } = windowOf(shape);
  return copies(shape).map((_, half) => {
    const copy = document.createElementNS(SVG, "svg");
    const place = { x: half * shape.width, y: 0, width: shape.width, height: shape.height, viewBox: `${x} ${y} ${width} ${height}` };
    for (const [name, value] of Object.entries(place)) copy.setAttribute(name, String(value));
    copy.setAttribute("preserveAspectRatio", "none");
    copy.append(...drawn());
    return copy;
  });
}

/**
 * A line shows how wide it is.
 *
 * @param {string} text
 * @param {string} className
 */
export function outlineOf(text, className) {
  const region = parsedRegion(text);
  const points = corners(region);
  if (region.shape !== "line") return strokes("polygon", points, className);
  const width = document.createElementNS(SVG, "polyline");
  width.setAttribute("points", pointsText(points));
  width.setAttribute("class", "line-width");
  width.setAttribute("stroke-width", String(region.numbers[0] ?? 1));
  return [width, ...strokes("polyline", points, className)];
}

/** @param {{x: number, y: number}[]} points */
function pointsText(points) {
  return points.map(({ x, y }) => `${x},${y}`).join(" ");
}

/**
 * A dark stroke and a light one on it.
 *
 * @param {"polygon" | "polyline"} kind
 * @param {{x: number, y: number}[]} points
 * @param {string} className
 */
function strokes(kind, points, className) {
  return ["under", "over"].map((layer) => {
    const outline = document.createElementNS(SVG, kind);
    outline.setAttribute("points", pointsText(points));
    outline.setAttribute("class", `outline ${className} ${layer}`);
    return outline;
  });
}

/** @param {boolean} isReference */
function emptyLabel(isReference) {
  const label = document.createElement("div");
  label.className = isReference ? "label label-reference" : "label";
  const name = document.createElement("span");
  name.className = "label-name";
  const value = document.createElement("span");
  value.className = "label-value";
  label.append(name, value);
  return label;
}

/**
 * What keeps the reference from serving is said once, beside it, not at every region.
 *
 * @param {HTMLElement} label
 * @param {RegionValue} value
 * @param {boolean} isReference
 * @param {number} sequence
 * @param {string} referenceFlag
 */
function writeLabel(label, value, isReference, sequence, referenceFlag) {
  const [name, number] = label.children;
  if (name === undefined || number === undefined) return;
  write(name, isReference && value.name === REFERENCE_NAME ? words("picture-reference") : value.name);
  if (isReference) write(number, value.flag === "" ? withUnit("100", "%") : flagWord(value.flag.replace(/^reference /, "")));
  else write(number, referenceFlag === "" ? valueText(value) : "–");
  label.classList.toggle("uncertain", isReference ? value.flag !== "" : !isCertain(value));
  label.dataset["name"] = value.name;
  label.dataset["sequence"] = String(sequence);
}
