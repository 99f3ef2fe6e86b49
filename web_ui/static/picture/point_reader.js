/** @typedef {{x: number, y: number}} Share of a picture, 0 to below 1 each way */

/** A picture that is read under a finger, or by the arrow keys; a ring stands where it was read. */
export class PointReader {
  /**
   * @param {HTMLElement} frame just round the picture
   * @param {(share: Share) => void} read
   */
  constructor(frame, read) {
    this.frame = frame;
    this.read = read;
    this.cross = { x: 0.5, y: 0.5 };
    this.ring = document.createElement("span");
    this.ring.className = "point-ring";
    this.ring.setAttribute("aria-hidden", "true");
    this.ring.hidden = true;
    frame.classList.add("point-frame");
    frame.tabIndex = 0;
    frame.append(this.ring);
    const at = (/** @type {PointerEvent} */ event) => {
      if (event.type === "pointermove" && event.buttons === 0) return;
      const box = frame.getBoundingClientRect();
      this.at({ x: within((event.clientX - box.left) / box.width), y: within((event.clientY - box.top) / box.height) });
    };
    frame.addEventListener("pointerdown", at);
    frame.addEventListener("pointermove", at);
    frame.addEventListener("keydown", (event) => this.key(event));
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    const step = event.shiftKey ? 0.1 : 0.02;
    /** @type {Record<string, [number, number]>} */
    const ways = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
    const way = ways[event.key];
    if (way === undefined) return;
    event.preventDefault();
    this.at({ x: within(this.cross.x + way[0]), y: within(this.cross.y + way[1]) });
  }

  /** @param {Share} share */
  at(share) {
    this.place(share);
    this.read(share);
  }

  /** Without reading: another picture of the same view was. @param {Share} share */
  place(share) {
    this.cross = share;
    this.ring.hidden = false;
    this.frame.style.setProperty("--x", String(share.x));
    this.frame.style.setProperty("--y", String(share.y));
  }

  forget() {
    this.ring.hidden = true;
  }
}

/** @param {number} share */
function within(share) {
  return Math.min(Math.max(share, 0), 0.999);
}
