import { ButtonPairing } from "./button_pairing.js";
import { ask, Unpaired } from "../page/device_api.js";
import { element } from "../page/element.js";
import { words } from "../page/words.js";

/** @type {ButtonPairing | null} */
let byButton = null;

/**
 * Asks for the word that the device printed, or for its button.
 *
 * @param {() => void} paired
 */
export function openPairing(paired) {
  const place = element("pairing");
  const line = element("pairing-line");
  const word = element("pairing-word", HTMLInputElement);
  const form = element("pairing-form", HTMLFormElement);

  /** @param {string} text */
  async function tryWord(text) {
    form.setAttribute("aria-busy", "true");
    line.textContent = words("pairing-asking");
    try {
      await ask("POST", "/pair", { word: text.trim() });
      line.textContent = "";
      place.hidden = true;
      paired();
    } catch (error) {
      line.textContent =
        error instanceof Unpaired ? words("pairing-wrong-word") : String(/** @type {Error} */ (error).message);
      word.select();
    } finally {
      form.removeAttribute("aria-busy");
    }
  }

  byButton ??= new ButtonPairing(() => {
    place.hidden = true;
    paired();
  });
  byButton.stop();
  form.onsubmit = (event) => {
    event.preventDefault();
    byButton?.stop();
    void tryWord(word.value);
  };
  place.hidden = false;
  const given = takenFromAddress();
  if (given !== null) void tryWord(given);
  else word.focus();
}

/** The word of a `#pair=WORD` address, which leaves the history at once. */
export function takenFromAddress() {
  const given = new URLSearchParams(location.hash.slice(1)).get("pair");
  if (given !== null) history.replaceState(null, "", location.pathname + location.search);
  return given;
}
