/** @import { Page } from "../page/place.js" */
/** @import { RemovedRecordings } from "./recordings_types.js" */

import { ask } from "../page/device_api.js";
import { button, element, write } from "../page/element.js";
import { made } from "../page/made.js";
import { momentText } from "../page/moment_text.js";
import { storageText } from "../page/number_text.js";
import { words } from "../page/words.js";
import { countText } from "./recording_text.js";

const MOST_SHOWN = 50;

/** What was removed and can be brought back, how long, and how much room is left. */
export class RemovedList {
  /**
   * @param {Page} page
   * @param {(removed: string) => void} bringBack
   */
  constructor(page, bringBack) {
    this.page = page;
    this.bringBack = bringBack;
    this.acts = element("removed-acts");
  }

  async load() {
    try {
      this.show(await ask("GET", "/removed"));
    } catch (error) {
      this.page.acts.failed(error);
    }
  }

  /** @param {RemovedRecordings} answer */
  show(answer) {
    const { removed } = answer;
    element("removed").hidden = removed.length === 0;
    write(element("removed-title"), words("recordings-removed", { count: countText(removed.length) }));
    write(element("removed-about"), words("recordings-removed-about", { room: storageText(answer.until_free_mb) }));
    element("removed-list").replaceChildren(...removed.slice(0, MOST_SHOWN).map((one) => {
      const about = `${words("recordings-removed-at", { when: momentText(one.removed_at) })} · ${storageText(one.size_mb)}`;
      const back = button(words("recordings-bring-back"), () => this.bringBack(one.removed));
      back.setAttribute("aria-label", words("recordings-bring-back-what", { what: one.recording }));
      return made("li", "recording-row removed-row", made("p", "row-link", made("strong", "row-title", one.recording), made("span", "row-about", about)), back);
    }));
    this.offerForget(removed.length);
    write(element("storage-left"), words("recordings-storage", { room: storageText(answer.free_mb) }));
  }

  /** @param {number} count */
  offerForget(count) {
    this.acts.replaceChildren(button(words("recordings-forget"), () => this.askForget(count), "faint"));
  }

  /** @param {number} count */
  askForget(count) {
    const keep = button(words("recordings-remove-no"), () => this.offerForget(count));
    this.acts.replaceChildren(
      made("p", "row-question", words("recordings-forget-question", { count, shown: countText(count) })),
      button(words("recordings-forget-yes"), () => void this.forget(), "strong"),
      keep,
    );
    keep.focus();
  }

  async forget() {
    const { done, answer } = await this.page.acts.run("DELETE", "/removed", undefined, this.acts);
    if (done) this.show(answer);
  }
}
