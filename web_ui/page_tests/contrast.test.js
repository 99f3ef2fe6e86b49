import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

/**
 * Contrast of two colours: WCAG 2.2, definitions of relative luminance and contrast ratio.
 *
 * @param {string} one "#rrggbb"
 * @param {string} other
 */
function contrast(one, other) {
  const [bright = 0, dark = 0] = [luminance(one), luminance(other)].sort((a, b) => b - a);
  return (bright + 0.05) / (dark + 0.05);
}

/** @param {string} colour */
function luminance(colour) {
  const linear = [1, 3, 5].map((at) => {
    const share = parseInt(colour.slice(at, at + 2), 16) / 255;
    return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
  });
  const [red = 0, green = 0, blue = 0] = linear;
  return 0.2126 * red + 0.7152 * green + 0.0722 * blue;
}

const css = readFileSync(new URL("../static/page/page.css", import.meta.url), "utf8");
const colours = Object.fromEntries([...css.matchAll(/--([a-z-]+): (#[0-9a-f]{6});/g)].map(([, name, value]) => [name, value]));

/** @param {string} name */
function colour(name) {
  const value = colours[name];
  assert.ok(value, `page.css has no --${name}`);
  return value;
}

test("the formula gives the published ends of its scale, 21:1 and 1:1", () => {
  assert.equal(contrast("#000000", "#ffffff"), 21);
  assert.equal(contrast("#777777", "#777777"), 1);
});

for (const [ink, ground] of [
  ["ink", "ground"], ["ink", "raised"], ["ink", "raised-more"],
  ["ink-quiet", "ground"], ["ink-quiet", "raised"], ["ink-quiet", "raised-more"],
  ["ground", "ink"], ["on-loud", "loud"], ["on-loud", "lamp"], ["ground", "rec"], ["focus", "ground"],
]) {
  test(`${ink} on ${ground} has a contrast of at least 7:1`, () => {
    assert.ok(contrast(colour(String(ink)), colour(String(ground))) >= 7);
  });
}
