/**
 * Light while a finger holds the button. The device drops the light by itself one second after the last word from here; this says
 * `on` while held and `off` at once when not, and never leaves an `on` on its way behind an `off`. Each press has a number of its
 * own, by which the device knows an `on` that its `off` has overtaken.
 */

/** How often a held button says so again. */
export const REPEAT_MS = 300;

const OFF_TRIES = 3;

/** So many words in a row that did not arrive are longer than the second after which the device ends the light. */
const LOST_WORDS = 4;

/** Random, so that no two tablets share one; 0 is nobody's. */
const newNumber = () => 1 + Math.floor(Math.random() * (Number.MAX_SAFE_INTEGER - 1));

/**
 * @typedef {object} Ways
 * @property {(act: "on" | "off", press: number, aborted: AbortSignal | null) => Promise<void>} send
 * @property {(run: () => void, ms: number) => () => void} repeat runs again and again until the returned function is called
 * @property {(error: unknown) => void} failed
 * @property {() => void} unanswered words went out, and nothing came back: neither an answer nor an error
 * @property {() => void} ended it holds nothing any more, though nobody let go
 */

export class LightHold {
  /** @param {Ways} ways */
  constructor(ways) {
    this.ways = ways;
    this.held = false;
    this.number = 0;
    /** @type {AbortController | null} */
    this.onTheWay = null;
    this.lost = 0;
    this.stopRepeating = () => {};
  }

  press() {
    if (this.held) return;
    this.held = true;
    this.number = newNumber();
    this.lost = 0;
    this.sayOn();
    this.stopRepeating = this.ways.repeat(() => this.sayOn(), REPEAT_MS);
  }

  /** Safe to call at any time, any number of times. */
  release() {
    if (!this.held) return;
    this.held = false;
    this.stopRepeating();
    const late = this.onTheWay;
    late?.abort();
    void this.sayOff(this.number, OFF_TRIES);
  }

  /** The device will not hear this finger: it holds nothing any more, and only its next press asks again. */
  end() {
    this.held = false;
    this.stopRepeating();
  }

  /** The light is out for want of words, and comes back by a press of its own only, though the finger stays. */
  giveUp() {
    this.end();
    this.ways.ended();
  }

  /** One more word in a row that did not arrive. */
  lose() {
    this.lost += 1;
    if (this.lost >= LOST_WORDS) this.giveUp();
  }

  sayOn() {
    // one at a time: a slow network must not pile up words that arrive after the finger has left
    if (!this.held) return;
    if (this.onTheWay !== null) {
      this.lose();
      if (this.held) return;
      this.onTheWay.abort();
      this.ways.unanswered();
      return;
    }
    const onTheWay = new AbortController();
    const number = this.number;
    this.onTheWay = onTheWay;
    this.ways
      .send("on", this.number, onTheWay.signal)
      .then(() => {
        this.lost = 0;
      })
      .catch((error) => {
        if (onTheWay.signal.aborted) return;
        this.ways.failed(error);
        this.lose();
      })
      .finally(() => {
        this.onTheWay = null;
        // an abort does not call back what the network already carries: say off once more behind it
        if (onTheWay.signal.aborted && !this.held) void this.sayOff(number, 1);
      });
  }

  /** @param {number} number @param {number} tries */
  async sayOff(number, tries) {
    try {
      await this.ways.send("off", number, null);
    } catch (error) {
      if (tries > 1 && !this.held) await this.sayOff(number, tries - 1);
      else if (!this.held) this.ways.failed(error);
    }
  }
}
