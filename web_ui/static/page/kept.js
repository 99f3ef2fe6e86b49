/**
 * A choice of whoever uses this tablet, kept in the browser. Where the browser keeps nothing, it lasts as long as the page.
 *
 * @param {string} name
 * @returns {string | null}
 */
export function kept(name) {
  try {
    return localStorage.getItem(name);
  } catch {
    return null;
  }
}

/**
 * @param {string} name
 * @param {string} value
 */
export function keep(name, value) {
  try {
    localStorage.setItem(name, value);
  } catch {
    // the browser forbids it: the choice ends with the page
  }
}
