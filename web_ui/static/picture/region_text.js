/**
 * A named area in sensor pixels, written as on the command line: `tip:10,20,30,40` or `tip:polygon:1,1,9,1,5,9`.
 *
 * @typedef {object} Region
 * @property {string} name
 * @property {"rectangle" | "polygon"} shape
 * @property {number[]} numbers x, y, width, height; or x1, y1, x2, y2, ...
 *
 * @typedef {{x: number, y: number}} Point
 */

const NAME = /^[\p{L}\p{N}][\p{L}\p{N}_ .-]{0,39}$/u;

/** Side of the square that a touch makes, as a share of the picture's width. */
const TOUCH_SHARE = 0.045;

/**
 * @param {string} text
 * @returns {Region}
 */
export function parsedRegion(text) {
  const colon = text.indexOf(":");
  const name = text.slice(0, colon);
  const rest = text.slice(colon + 1);
  const polygon = rest.startsWith("polygon:");
  const numbers = (polygon ? rest.slice("polygon:".length) : rest).split(",").map(Number);
  return { name, shape: polygon ? "polygon" : "rectangle", numbers };
}

/** @param {Region} region */
export function regionText({ name, shape, numbers }) {
  return `${name}:${shape === "polygon" ? "polygon:" : ""}${numbers.join(",")}`;
}

/**
 * @param {string} text
 * @param {string} name
 */
export function renamed(text, name) {
  return regionText({ ...parsedRegion(text), name });
}

/** @param {string} name */
export function isRegionName(name) {
  return NAME.test(name);
}

/**
 * Square round a touched point, pushed inside the picture.
 *
 * @param {string} name
 * @param {Point} at
 * @param {{width: number, height: number}} sensor
 * @returns {Region}
 */
export function squareAround(name, at, sensor) {
  const side = Math.max(3, Math.round(sensor.width * TOUCH_SHARE)) | 1;
  const x = Math.min(Math.max(at.x - (side >> 1), 0), Math.max(sensor.width - side, 0));
  const y = Math.min(Math.max(at.y - (side >> 1), 0), Math.max(sensor.height - side, 0));
  return { name, shape: "rectangle", numbers: [x, y, Math.min(side, sensor.width), Math.min(side, sensor.height)] };
}

/**
 * Rectangle between two corners, both included.
 *
 * @param {string} name
 * @param {Point} a
 * @param {Point} b
 * @returns {Region}
 */
export function rectangleBetween(name, a, b) {
  const x = Math.min(a.x, b.x);
  const y = Math.min(a.y, b.y);
  return { name, shape: "rectangle", numbers: [x, y, Math.abs(a.x - b.x) + 1, Math.abs(a.y - b.y) + 1] };
}

/**
 * @param {Region} region
 * @returns {Point[]}
 */
export function corners({ shape, numbers }) {
  if (shape === "rectangle") {
    const [x = 0, y = 0, width = 0, height = 0] = numbers;
    return [
      { x, y },
      { x: x + width, y },
      { x: x + width, y: y + height },
      { x, y: y + height },
    ];
  }
  /** @type {Point[]} */
  const points = [];
  for (let i = 0; i + 1 < numbers.length; i += 2) points.push({ x: numbers[i] ?? 0, y: numbers[i + 1] ?? 0 });
  return points;
}

/**
 * @param {Region} region
 * @returns {{left: number, top: number, right: number, bottom: number}}
 */
export function bounds(region) {
  const points = corners(region);
  const xs = points.map((point) => point.x);
  const ys = points.map((point) => point.y);
  return { left: Math.min(...xs), top: Math.min(...ys), right: Math.max(...xs), bottom: Math.max(...ys) };
}

/**
 * The region a finger means: the smallest whose box, grown by the finger's width, holds the point.
 *
 * @param {string[]} texts
 * @param {Point} at
 * @param {number} fingerPx in sensor pixels
 * @returns {string | null}
 */
export function regionAt(texts, at, fingerPx) {
  let best = null;
  let bestArea = Infinity;
  for (const text of texts) {
    const box = bounds(parsedRegion(text));
    const inside =
      at.x >= box.left - fingerPx && at.x <= box.right + fingerPx && at.y >= box.top - fingerPx && at.y <= box.bottom + fingerPx;
    const area = (box.right - box.left) * (box.bottom - box.top);
    if (inside && area < bestArea) [best, bestArea] = [text, area];
  }
  return best;
}

/**
 * Next free letter for a region that nobody named yet.
 *
 * @param {string[]} taken
 */
export function nextName(taken) {
  for (let turn = 0; ; turn += 1) {
    for (const letter of "ABCDEFGHIJKLMNOPQRSTUVWXYZ") {
      const name = turn === 0 ? letter : `${letter}${turn + 1}`;
      if (!taken.includes(name)) return name;
    }
  }
}
