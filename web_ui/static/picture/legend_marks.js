/** The marks of the picture, drawn once more for the legend: as `shared/live_picture.py` draws them, in blocks of 2 x 2 pixels. */

const BLOCK_PX = 2;
const PERIOD = 8;

/**
 * Luma of a saturated block.
 *
 * @param {number} row
 * @param {number} column
 */
export function stripe(row, column) {
  return (row + column) % PERIOD < PERIOD / 2 ? 255 : 30;
}

/**
 * Luma of a block that is too dark to tell; null where the picture shows through.
 *
 * @param {number} row
 * @param {number} column
 */
export function dot(row, column) {
  if (row % 4 !== 0) return null;
  const place = (column + 4 * ((row >> 2) % 2)) % PERIOD;
  if (place === 0) return 165;
  return place === 1 ? 55 : null;
}

/**
 * Luma of a block whose percentage is too uncertain; null where the grey picture shows through.
 *
 * @param {number} row
 * @param {number} column
 */
export function dash(row, column) {
  if ((column + 4 * ((row >> 2) % 2)) % PERIOD >= 5) return null;
  if (row % 4 === 1) return 185;
  return row % 4 === 2 ? 45 : null;
}

/**
 * @param {HTMLCanvasElement} swatch
 * @param {(row: number, column: number) => number | null} luma
 */
export function drawMark(swatch, luma) {
  const paper = swatch.getContext("2d");
  if (paper === null) return;
  paper.fillStyle = "rgb(40 40 40)";
  paper.fillRect(0, 0, swatch.width, swatch.height);
  for (let row = 0; row * BLOCK_PX < swatch.height; row += 1) {
    for (let column = 0; column * BLOCK_PX < swatch.width; column += 1) {
      const level = luma(row, column);
      if (level === null) continue;
      paper.fillStyle = `rgb(${level} ${level} ${level})`;
      paper.fillRect(column * BLOCK_PX, row * BLOCK_PX, BLOCK_PX, BLOCK_PX);
    }
  }
}
