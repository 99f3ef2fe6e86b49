/**
 * From the picture as shown to the sensor's pixels and back. Side by side, both halves show the same part of the sensor, each at half
 * size.
 *
 * @typedef {{x: number, y: number, width: number, height: number}} Window the part of the sensor that is shown, in its pixels
 *
 * @typedef {object} Shape
 * @property {number} width sensor
 * @property {number} height
 * @property {boolean} sideBySide
 * @property {Window | null} [window] null or none: all of it
 *
 * @typedef {{x: number, y: number}} Point
 */

/** Closer than this the picture shows no more than it has. */
export const MOST_ZOOM = 8;

/**
 * @param {Shape} shape
 * @returns {Window}
 */
export function windowOf({ width, height, window }) {
  return window ?? { x: 0, y: 0, width, height };
}

/**
 * Sensor pixel under a point of the picture.
 *
 * @param {Shape} shape
 * @param {Point} at share of the shown picture, 0 to 1 each way
 * @param {number} [half] 0 left, 1 right: the half a drag began in; by default the one under the point
 * @returns {Point} whole numbers inside the sensor
 */
export function sensorPoint(shape, at, half) {
  const point = sensorPlace(shape, at, half);
  return { x: clamped(Math.floor(point.x), shape.width), y: clamped(Math.floor(point.y), shape.height) };
}

/**
 * The same, between the pixels and also outside.
 *
 * @param {Shape} shape
 * @param {Point} at
 * @param {number} [half]
 * @returns {Point}
 */
export function sensorPlace(shape, at, half = halfAt(shape, at)) {
  const { x, y, width, height } = windowOf(shape);
  const across = shape.sideBySide ? at.x * 2 - half : at.x;
  return { x: x + across * width, y: y + at.y * height };
}

/**
 * Where a place of the sensor is shown: the inverse.
 *
 * @param {Shape} shape
 * @param {Point} place in sensor pixels
 * @param {number} half
 * @returns {Point} share of the shown picture; outside 0 to 1 where it is out of sight
 */
export function shownPoint(shape, place, half) {
  const { x, y, width, height } = windowOf(shape);
  const across = (place.x - x) / width;
  return { x: shape.sideBySide ? (across + half) / 2 : across, y: (place.y - y) / height };
}

/**
 * @param {Shape} shape
 * @param {Point} at share of the shown picture
 */
export function halfAt(shape, at) {
  return shape.sideBySide && at.x >= 0.5 ? 1 : 0;
}

/**
 * Width over height of the picture as shown.
 *
 * @param {Shape} shape
 */
export function aspect(shape) {
  return (shape.width / shape.height) * (shape.sideBySide ? 2 : 1);
}

/**
 * Where each copy of the sensor lies in the shown picture, as shares of its width: one, or two side by side.
 *
 * @param {Shape} shape
 * @returns {{left: number, width: number}[]}
 */
export function copies(shape) {
  if (!shape.sideBySide) return [{ left: 0, width: 1 }];
  return [
    { left: 0, width: 0.5 },
    { left: 0.5, width: 0.5 },
  ];
}

/**
 * The window in which two places of the sensor lie under two fingers: as near to that as the sensor's edges and the zoom allow.
 *
 * @param {Shape} shape
 * @param {[Point, Point]} held the places, in sensor pixels
 * @param {[Point, Point]} fingers shares of the shown picture
 * @param {number} half in which the fingers began
 * @returns {Window}
 */
export function windowUnder(shape, held, fingers, half) {
  // within one copy, so that a share is the same length of the sensor whether or not there are two
  const [a, b] = fingers.map((finger) => ({ x: shape.sideBySide ? finger.x * 2 - half : finger.x, y: finger.y }));
  if (a === undefined || b === undefined) return windowOf(shape);
  const apart = Math.hypot((a.x - b.x) * shape.width, (a.y - b.y) * shape.height);
  const wanted = Math.hypot(held[0].x - held[1].x, held[0].y - held[1].y);
  const zoom = Math.min(Math.max(apart / Math.max(wanted, 1e-6), 1), MOST_ZOOM);
  const [width, height] = [shape.width / zoom, shape.height / zoom];
  const x = (held[0].x + held[1].x) / 2 - ((a.x + b.x) / 2) * width;
  const y = (held[0].y + held[1].y) / 2 - ((a.y + b.y) / 2) * height;
  return inside(shape, { x, y, width, height });
}

/**
 * The window so many times closer, with one place of the sensor where it was.
 *
 * @param {Shape} shape
 * @param {number} factor
 * @param {Point} [about] in sensor pixels; by default the middle
 * @returns {Window}
 */
export function windowCloser(shape, factor, about) {
  const now = windowOf(shape);
  const zoom = Math.min(Math.max((shape.width / now.width) * factor, 1), MOST_ZOOM);
  const [width, height] = [shape.width / zoom, shape.height / zoom];
  const still = about ?? { x: now.x + now.width / 2, y: now.y + now.height / 2 };
  const x = still.x - ((still.x - now.x) / now.width) * width;
  const y = still.y - ((still.y - now.y) / now.height) * height;
  return inside(shape, { x, y, width, height });
}

/**
 * The window moved over the sensor.
 *
 * @param {Shape} shape
 * @param {number} dx in sensor pixels
 * @param {number} dy
 */
export function windowMoved(shape, dx, dy) {
  const now = windowOf(shape);
  return inside(shape, { ...now, x: now.x + dx, y: now.y + dy });
}

/**
 * @param {Shape} shape
 * @param {Window} window
 * @returns {Window}
 */
function inside(shape, { x, y, width, height }) {
  return { x: Math.min(Math.max(x, 0), shape.width - width), y: Math.min(Math.max(y, 0), shape.height - height), width, height };
}

/**
 * @param {number} value
 * @param {number} size
 */
function clamped(value, size) {
  return Math.min(Math.max(value, 0), size - 1);
}
