/** @import { DeviceState, RegionState } from "../page/device_state.js" */
/** @import { RegionActs } from "../picture/region_acts.js" */

import { button, element, write } from "../page/element.js";
import { nameChooser } from "../page/name_chooser.js";
import { withUnit } from "../page/number_text.js";
import { valueText } from "../page/value_text.js";
import { language, words } from "../page/words.js";

/** The list of reference and regions, with everything their menus can do. */
export class RegionsSheet {
  /**
   * @param {RegionActs} regionActs
   * @param {{move: (region: string) => void}} drawer
   */
  constructor(regionActs, drawer) {
    this.regionActs = regionActs;
    this.drawer = drawer;
    this.list = element("regions-list");
    this.teach = element("regions-teach");
    this.key = "";
  }

  /** @param {DeviceState | null} state */
  show(state) {
    if (state === null) return;
    this.teach.hidden = state.regions.length > 0;
    const key = JSON.stringify([language(), state.reference?.region, state.regions.map((region) => region.region)]);
    if (key !== this.key) this.draw(state);
    this.key = key;
    const shown = [...(state.reference ? [state.reference] : []), ...state.regions];
    shown.forEach((region, index) => {
      const value = this.list.children[index]?.querySelector(".row-value");
      if (value) write(value, region === state.reference && !region.flag ? withUnit("100", "%") : valueText(region));
    });
  }

  /** @param {DeviceState} state */
  draw(state) {
    const reference = state.reference === null ? [] : [this.referenceRow(state.reference)];
    this.list.replaceChildren(...reference, ...state.regions.map((region) => this.regionRow(region)));
  }

  /** @param {RegionState} reference */
  referenceRow(reference) {
    return row(words("picture-reference"), [
      button(words("picture-move"), () => this.drawer.move(reference.region)),
      button(words("picture-remove"), () => void this.regionActs.removeReference()),
    ]);
  }

  /** @param {RegionState} region */
  regionRow(region) {
    const line = row(region.name, [
      button(words("picture-make-reference"), () => void this.regionActs.makeReference(region.region)),
      button(words("picture-rename"), () => {
        if (line.querySelector(".name-chooser") !== null) return;
        line.append(nameChooser((name) => void this.regionActs.rename(region.region, name)));
      }),
      button(words("picture-move"), () => this.drawer.move(region.region)),
      button(words("picture-remove"), () => void this.regionActs.remove(region.region)),
    ]);
    return line;
  }
}

/**
 * @param {string} name
 * @param {HTMLElement[]} acts
 */
function row(name, acts) {
  const line = document.createElement("li");
  line.className = "row";
  const said = document.createElement("p");
  said.className = "row-words";
  const title = document.createElement("strong");
  title.textContent = name;
  const value = document.createElement("span");
  value.className = "row-value";
  said.append(title, value);
  const buttons = document.createElement("div");
  buttons.className = "row-acts";
  buttons.append(...acts);
  line.append(said, buttons);
  return line;
}
