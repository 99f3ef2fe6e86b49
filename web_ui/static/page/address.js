/**
 * The place that an address names, and what it opens there: `#review/K7-Heron%201` is review of "K7-Heron 1".
 *
 * @param {string} hash
 * @returns {{name: string, parts: string[]}} an empty name where the address names none, or cannot be read
 */
export function placeOf(hash) {
  try {
    const [name = "", ...parts] = hash.replace(/^#/, "").split("/").map(decodeURIComponent);
    return { name, parts };
  } catch {
    return { name: "", parts: [] };
  }
}

/**
 * @param {string} name
 * @param {string[]} parts
 */
export function addressOf(name, parts) {
  return `#${[name, ...parts].map((part) => encodeURIComponent(part)).join("/")}`;
}
