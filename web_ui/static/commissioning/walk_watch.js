/** @import { Page } from "../page/place.js" */
/** @import { DeviceState } from "../page/device_state.js" */

import { ask } from "../page/device_api.js";

const SAY_EVERY_MS = 1000;

/**
 * Tells the device that someone watches the walk that this tablet began, as long as the page is in sight. When that ends, so does the
 * walk, its light first: a ring must not light where nobody could stop it.
 */
export class WalkWatch {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    this.own = false;
    this.timer = 0;
    page.onState((state) => this.heard(state));
    document.addEventListener("visibilitychange", () => this.say());
  }

  /** This tablet has begun a walk. */
  begun() {
    this.own = true;
    if (this.timer === 0) this.timer = window.setInterval(() => this.say(), SAY_EVERY_MS);
  }

  /** @param {DeviceState | null} state */
  heard(state) {
    if (this.own && state !== null && state.walk !== undefined && !(state.walk?.running ?? false)) this.ended();
  }

  ended() {
    this.own = false;
    clearInterval(this.timer);
    this.timer = 0;
  }

  say() {
    if (!this.own || document.hidden) return;
    // a word that does not arrive is as good as none: the device then ends the walk
    ask("PUT", "/commissioning/walk").catch(() => {});
  }
}
