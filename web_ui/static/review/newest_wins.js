/**
 * Fetches one thing at a time; of what was asked for meanwhile only the newest, so that a slow device is never flooded.
 *
 * @template Asked
 */
export class NewestWins {
  /** @param {(asked: Asked) => Promise<void>} fetchIt */
  constructor(fetchIt) {
    this.fetchIt = fetchIt;
    this.busy = false;
    /** @type {Asked | null} */
    this.waiting = null;
  }

  /** @param {Asked} asked */
  ask(asked) {
    this.waiting = asked;
    void this.work();
  }

  /** Nothing more is fetched until `ask` is called again. */
  forget() {
    this.waiting = null;
  }

  async work() {
    if (this.busy) return;
    this.busy = true;
    try {
      while (this.waiting !== null) {
        const asked = this.waiting;
        this.waiting = null;
        await this.fetchIt(asked);
      }
    } finally {
      this.busy = false;
    }
  }
}
