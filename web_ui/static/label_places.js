/**
 * Where the values stand: right of their region, left where there is no room, and never on one another; on no region where that can be.
 *
 * @typedef {{left: number, top: number, right: number, bottom: number}} Box
 * @typedef {{left: number, width: number, height: number}} Room
 * @typedef {{box: Box, width: number, height: number}} Label
 */

const GAP = 6;

/**
 * @param {Label[]} labels region boxes and label sizes, in CSS pixels
 * @param {Room} room where they may stand
 * @returns {{x: number, y: number}[]} top left corner of each label
 */
export function labelPlaces(labels, room) {
  const regions = labels.map(({ box }) => box);
  /** @type {Box[]} */
  const taken = [];
  return labels.map((label) => {
    const place = freePlace(label, room, taken, regions);
    taken.push({ left: place.x, top: place.y, right: place.x + label.width, bottom: place.y + label.height });
    return place;
  });
}

/**
 * @param {Label} label
 * @param {Room} room
 * @param {Box[]} taken
 * @param {Box[]} regions
 */
function freePlace({ box, width, height }, room, taken, regions) {
  const middle = (box.top + box.bottom - height) / 2;
  const leftmost = room.left;
  const rightmost = room.left + room.width - width;
  const centre = Math.min(Math.max((box.left + box.right - width) / 2, leftmost), rightmost);
  const wishes = [
    { x: box.right + GAP, y: middle },
    { x: box.left - GAP - width, y: middle },
    { x: centre, y: box.bottom + GAP },
    { x: centre, y: box.top - GAP - height },
    { x: rightmost, y: box.bottom + GAP },
    { x: leftmost, y: box.bottom + GAP },
    { x: rightmost, y: box.top - GAP - height },
    { x: leftmost, y: box.top - GAP - height },
    { x: centre, y: box.bottom + 2 * GAP + height },
    { x: centre, y: box.top - 2 * GAP - 2 * height },
  ];
  const inside = wishes.filter(({ x, y }) => x >= room.left && y >= 0 && x + width <= room.left + room.width && y + height <= room.height);
  const clear = inside.filter((place) => !taken.some((other) => overlaps(place, width, height, other)));
  const free = clear.find((place) => !regions.some((other) => overlaps(place, width, height, other))) ?? clear[0];
  if (free) return free;
  const first = inside[0] ?? wishes[0] ?? { x: 0, y: 0 };
  return {
    x: Math.min(Math.max(first.x, room.left), Math.max(room.left + room.width - width, room.left)),
    y: Math.min(Math.max(first.y, 0), Math.max(room.height - height, 0)),
  };
}

/**
 * @param {{x: number, y: number}} place
 * @param {number} width
 * @param {number} height
 * @param {Box} other
 */
function overlaps({ x, y }, width, height, other) {
  return x < other.right && x + width > other.left && y < other.bottom && y + height > other.top;
}
