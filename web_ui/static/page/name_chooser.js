import { button } from "./element.js";
import { words } from "./words.js";
import { isRegionName } from "../picture/region_text.js";

/** Words of the trade that spare typing with gloves on. */
const READY_NAME_WORDS = ["page-name-tip", "page-name-middle", "page-name-base", "page-name-edge", "page-name-pedicle", "page-name-node"];

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
  choices.append(...READY_NAME_WORDS.map((id) => button(words(id), () => chosen(words(id)))));
  const label = document.createElement("label");
  const field = document.createElement("input");
  made += 1;
  field.id = `name-${made}`;
  field.maxLength = 40;
  field.autocomplete = "off";
  label.htmlFor = field.id;
  label.textContent = words("page-other-name");
  const keep = button(words("page-keep-name"), () => {});
  keep.type = "submit";
  place.append(choices, label, field, keep);
  place.onsubmit = (event) => {
    event.preventDefault();
    const name = field.value.trim();
    if (isRegionName(name)) chosen(name);
    else label.textContent = words("page-name-rule");
  };
  return place;
}
