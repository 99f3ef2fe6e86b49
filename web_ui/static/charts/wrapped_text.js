/**
 * Lines no wider than that; what a space without break holds together stays so.
 *
 * @param {CanvasRenderingContext2D} paper with its font set
 * @param {string} text
 * @param {number} width
 * @returns {string[]}
 */
export function wrapped(paper, text, width) {
  const lines = [""];
  for (const word of text.split(/[ \n]+/)) {
    const last = lines.at(-1) ?? "";
    const longer = last === "" ? word : `${last} ${word}`;
    if (last !== "" && paper.measureText(longer).width > width) lines.push(word);
    else lines[lines.length - 1] = longer;
  }
  return lines;
}
