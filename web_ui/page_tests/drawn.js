/**
 * Many cases drawn at random, the same in every run, for tests of what must hold in all of them.
 *
 * @typedef {{number: (low: number, high: number) => number, whole: (low: number, high: number) => number, bool: () => boolean}} Draw
 */

/**
 * @param {number} cases
 * @param {(draw: Draw) => void} holds
 */
export function drawn(cases, holds) {
  // mulberry32, a well-known small generator in the public domain (from memory)
  let state = 0x9e3779b9;
  const next = () => {
    state = (state + 0x6d2b79f5) | 0;
    let mixed = Math.imul(state ^ (state >>> 15), 1 | state);
    mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed;
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
  };
  const number = (/** @type {number} */ low, /** @type {number} */ high) => low + next() * (high - low);
  const whole = (/** @type {number} */ low, /** @type {number} */ high) => Math.floor(number(low, high + 1));
  for (let turn = 0; turn < cases; turn += 1) holds({ number, whole, bool: () => next() < 0.5 });
}
