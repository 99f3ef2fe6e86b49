import { words } from "../page/words.js";

/** A picture older than this is not live, in ms. */
export const STALE_AFTER_MS = 500;

/**
 * Age of the picture on the screen. Two clocks are asked because the steady one stands still while some tablets sleep, and the
 * wall clock may be set back; the older answer counts.
 */
export class Freshness {
  /**
   * @param {() => number} steadyMs
   * @param {() => number} wallMs
   */
  constructor(steadyMs = () => performance.now(), wallMs = () => Date.now()) {
    this.steadyMs = steadyMs;
    this.wallMs = wallMs;
    /** @type {{ageMs: number, steady: number, wall: number} | null} */
    this.shown = null;
  }

  /** Both clocks now: taken when a message arrives, kept with its picture. */
  stamp() {
    return { steady: this.steadyMs(), wall: this.wallMs() };
  }

  /**
   * A picture is on the screen; `ageMs` was its age when it arrived at `received`.
   *
   * @param {number} ageMs
   * @param {{steady: number, wall: number}} received
   */
  drawn(ageMs, received) {
    this.shown = { ageMs, ...received };
  }

  /** There is no picture whose age is known. */
  lost() {
    this.shown = null;
  }

  /** @returns {number | null} age in ms, null when there has been no picture */
  ageMs() {
    if (this.shown === null) return null;
    const since = Math.max(this.steadyMs() - this.shown.steady, this.wallMs() - this.shown.wall, 0);
    return this.shown.ageMs + since;
  }
}

/**
 * @param {number | null} ageMs
 * @param {boolean} connected whether the device answers at all
 */
export function isLive(ageMs, connected) {
  return connected && ageMs !== null && ageMs <= STALE_AFTER_MS;
}

/**
 * Words for the band over a picture that is not live.
 *
 * @param {number | null} ageMs
 */
export function notLiveText(ageMs) {
  if (ageMs === null) return words("picture-not-live-yet");
  const seconds = Math.max(1, Math.floor(ageMs / 1000));
  if (seconds < 120) return words("picture-not-live-seconds", { seconds: String(seconds) });
  return words("picture-not-live-minutes", { minutes: String(Math.floor(seconds / 60)) });
}
