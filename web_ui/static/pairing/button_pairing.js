import { ask } from "../page/device_api.js";
import { element, write } from "../page/element.js";
import { words } from "../page/words.js";

const LOOK_EVERY_MS = 700;

/** Pairs this tablet by a press of the handheld's button: shows two words, and waits for the press. */
export class ButtonPairing {
  /** @param {() => void} paired */
  constructor(paired) {
    this.paired = paired;
    this.timer = 0;
    this.running = false;
    element("button-pairing-ask").onclick = () => void this.start();
  }

  stop() {
    clearTimeout(this.timer);
    this.running = false;
    this.show("", "");
  }

  async start() {
    this.stop();
    this.running = true;
    write(element("pairing-line"), "");
    await this.look();
  }

  async look() {
    try {
      const { state, label, seconds_left: left, line } = await ask("POST", "/pair/button");
      if (!this.running) return;
      if (state === "paired") {
        this.stop();
        this.paired();
      } else if (state === "waiting") {
        this.show(label, words("pairing-press-once", { seconds: Math.ceil(left) }));
        this.timer = window.setTimeout(() => void this.look(), LOOK_EVERY_MS);
      } else this.fail(words("pairing-not-paired", { why: line }));
    } catch (error) {
      this.fail(error instanceof Error ? error.message : String(error));
    }
  }

  /** @param {string} line */
  fail(line) {
    this.stop();
    write(element("pairing-line"), line);
  }

  /**
   * @param {string} label
   * @param {string} words
   */
  show(label, words) {
    element("button-pairing-wait").hidden = label === "";
    element("button-pairing-ask").hidden = label !== "";
    write(element("button-pairing-label"), label);
    write(element("button-pairing-words"), words);
  }
}
