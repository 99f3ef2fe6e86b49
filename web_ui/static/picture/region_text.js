/**
 * A named area in sensor pixels, written as on the command line: `tip:10,20,30,40`, `tip:polygon:1,1,9,1,5,9`, or
 * `vessel:line:5,1,1,9,9`, which is five pixels wide.
 *
 * @typedef {object} Region
 * @property {string} name
 * @property {"rectangle" | "polygon" | "line"} shape
 * @property {number[]} numbers x, y, width, height; x1, y1, x2, y2, ...; or a line's width and then its points
 *
 * @typedef {{x: number, y: number}} Point
 */

const NAME = /^[\p{L}\p{N}][\p{L}\p{N}_ .-]{0,39}$/u;

/** Side of the square that a touch makes, as a share of the picture's width. */
const TOUCH_SHARE = 0.045;

/** How wide a line along a vessel is where the scale is known, in mm; else as a share of the picture's width (our choice, no source). */
const LINE_MM = 3;
const LINE_SHARE = 0.008;

/**
 * @param {string} text
 * @returns {Region}
 */
export function parsedRegion(text) {
  const colon = text.indexOf(":");
  const name = text.slice(0, colon);
  const rest = text.slice(colon + 1);
  const shape = rest.startsWith("polygon:") ? "polygon" : rest.startsWith("line:") ? "line" : "rectangle";
  const numbers = rest
    .slice(rest.indexOf(":") + 1)
    .split(",")
    .map(Number);
  return { name, shape, numbers };
}

/** @param {Region} region */
export function regionText(region) {
  return `${region.name}:${placeText(region)}`;
}

/** The same without the name: what two regions of one place have in common. @param {Region} region */
export function placeText({ shape, numbers }) {
  return `${shape === "rectangle" ? "" : `${shape}:`}${numbers.join(",")}`;
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
 * @param {string} name
 * @param {Point[]} points at least three
 * @returns {Region}
 */
export function polygonOf(name, points) {
  return { name, shape: "polygon", numbers: points.flatMap(({ x, y }) => [x, y]) };
}

/**
 * @param {string} name
 * @param {Point[]} points at least two
 * @param {number} width_px
 * @returns {Region}
 */
export function lineAlong(name, points, width_px) {
  return { name, shape: "line", numbers: [width_px, ...points.flatMap(({ x, y }) => [x, y])] };
}

/**
 * How many pixels wide a new line is.
 *
 * @param {number} sensorWidth
 * @param {number | null} mmPerPx null where the scale was not measured
 */
export function lineWidthPx(sensorWidth, mmPerPx) {
  return Math.max(3, Math.round(mmPerPx === null ? sensorWidth * LINE_SHARE : LINE_MM / mmPerPx)) | 1;
}

/**
 * The same region elsewhere, its middle at a point and all of it inside the sensor where it fits.
 *
 * @param {Region} region
 * @param {Point} to
 * @param {{width: number, height: number}} sensor
 * @returns {Region}
 */
export function movedTo(region, to, sensor) {
  const { left, top, right, bottom } = bounds(region);
  const dx = Math.round(Math.min(Math.max(to.x - (left + right) / 2, -left), Math.max(sensor.width - right, -left)));
  const dy = Math.round(Math.min(Math.max(to.y - (top + bottom) / 2, -top), Math.max(sensor.height - bottom, -top)));
  const { shape, numbers } = region;
  if (shape === "rectangle") return { ...region, numbers: [(numbers[0] ?? 0) + dx, (numbers[1] ?? 0) + dy, ...numbers.slice(2)] };
  const first = shape === "line" ? 1 : 0;
  return { ...region, numbers: numbers.map((number, index) => (index < first ? number : number + ((index - first) % 2 === 0 ? dx : dy))) };
}

/**
 * Corners of an outline, or the points of a line.
 *
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
  for (let i = shape === "line" ? 1 : 0; i + 1 < numbers.length; i += 2) points.push({ x: numbers[i] ?? 0, y: numbers[i + 1] ?? 0 });
  return points;
}

/**
 * @param {Region} region
 * @returns {{left: number, top: number, right: number, bottom: number}}
 */
export function bounds(region) {
  const points = corners(region);
  const reach = region.shape === "line" ? (region.numbers[0] ?? 0) / 2 : 0;
  const xs = points.map((point) => point.x);
  const ys = points.map((point) => point.y);
  return { left: Math.min(...xs) - reach, top: Math.min(...ys) - reach, right: Math.max(...xs) + reach, bottom: Math.max(...ys) + reach };
}

/**
 * The region a finger means: the smallest whose box, grown by the finger's width, holds the point; of a line the line itself.
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
    const region = parsedRegion(text);
    const box = bounds(region);
    const inside =
      at.x >= box.left - fingerPx && at.x <= box.right + fingerPx && at.y >= box.top - fingerPx && at.y <= box.bottom + fingerPx;
    const area = (box.right - box.left) * (box.bottom - box.top);
    const isMeant = inside && (region.shape !== "line" || distanceToLine(corners(region), at) <= (region.numbers[0] ?? 0) / 2 + fingerPx);
    if (isMeant && area < bestArea) [best, bestArea] = [text, area];
  }
  return best;
}

/**
 * @param {Point[]} points
 * @param {Point} at
 */
export function distanceToLine(points, at) {
  let least = Infinity;
  for (const [index, to] of points.entries()) {
    const from = points[Math.max(index - 1, 0)] ?? to;
    const length2 = (to.x - from.x) ** 2 + (to.y - from.y) ** 2;
    const along = ((at.x - from.x) * (to.x - from.x) + (at.y - from.y) * (to.y - from.y)) / Math.max(length2, 1e-9);
    const share = Math.min(Math.max(along, 0), 1);
    least = Math.min(least, Math.hypot(at.x - from.x - share * (to.x - from.x), at.y - from.y - share * (to.y - from.y)));
  }
  return least;
}

/**
 * A path drawn by a finger with as few points as tell it to within `off` (Ramer 1972; Douglas and Peucker 1973).
 *
 * @param {Point[]} path
 * @param {number} off
 * @returns {Point[]}
 */
export function simplified(path, off) {
  const [first, last] = [path[0], path.at(-1)];
  if (first === undefined || last === undefined || path.length < 3) return path;
  let worst = 0;
  let at = 0;
  for (let index = 1; index < path.length - 1; index += 1) {
    const distance = distanceToLine([first, last], path[index] ?? first);
    if (distance > worst) [worst, at] = [distance, index];
  }
  if (worst <= off) return [first, last];
  return [...simplified(path.slice(0, at + 1), off).slice(0, -1), ...simplified(path.slice(at), off)];
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
