/**
 * Where the values stand: right of their region, left where there is no room, else at the nearest place that is free. Never on one
 * another while there is room, and on no region where that can be.
 *
 * @typedef {{left: number, top: number, right: number, bottom: number}} Box
 * @typedef {{left: number, width: number, height: number}} Room
 * @typedef {{box: Box, width: number, height: number}} Label
 * @typedef {{x: number, y: number}} Place
 */

const GAP = 6;

/** Standing on another region costs as much as standing so far away, in CSS pixels. */
const ON_A_REGION_COSTS = 120;

/** Standing on another value costs more than any distance. */
const ON_A_VALUE_COSTS = 10_000;

/**
 * @param {Label[]} labels region boxes and label sizes, in CSS pixels
 * @param {Room} room where they may stand
 * @returns {Place[]} top left corner of each label
 */
export function labelPlaces(labels, room) {
  const regions = labels.map(({ box }) => box);
  /** @type {Box[]} */
  const taken = [];
  return labels.map((label) => {
    const place = bestPlace(label, room, taken, regions);
    taken.push(boxOf(label, place));
    return place;
  });
}

/**
 * A line from a region to its value, where the value stands so far off that one could wonder whose it is; else null.
 *
 * @param {Label} label
 * @param {Place} place
 * @returns {[Place, Place] | null}
 */
export function leader(label, place) {
  const { box } = label;
  const value = boxOf(label, place);
  if (distance(value, box) <= 2 * GAP) return null;
  const start = { x: (box.left + box.right) / 2, y: (box.top + box.bottom) / 2 };
  const end = nearestIn(value, start);
  return [nearestIn(box, end), end];
}

/**
 * @param {Label} label
 * @param {Room} room
 * @param {Box[]} taken
 * @param {Box[]} regions
 */
function bestPlace(label, room, taken, regions) {
  let best = { x: room.left, y: 0 };
  let least = Infinity;
  for (const place of candidates(label, room, [...taken, ...regions])) {
    const own = boxOf(label, place);
    const cost =
      Math.max(GAP, distance(own, label.box)) +
      ON_A_REGION_COSTS * regions.filter((other) => overlaps(own, other)).length +
      ON_A_VALUE_COSTS * taken.filter((other) => overlaps(own, other)).length;
    if (cost < least) [best, least] = [place, cost];
  }
  return best;
}

/**
 * Beside, below and above the region, and the same beside, below and above everything else; those wished for most come first.
 *
 * @param {Label} label
 * @param {Room} room
 * @param {Box[]} others
 * @returns {Place[]}
 */
function candidates({ box, width, height }, room, others) {
  const rightmost = Math.max(room.left, room.left + room.width - width);
  const lowest = Math.max(0, room.height - height);
  const middle = clamped((box.top + box.bottom - height) / 2, 0, lowest);
  const centre = clamped((box.left + box.right - width) / 2, room.left, rightmost);
  /** @param {Box} one */
  const beside = ({ left, right }) => [right + GAP, left - GAP - width];
  /** @param {Box} one */
  const belowAndAbove = ({ top, bottom }) => [bottom + GAP, top - GAP - height];
  const xs = [...beside(box), centre, ...others.flatMap(beside), room.left, rightmost];
  const ys = [middle, ...belowAndAbove(box), ...others.flatMap(belowAndAbove), 0, lowest];
  const inside = ({ x = 0, y = 0 }) => x >= room.left && x <= rightmost && y >= 0 && y <= lowest;
  return ys.flatMap((y) => xs.map((x) => ({ x, y }))).filter(inside);
}

/**
 * @param {{width: number, height: number}} size
 * @param {Place} place
 * @returns {Box}
 */
function boxOf({ width, height }, { x, y }) {
  return { left: x, top: y, right: x + width, bottom: y + height };
}

/**
 * @param {Box} one
 * @param {Box} other
 */
function overlaps(one, other) {
  return one.left < other.right && one.right > other.left && one.top < other.bottom && one.bottom > other.top;
}

/**
 * Between their nearest edges; 0 where they touch.
 *
 * @param {Box} one
 * @param {Box} other
 */
function distance(one, other) {
  const across = Math.max(0, other.left - one.right, one.left - other.right);
  const down = Math.max(0, other.top - one.bottom, one.top - other.bottom);
  return Math.hypot(across, down);
}

/**
 * @param {Box} box
 * @param {Place} to
 * @returns {Place}
 */
function nearestIn(box, to) {
  return { x: clamped(to.x, box.left, box.right), y: clamped(to.y, box.top, box.bottom) };
}

/**
 * @param {number} value
 * @param {number} least
 * @param {number} most
 */
function clamped(value, least, most) {
  return Math.min(Math.max(value, least), most);
}
