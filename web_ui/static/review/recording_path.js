/**
 * Address of a recording's thing in the interface.
 *
 * @param {string} name
 * @param {...string} parts
 */
export function recordingPath(name, ...parts) {
  return `/recordings/${[name, ...parts].map(encodeURIComponent).join("/")}`;
}
