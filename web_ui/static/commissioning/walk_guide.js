/** @import { StepLine, Walk } from "./commissioning_types.js" */

import { button } from "../page/element.js";
import { made } from "../page/made.js";
import { words } from "../page/words.js";
import { isDilutionRow, numbersOf } from "./numbers.js";
import { guideOf, nameOf } from "./step_words.js";

/**
 * @typedef {object} Guide
 * @property {Walk} walk
 * @property {boolean} lights
 * @property {boolean} simulated
 * @property {(request: object, pressed: Element) => void} start
 * @property {() => void} cancel
 */

/**
 * What to put before the camera, what else has to be told, and the two touches that begin it: everyone is warned, and go.
 *
 * @param {Guide} guide
 */
export function walkGuide({ walk, lights, simulated, start, cancel }) {
  const form = made("form", "guide");
  form.noValidate = true;
  const list = made("ol", "guide-lines", ...guideOf(walk).map((line) => made("li", "", line)));
  const fields = FIELDS[walk]?.() ?? [];
  const warned = lights ? warning() : null;
  const go = made("button", "strong guide-start", lights ? words("commissioning-start-lit") : words("commissioning-start-dark"));
  go.type = "submit";
  go.disabled = lights;
  warned?.box.addEventListener("change", () => (go.disabled = !warned.box.checked));
  const trouble = made("p", "guide-trouble");
  trouble.setAttribute("role", "alert");
  form.append(list);
  if (simulated) form.append(made("p", "teach", words("commissioning-target-simulated")));
  form.append(...fields.map((one) => one.place), warned?.place ?? made("p", "guide-dark", words("commissioning-stays-dark")));
  form.append(made("p", "teach", words("commissioning-watched")), trouble);
  form.append(made("div", "guide-acts", go, button(words("commissioning-cancel"), cancel)));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const found = fields.map((one) => one.read());
    const wrong = found.find((one) => one.trouble !== undefined);
    trouble.textContent = wrong?.trouble ?? "";
    if (wrong === undefined) start(Object.assign({ walk }, ...found.map((one) => one.request)), go);
  });
  return form;
}

/** @typedef {{place: HTMLElement, read: () => {request?: object, trouble?: string}}} Field */

/** @type {Partial<Record<Walk, () => Field[]>>} */
const FIELDS = {
  scale: () => [numberField(words("commissioning-distance"), "250", "distance_mm"), numberField(words("commissioning-pitch"), "10", "pitch_mm")],
  sensitivity: () => [rowField(), unitField()],
};

/** @param {string} name @param {string} value */
function field(name, value) {
  const input = made("input", "");
  input.type = "text";
  input.value = value;
  input.autocomplete = "off";
  const place = made("label", "guide-field", made("span", "", name), input);
  return { place, input };
}

/** @param {string} name @param {string} value @param {string} key @returns {Field} */
function numberField(name, value, key) {
  const { place, input } = field(name, value);
  input.inputMode = "decimal";
  return {
    place,
    read: () => {
      const [number, ...more] = numbersOf(input.value);
      if (number === undefined || more.length > 0) return { trouble: `${name}: ${words("commissioning-need-number")}` };
      return { request: { [key]: number } };
    },
  };
}

/** @returns {Field} */
function rowField() {
  const { place, input } = field(words("commissioning-concentrations"), "");
  return {
    place,
    read: () => {
      const numbers = numbersOf(input.value);
      return isDilutionRow(numbers) ? { request: { concentrations: numbers } } : { trouble: words("commissioning-need-eight") };
    },
  };
}

/** @returns {Field} */
function unitField() {
  const { place, input } = field(words("commissioning-unit"), "micromole/L");
  input.maxLength = 20;
  return { place, read: () => ({ request: { unit: input.value.trim() || "micromole/L" } }) };
}

function warning() {
  const box = made("input", "");
  box.type = "checkbox";
  const title = made("p", "caution-title", lampPicture(), words("commissioning-caution-title"));
  const place = made("div", "caution-box", title, made("p", "", words("commissioning-caution")), made("label", "choice", box, made("span", "", words("commissioning-warned"))));
  return { place, box };
}

/** The lamp of the light button. */
export function lampPicture() {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("viewBox", "0 0 24 24");
  svg.setAttribute("class", "mark lamp");
  svg.setAttribute("aria-hidden", "true");
  const use = document.createElementNS("http://www.w3.org/2000/svg", "use");
  use.setAttribute("href", "#icon-lamp");
  svg.append(use);
  return svg;
}

/** @param {StepLine} line @param {Set<string>} taken */
export function missingBefore(line, taken) {
  const missing = line.needs.filter((step) => !taken.has(step));
  return missing.length === 0 ? "" : words("commissioning-needs", { steps: missing.map(nameOf).join(", ") });
}
