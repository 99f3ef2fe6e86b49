/** @import { Shape } from "./picture_geometry.js" */

import { aspect } from "./picture_geometry.js";

/** @type {WeakMap<HTMLElement, ResizeObserver>} */
const watched = new WeakMap();

/**
 * Keeps the picture as large as its stage allows, at its own aspect: overlays then share its box exactly.
 *
 * @param {HTMLElement} stage
 * @param {HTMLElement} picture
 * @param {() => Shape | null} shape
 */
export function fitPicture(stage, picture, shape) {
  const fit = () => {
    const ratio = aspect(shape() ?? { width: 4, height: 3, sideBySide: false });
    const width = Math.floor(Math.min(stage.clientWidth, stage.clientHeight * ratio));
    picture.style.width = `${width}px`;
    picture.style.height = `${Math.floor(width / ratio)}px`;
  };
  if (!watched.has(stage)) {
    const observer = new ResizeObserver(fit);
    observer.observe(stage);
    watched.set(stage, observer);
  }
  fit();
}
