/** Keeps the screen on where the browser allows it; where it does not (battery low), the tablet sleeps as its owner set it. */
export class WakeLock {
  constructor() {
    this.wanted = false;
    /** @type {WakeLockSentinel | null} */
    this.lock = null;
    // a browser takes it away from a page that is not in sight
    document.addEventListener("visibilitychange", () => void this.settle());
  }

  /** @param {boolean} wanted */
  want(wanted) {
    this.wanted = wanted;
    void this.settle();
  }

  async settle() {
    if (!this.wanted) {
      await this.lock?.release();
      this.lock = null;
    } else if (!document.hidden && (this.lock === null || this.lock.released)) {
      this.lock = (await navigator.wakeLock?.request("screen").catch(() => null)) ?? null;
      if (!this.wanted) await this.settle();
    }
  }
}
