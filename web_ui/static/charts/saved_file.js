/**
 * Give the browser a file to keep.
 *
 * @param {Blob} content
 * @param {string} name
 */
export function saveFile(content, name) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(content);
  link.download = fileName(name);
  link.click();
  // the browser reads it a little later
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}

/**
 * A name that every file system takes.
 *
 * @param {string} name
 */
export function fileName(name) {
  const plain = name.normalize("NFKD").replace(/[^A-Za-z0-9._-]+/g, "-").replace(/^[.-]+/, "");
  return plain.slice(-120) || "file";
}
