/**
 * How curves are told apart: by colour and by dash, so that neither has to be seen. The colours are variables of `charts.css`, one set
 * a theme.
 *
 * @typedef {{colour: string, dash: number[]}} Stroke
 */

/** @type {number[][]} */
const DASHES = [[], [12, 5], [3, 4], [12, 4, 3, 4], [20, 6], [6, 6], [14, 4, 3, 4, 3, 4], [2, 7]];

export const COLOURS = 8;

/**
 * @param {CSSStyleDeclaration} style of the chart's place
 * @param {number} index of the curve
 * @returns {Stroke}
 */
export function strokeOf(style, index) {
  const turn = index % COLOURS;
  return { colour: colourOf(style, `--curve-${turn + 1}`), dash: DASHES[(turn + Math.floor(index / COLOURS)) % DASHES.length] ?? [] };
}

/**
 * @param {CSSStyleDeclaration} style
 * @param {string} name
 */
export function colourOf(style, name) {
  return style.getPropertyValue(name).trim() || "#888888";
}

/**
 * The same colour, faint: for the band of uncertainty.
 *
 * @param {string} colour as #rrggbb
 * @param {number} opacity
 */
export function faint(colour, opacity) {
  const [red, green, blue] = [1, 3, 5].map((at) => parseInt(colour.slice(at, at + 2), 16));
  return `rgb(${red} ${green} ${blue} / ${opacity})`;
}
