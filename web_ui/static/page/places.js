/** @import { Page, Place } from "./place.js" */

import { addressOf, placeOf } from "./address.js";
import { element } from "./element.js";
import { PLACES } from "./place_table.js";
import { put, words } from "./words.js";

const FIRST = Object.keys(PLACES)[0] ?? "";

/** Which place is on the screen: the one that the address names. */
export class Places {
  /**
   * @param {Page} page
   * @param {(name: string) => void} changed
   */
  constructor(page, changed) {
    this.page = page;
    this.changed = changed;
    /** @type {Map<string, Place>} */
    this.built = new Map();
    this.shown = "";
    this.paired = false;
    this.turn = 0;
    addEventListener("hashchange", () => void this.follow());
  }

  /**
   * @param {string} name
   * @param {string[]} parts
   */
  go(name, ...parts) {
    const address = addressOf(name, parts);
    if (location.hash === address || (location.hash === "" && name === FIRST)) void this.follow();
    else location.hash = address;
  }

  resume() {
    this.paired = true;
    return this.follow();
  }

  /** Nothing is on the screen until `resume`. */
  suspend() {
    this.paired = false;
    this.leave();
  }

  async follow() {
    if (!this.paired) return;
    const asked = placeOf(location.hash);
    const known = Object.hasOwn(PLACES, asked.name);
    if (!known && location.hash !== "") history.replaceState(null, "", location.pathname + location.search);
    const name = known ? asked.name : FIRST;
    const place = await this.place(name);
    if (place === null) return;
    if (name !== this.shown) {
      this.leave();
      this.enter(name);
    }
    place.open(known ? asked.parts : []);
  }

  /**
   * @param {string} name
   * @returns {Promise<Place | null>} null when it could not be fetched, or another was asked for meanwhile
   */
  async place(name) {
    const turn = ++this.turn;
    try {
      if (!this.built.has(name)) {
        const Kind = await /** @type {NonNullable<(typeof PLACES)[string]>} */ (PLACES[name])();
        if (turn !== this.turn || !this.paired) return null;
        this.built.set(name, new Kind(this.page));
      }
      return this.built.get(name) ?? null;
    } catch (error) {
      reportError(error);
      this.page.line.say(words("page-place-failed"));
      return null;
    }
  }

  /** @param {string} name */
  enter(name) {
    const main = element(name);
    main.hidden = false;
    this.shown = name;
    // what every place uses stands where the place has room for it: the live one within its grid, all others over them
    (main.hasAttribute("data-sheets") ? main : document.body).append(element("page-sheets"));
    (main.querySelector("[data-lines]") ?? document.body).append(element("page-lines"));
    for (const tile of document.querySelectorAll("[data-place]")) {
      if (tile.getAttribute("data-place") === name) tile.setAttribute("aria-current", "page");
      else tile.removeAttribute("aria-current");
    }
    put(element("page-title"), `${name}-place`);
    document.title = `${words(`${name}-place`)} · tapetum`;
    main.querySelector("h1")?.focus({ preventScroll: true });
    this.changed(name);
  }

  leave() {
    if (this.shown === "") return;
    this.page.sheets.closeAll();
    this.built.get(this.shown)?.close();
    element(this.shown).hidden = true;
    this.shown = "";
    this.changed("");
  }

  relabel() {
    for (const place of this.built.values()) place.relabel?.();
  }
}
