/** How fast a recording plays; the first is its own time. */
export const SPEEDS = [1, 4];

/** Where a recording stands while it plays, stops, or is scrubbed. Knows no clock of its own. */
export class Playback {
  /** @param {number} length_s */
  constructor(length_s) {
    this.length_s = length_s;
    this.at_s = 0;
    this.speed = 1;
    this.since = /** @type {number | null} */ (null);
  }

  get playing() {
    return this.since !== null;
  }

  /** From the beginning where it had come to its end. @param {number} now_ms */
  play(now_ms) {
    if (this.at_s >= this.length_s - 1e-3) this.at_s = 0;
    this.since = now_ms;
  }

  /** @param {number} now_ms */
  pause(now_ms) {
    this.look(now_ms);
    this.since = null;
  }

  /** @param {number} now_ms @param {number} speed */
  setSpeed(now_ms, speed) {
    this.look(now_ms);
    this.speed = speed;
  }

  /** @param {number} now_ms @param {number} at_s */
  go(now_ms, at_s) {
    this.at_s = Math.min(Math.max(at_s, 0), this.length_s);
    if (this.since !== null) this.since = now_ms;
  }

  /** Where it is now; it stops by itself at the end. @param {number} now_ms */
  look(now_ms) {
    if (this.since !== null) {
      this.at_s += ((now_ms - this.since) / 1000) * this.speed;
      this.since = now_ms;
      if (this.at_s >= this.length_s) {
        this.at_s = this.length_s;
        this.since = null;
      }
    }
    return this.at_s;
  }
}
