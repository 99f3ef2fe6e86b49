/**
 * Percentages to write at the scale: every 20, and every 50 where the scale is long.
 *
 * @param {number} fullScale
 */
export function legendTicks(fullScale) {
  const step = fullScale > 160 ? 50 : 20;
  const ticks = [];
  for (let percent = 0; percent <= fullScale; percent += step) ticks.push(percent);
  return ticks;
}

/** @param {number[]} contours */
export function contourWords(contours) {
  return contours.length === 0 ? "no contours" : `lines at ${contours.map((percent) => Math.round(percent)).join(", ")} %`;
}
