import { button } from "./element.js";
import { isRegionName } from "../picture/region_text.js";

/** Words of the trade that spare typing with gloves on. */
const READY_NAMES = ["Tip", "Middle", "Base", "Edge", "Pedicle", "Node"];

let made = 0;

/**
 * Ready names to touch, and a field for others.
 *
 * @param {(name: string) => void} chosen
 */
export function nameChooser(chosen) {
  const place = document.createElement("form");
  place.className = "name-chooser";
  const choices = document.createElement("div");
  choices.className = "choices";
  choices.append(...READY_NAMES.map((name) => button(name, () => chosen(name))));
  const label = document.createElement("label");
  const field = document.createElement("input");
  made += 1;
  field.id = `name-${made}`;
  field.maxLength = 40;
  field.autocomplete = "off";
  label.htmlFor = field.id;
  label.textContent = "Other name: letters, digits, spaces";
  const keep = button("Keep name", () => {});
  keep.type = "submit";
  place.append(choices, label, field, keep);
  place.onsubmit = (event) => {
    event.preventDefault();
    const name = field.value.trim();
    if (isRegionName(name)) chosen(name);
    else label.textContent = "A name is 1 to 40 letters, digits, spaces, dots or dashes:";
  };
  return place;
}
