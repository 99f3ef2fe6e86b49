import { element, write } from "../page/element.js";
import { durationText } from "../page/moment_text.js";

/** From here on the clock has six digits. */
const LONG_S = 6000;

/** Time since the dye went in, in the button that started it: as large as the button, readable from two metres. */
export class DyeClock {
  constructor() {
    this.button = element("act-dye");
    this.clock = element("dye-clock");
  }

  /** @param {number | null} since_s null: no dye yet, or not known */
  show(since_s) {
    this.button.classList.toggle("runs", since_s !== null);
    this.clock.classList.toggle("long", (since_s ?? 0) >= LONG_S);
    this.clock.hidden = since_s === null;
    if (since_s !== null) write(this.clock, durationText(since_s));
  }
}
