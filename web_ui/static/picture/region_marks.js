/** @import { RegionValue } from "../page/device_state.js" */
/** @import { Box } from "./label_places.js" */
/** @import { Shape } from "./picture_geometry.js" */

import { element, write } from "../page/element.js";
import { labelPlaces, leader } from "./label_places.js";
import { copies } from "./picture_geometry.js";
import { bounds, corners, parsedRegion } from "./region_text.js";
import { isCertain, valueText } from "../page/value_text.js";

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

  /** @param {Shape} shape */
  draw(shape) {
    this.outlines.setAttribute("viewBox", `0 0 ${shape.width * copies(shape).length} ${shape.height}`);
    this.outlines.replaceChildren(
      ...this.marked.flatMap(({ value, isReference }) => outlinesOf(shape, value.region, isReference ? "reference" : "region")),
    );
    this.labels.replaceChildren(...this.marked.map(({ isReference }) => emptyLabel(isReference)));
  }

  /**
   * Values stand in the right half side by side: the left one is the plain picture.
   *
   * @param {Shape} shape
   * @param {{width: number, height: number}} room
   */
  place(shape, room) {
    const copy = copies(shape).at(-1) ?? { left: 0, width: 1 };
    const scale = (room.width * copy.width) / shape.width;
    const shift = room.width * copy.left;
    const wanted = this.marked.map(({ value }, index) => {
      const label = this.labels.children[index];
      const size = label instanceof HTMLElement ? { width: label.offsetWidth, height: label.offsetHeight } : { width: 0, height: 0 };
      return { box: scaled(bounds(parsedRegion(value.region)), scale, shift), ...size };
    });
    const half = copies(shape).length - 1;
    for (const old of this.outlines.querySelectorAll(".leader")) old.remove();
    labelPlaces(wanted, { left: shift, width: room.width * copy.width, height: room.height }).forEach((place, index) => {
      const label = this.labels.children[index];
      if (label instanceof HTMLElement) label.style.transform = `translate(${Math.round(place.x)}px, ${Math.round(place.y)}px)`;
      const line = wanted[index] && leader(wanted[index], place);
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
    group.append(...outlinesOf(this.shape, region, "draft"));
    this.outlines.append(group);
    this.draft = group;
  }
}

/**
 * @param {Box} box
 * @param {number} scale
 * @param {number} shift
 * @returns {Box}
 */
function scaled(box, scale, shift) {
  return {
    left: box.left * scale + shift,
    right: box.right * scale + shift,
    top: box.top * scale,
    bottom: box.bottom * scale,
  };
}

/**
 * @param {Shape} shape
 * @param {string} region
 * @param {string} className
 */
function outlinesOf(shape, region, className) {
  const points = corners(parsedRegion(region));
  return copies(shape).flatMap((_, half) => {
    return strokes("polygon", points.map(({ x, y }) => ({ x: x + half * shape.width, y })), className);
  });
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
    outline.setAttribute("points", points.map(({ x, y }) => `${x},${y}`).join(" "));
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
  write(name, value.name);
  if (isReference) write(number, value.flag.replace(/^reference /, "") || "100 %");
  else write(number, referenceFlag === "" ? valueText(value) : "–");
  label.classList.toggle("uncertain", isReference ? value.flag !== "" : !isCertain(value));
  label.dataset["name"] = value.name;
  label.dataset["sequence"] = String(sequence);
}
