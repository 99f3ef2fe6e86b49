/** @import { CalmLine } from "./calm_line.js" */
/** @import { DeviceState } from "./device_state.js" */

import { ask, Refusal, Unpaired, Watching } from "./device_api.js";
import { words } from "./words.js";

/** A touch that was not answered for so long is said to be waited for (our choice, no source). */
const LATE_MS = 3000;

/** Asks the device, and says on the calm line what it refuses. */
export class Acts {
  /**
   * @param {CalmLine} line
   * @param {() => void} unpaired
   * @param {(state: DeviceState) => void} heard the state with which the device answers
   * @param {() => void} askForControl
   */
  constructor(line, unpaired, heard, askForControl) {
    this.line = line;
    this.unpaired = unpaired;
    this.heard = heard;
    this.askForControl = askForControl;
  }

  /**
   * @param {"GET" | "POST" | "PUT" | "DELETE"} method
   * @param {string} path
   * @param {object} [body]
   * @param {Element} [pressed] shown as busy until the device has answered
   * @returns {Promise<{done: boolean, answer: any}>}
   */
  async run(method, path, body, pressed) {
    pressed?.setAttribute("aria-busy", "true");
    let isLate = false;
    const late = setTimeout(() => {
      isLate = true;
      this.line.say(words("page-no-answer-yet"));
    }, LATE_MS);
    try {
      const answer = await ask(method, path, body);
      if (isLate) this.line.makeRoom();
      if (answer?.camera && answer.light) this.heard(answer);
      return { done: true, answer };
    } catch (error) {
      this.failed(error);
      return { done: false, answer: null };
    } finally {
      clearTimeout(late);
      pressed?.removeAttribute("aria-busy");
    }
  }

  /** @param {unknown} error */
  failed(error) {
    if (error instanceof Unpaired) this.unpaired();
    else if (error instanceof Watching) this.line.say(words("page-watches"), [{ word: words("pairing-ask-control"), run: this.askForControl }]);
    else this.line.say(error instanceof Error ? error.message : String(error), [], undefined, error instanceof Refusal ? error.lang : "");
  }
}
