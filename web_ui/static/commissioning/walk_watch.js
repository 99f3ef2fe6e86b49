/** @import { DeviceState } from "../page/device_state.js" */

/** How often it is said that someone watches; the device waits five seconds. */
export const SAY_EVERY_MS = 1000;

/**
 * @typedef {object} Ways
 * @property {() => Promise<unknown>} say
 * @property {(run: () => void, ms: number) => () => void} repeat runs again and again until the returned function is called
 * @property {() => boolean} inSight whether the page is on the screen
 */

/**
 * Tells the device that someone watches the walk that this tablet began, as long as the page is in sight. When that ends, so does the
 * walk, its light first: a ring must not light where nobody could stop it.
 */
export class WalkWatch {
  /** @param {Ways} ways */
  constructor(ways) {
    this.ways = ways;
    /** @type {(() => void) | null} */
    this.stopSaying = null;
    this.startedAt = "";
    this.seen = false;
  }

  /** This tablet has begun a walk. @param {string} startedAt as the device tells of it */
  begun(startedAt) {
    this.startedAt = startedAt;
    this.seen = false;
    this.stopSaying ??= this.ways.repeat(() => this.say(), SAY_EVERY_MS);
  }

  /** @param {DeviceState | null} state may have been on its way since before the walk began */
  heard(state) {
    if (state === null || this.stopSaying === null) return;
    const walk = state.walk ?? null;
    const own = walk?.started_at === this.startedAt;
    if (own && walk?.running) this.seen = true;
    else if (own || this.seen) this.ended();
  }

  ended() {
    this.stopSaying?.();
    this.stopSaying = null;
  }

  say() {
    // a word that does not arrive is as good as none: the device then ends the walk
    if (this.ways.inSight()) this.ways.say().catch(() => {});
  }
}
