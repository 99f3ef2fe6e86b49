/**
 * From the picture as shown to the sensor's pixels and back. Side by side, both halves show the whole sensor, each at half size.
 *
 * @typedef {object} Shape
 * @property {number} width sensor
 * @property {number} height
 * @property {boolean} sideBySide
 *
 * @typedef {{x: number, y: number}} Point
 */

/**
 * Sensor pixel under a point of the picture.
 *
 * @param {Shape} shape
 * @param {Point} at share of the shown picture, 0 to 1 each way
 * @param {number} [half] 0 left, 1 right: the half a drag began in; by default the one under the point
 * @returns {Point} whole numbers inside the sensor
 */
export function sensorPoint(shape, at, half) {
  let across = at.x;
  if (shape.sideBySide) across = at.x * 2 - (half ?? halfAt(shape, at));
  return {
    x: clamped(Math.floor(across * shape.width), shape.width),
    y: clamped(Math.floor(at.y * shape.height), shape.height),
  };
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
 * @param {number} value
 * @param {number} size
 */
function clamped(value, size) {
  return Math.min(Math.max(value, 0), size - 1);
}
