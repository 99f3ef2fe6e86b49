/** So many answers are looked at: the two clocks drift apart by less than anybody notices in that time. */
const KEPT = 8;

/**
 * How long pictures were on their way. The device says at which moment of its own clock a picture was taken and how old it was when
 * it left; a question now and then tells how far that clock is ahead of the page's. The device answered after it was asked, so what
 * is taken for "ahead" is never too little (the shortest of the last ways is nearest to the truth), and no picture looks younger
 * than it is.
 */
export class Transit {
  /** Made as the connection is begun. @param {() => number} nowMs the page's steady clock */
  constructor(nowMs = () => performance.now()) {
    this.nowMs = nowMs;
    this.since = nowMs();
    /** @type {number[]} ms, newest last */
    this.ahead = [];
  }

  /** What to ask the device. */
  question() {
    return `clock ${Math.floor(this.nowMs())}`;
  }

  /** @param {{asked_ms: number, now_ms: number}} answer when it was asked, and the device's clock then */
  heard({ asked_ms, now_ms }) {
    this.ahead = [...this.ahead, now_ms - asked_ms].slice(-KEPT);
  }

  /**
   * @param {number} sentMs moment of the device's clock at which it was sent
   * @param {number} receivedMs moment of the page's at which it came
   * @returns {number} ms; until the device has answered, all the time since the connection was begun
   */
  ms(sentMs, receivedMs) {
    if (this.ahead.length === 0) return Math.max(0, receivedMs - this.since);
    return Math.max(0, receivedMs + Math.min(...this.ahead) - sentMs);
  }
}
