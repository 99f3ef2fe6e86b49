/**
 * The element of that id, which the template promises.
 *
 * @template {Element} [T=HTMLElement]
 * @param {string} id
 * @param {new () => T} [kind]
 * @returns {T}
 */
export function element(id, kind) {
  const found = document.getElementById(id);
  if (found === null || (kind !== undefined && !(found instanceof kind))) throw new Error(`the page lacks #${id}`);
  return /** @type {T} */ (/** @type {unknown} */ (found));
}

/**
 * A new button with a plain word.
 *
 * @param {string} word
 * @param {() => void} pressed
 * @param {string} [className]
 */
export function button(word, pressed, className = "") {
  const made = document.createElement("button");
  made.type = "button";
  made.textContent = word;
  made.className = className;
  made.addEventListener("click", pressed);
  return made;
}

/**
 * Change a text only when it differs, so that a quiet page stays quiet.
 *
 * @param {Element} where
 * @param {string} text
 */
export function write(where, text) {
  if (where.textContent !== text) where.textContent = text;
}
