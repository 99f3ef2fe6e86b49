/** @import { RegionValue } from "../page/device_state.js" */

import { element, write } from "../page/element.js";
import { isCertain, valueText } from "../page/value_text.js";

/** The same values in large digits under the picture, where the tablet stands upright. */
export class ValuesList {
  constructor() {
    this.place = element("values");
    this.names = "";
  }

  /** @param {RegionValue[]} values */
  show(values) {
    const names = JSON.stringify(values.map((value) => value.name));
    if (names !== this.names) this.place.replaceChildren(...(values.length === 0 ? [teaching()] : values.map(row)));
    this.names = names;
    values.forEach((value, index) => {
      const number = this.place.children[index]?.lastElementChild;
      if (!number) return;
      write(number, valueText(value));
      number.classList.toggle("uncertain", !isCertain(value));
    });
  }
}

/** @param {RegionValue} value */
function row(value) {
  const line = document.createElement("p");
  line.className = "value-row";
  const name = document.createElement("span");
  name.textContent = value.name;
  line.append(name, document.createElement("strong"));
  return line;
}

function teaching() {
  const words = document.createElement("p");
  words.className = "teach";
  words.textContent = "Regions and their percent stand here. Touch a spot on the picture, or draw round an area.";
  return words;
}
