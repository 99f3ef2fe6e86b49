/** @import { Page } from "./place.js" */

import { element } from "./element.js";
import { chooseLanguage } from "./language.js";
import { PLACES } from "./place_table.js";
import { chooseTheme, theme } from "./theme.js";
import { language, put } from "./words.js";

const ICON = "http://www.w3.org/2000/svg";

/** One large tile a place, and what is chosen for this tablet alone: its language, dark or bright. */
export class PlacesSheet {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    element("places-tiles").append(...Object.keys(PLACES).map((name) => this.tile(name)));
    for (const choice of document.querySelectorAll("[data-language]")) choice.addEventListener("click", () => void this.speak(choice));
    for (const choice of document.querySelectorAll("[data-theme-choice]")) choice.addEventListener("click", () => this.paint(choice));
    this.show();
  }

  /** @param {string} name */
  tile(name) {
    const tile = document.createElement("button");
    tile.type = "button";
    tile.className = "tile";
    tile.dataset["place"] = name;
    const title = document.createElement("strong");
    put(title, `${name}-place`);
    const about = document.createElement("span");
    put(about, `${name}-about`);
    tile.append(icon(name), title, about);
    tile.addEventListener("click", () => {
      this.page.sheets.closeAll();
      this.page.go(name);
    });
    return tile;
  }

  /** @param {Element} choice */
  async speak(choice) {
    const chosen = /** @type {import("./words.js").Language} */ (choice.getAttribute("data-language"));
    try {
      await chooseLanguage(chosen);
    } catch (error) {
      this.page.acts.failed(error);
    }
    this.show();
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

/** @param {string} name a symbol of `place_icons.html` */
function icon(name) {
  const drawn = document.createElementNS(ICON, "svg");
  drawn.setAttribute("viewBox", "0 0 24 24");
  drawn.setAttribute("aria-hidden", "true");
  const use = document.createElementNS(ICON, "use");
  use.setAttribute("href", `#icon-${name}-place`);
  drawn.append(use);
  return drawn;
}
