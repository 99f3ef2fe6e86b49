/** @import { Language } from "./words.js" */

import { chooseLanguage } from "./language.js";
import { chooseTheme, theme } from "./theme.js";
import { language, onLanguage } from "./words.js";

/** What is chosen for this tablet alone, wherever the page offers it: its language, dark or bright. */
export class TabletChoices {
  /** @param {(error: unknown) => void} failed */
  constructor(failed) {
    this.failed = failed;
    for (const choice of document.querySelectorAll("[data-language]")) choice.addEventListener("click", () => void this.speak(choice));
    for (const choice of document.querySelectorAll("[data-theme-choice]")) choice.addEventListener("click", () => this.paint(choice));
    onLanguage(() => this.show());
    this.show();
  }

  /** @param {Element} choice */
  async speak(choice) {
    try {
      await chooseLanguage(/** @type {Language} */ (choice.getAttribute("data-language")));
    } catch (error) {
      this.failed(error);
    }
  }

  /** @param {Element} choice */
  paint(choice) {
    chooseTheme(choice.getAttribute("data-theme-choice") === "bright" ? "bright" : "dark");
    this.show();
  }

  show() {
    for (const [attribute, chosen] of [["data-language", language()], ["data-theme-choice", theme()]]) {
      for (const choice of document.querySelectorAll(`[${attribute}]`)) {
        choice.setAttribute("aria-pressed", String(choice.getAttribute(String(attribute)) === chosen));
      }
    }
  }
}
