/** @import { Point } from "./region_text.js" */
/** @import { RegionActs } from "./region_acts.js" */

import { button, element } from "../page/element.js";
import { nameChooser } from "../page/name_chooser.js";
import { nextName, parsedRegion, squareAround } from "./region_text.js";
import { REFERENCE_NAME } from "./region_acts.js";
import { words } from "../page/words.js";

/** @typedef {{begin: (shape: "polygon" | "line", from?: Point) => void, move: (region: string) => void}} Drawer */

/** The menu of a held spot: of the region there, of the reference, or of bare tissue. */
export class SpotMenu {
  /**
   * @param {RegionActs} regionActs
   * @param {Drawer | null} [drawer] null where nothing is drawn corner by corner
   */
  constructor(regionActs, drawer = null) {
    this.place = element("spot-menu");
    this.regionActs = regionActs;
    this.drawer = drawer;
    this.wish = { x: 0, y: 0 };
    this.place.addEventListener("keydown", (event) => {
      if (event.key === "Escape") this.close();
    });
  }

  /** @returns {boolean} whether it was open */
  close() {
    const open = !this.place.hidden;
    this.place.hidden = true;
    return open;
  }

  /**
   * @param {Point} at sensor pixel
   * @param {string | null} region held, as text
   * @param {boolean} isReference
   * @param {Point} shareOfPicture where to open
   */
  open(at, region, isReference, shareOfPicture) {
    const items = isReference ? this.referenceItems() : region === null ? this.spotItems(at) : this.regionItems(region);
    this.show(isReference ? words("picture-reference") : region === null ? words("picture-here") : parsedRegion(region).name, items);
    const picture = element("picture");
    this.moveTo(picture.offsetLeft + shareOfPicture.x * picture.offsetWidth, picture.offsetTop + shareOfPicture.y * picture.offsetHeight);
    this.place.querySelector("button")?.focus();
  }

  /**
   * As near to the point as there is room.
   *
   * @param {number} wishX
   * @param {number} wishY in CSS pixels of the stage
   */
  moveTo(wishX, wishY) {
    this.wish = { x: wishX, y: wishY };
    const { clientWidth, clientHeight } = element("stage");
    const x = Math.max(0, Math.min(wishX, clientWidth - this.place.offsetWidth));
    const y = Math.max(0, Math.min(wishY, clientHeight - this.place.offsetHeight));
    this.place.style.transform = `translate(${Math.round(x)}px, ${Math.round(y)}px)`;
  }

  /**
   * @param {string} title
   * @param {HTMLElement[]} items
   */
  show(title, items) {
    const heading = document.createElement("h2");
    heading.textContent = title;
    const shut = button(words("picture-close"), () => this.close(), "faint");
    this.place.replaceChildren(heading, ...items, shut);
    this.place.hidden = false;
    this.moveTo(this.wish.x, this.wish.y);
  }

  /**
   * @param {string} word
   * @param {() => void} run
   */
  item(word, run) {
    return button(word, () => {
      this.close();
      run();
    });
  }

  referenceItems() {
    const reference = this.regionActs.state()?.reference?.region;
    return [
      ...(this.drawer && reference ? [this.item(words("picture-move"), () => this.drawer?.move(reference))] : []),
      this.item(words("picture-remove"), () => void this.regionActs.removeReference()),
    ];
  }

  /** @param {string} region */
  regionItems(region) {
    return [
      this.item(words("picture-make-reference"), () => void this.regionActs.makeReference(region)),
      button(words("picture-rename"), () => this.show(words("picture-name"), [nameChooser((name) => this.renamed(region, name))])),
      ...(this.drawer ? [this.item(words("picture-move"), () => this.drawer?.move(region))] : []),
      this.item(words("picture-remove"), () => void this.regionActs.remove(region)),
    ];
  }

  /**
   * @param {string} region
   * @param {string} name
   */
  renamed(region, name) {
    this.close();
    void this.regionActs.rename(region, name);
  }

  /** @param {Point} at */
  spotItems(at) {
    const camera = this.regionActs.state()?.camera;
    if (camera === undefined) return [];
    return [
      this.item(words("picture-reference-here"), () => void this.regionActs.setReference(squareAround(REFERENCE_NAME, at, camera))),
      this.item(words("picture-region-here"), () => void this.regionActs.add(squareAround(nextName(this.regionActs.taken()), at, camera))),
      ...(this.drawer
        ? [
            this.item(words("picture-polygon-from-here"), () => this.drawer?.begin("polygon", at)),
            this.item(words("picture-line-from-here"), () => this.drawer?.begin("line", at)),
          ]
        : []),
    ];
  }
}
