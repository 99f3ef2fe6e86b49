/** @import { Page } from "./place.js" */

import { element } from "./element.js";
import { PLACES } from "./place_table.js";
import { put } from "./words.js";

const ICON = "http://www.w3.org/2000/svg";

/** One large tile a place. */
export class PlacesSheet {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    element("places-tiles").append(...Object.keys(PLACES).map((name) => this.tile(name)));
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
