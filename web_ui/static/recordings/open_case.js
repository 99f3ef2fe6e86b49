/** @import { Page } from "../page/place.js" */

import { element, write } from "../page/element.js";
import { words } from "../page/words.js";
import { freeCode } from "./which_recordings.js";

/** The case that every recording is of from now on: which it is, another, or a new one without typing. */
export class OpenCase {
  /**
   * @param {Page} page
   * @param {() => string[]} taken codes that are in use
   * @param {(code: string) => void} opened
   */
  constructor(page, taken, opened) {
    this.page = page;
    this.taken = taken;
    this.opened = opened;
    this.code = "";
    this.field = element("case-open-code", HTMLInputElement);
    element("case-new").onclick = () => void this.open(this.next(), element("case-new"));
    element("case-close").onclick = () => void this.open("", element("case-close"));
    element("case-open-form", HTMLFormElement).onsubmit = (event) => {
      event.preventDefault();
      if (this.field.value.trim() !== "") void this.open(this.field.value.trim(), element("case-open-form"));
    };
  }

  next() {
    return freeCode(new Date(), [...this.taken(), this.code]);
  }

  /** @param {string | null} code of the device's state; null while it is not known */
  show(code) {
    this.code = code ?? "";
    write(element("open-case-code"), code === null ? words("recordings-not-known") : code || words("recordings-no-open-case"));
    element("case-close").hidden = !code;
    write(element("case-new"), words("recordings-new-case", { code: this.next() }));
  }

  /**
   * @param {string} code
   * @param {Element} pressed
   */
  async open(code, pressed) {
    const before = this.code;
    const { done } = await this.page.acts.run("PUT", "/case", { case: code }, pressed);
    if (!done) return;
    this.field.value = "";
    const said = code === "" ? words("recordings-case-closed") : words("recordings-case-opened", { code });
    const back = before === "" || before === code ? [] : [{ word: words("recordings-put-back"), run: () => void this.open(before, element("case-new")) }];
    this.page.line.say(said, back);
    this.show(code);
    this.opened(code);
  }
}
