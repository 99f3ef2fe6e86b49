import assert from "node:assert/strict";
import { readdirSync, readFileSync } from "node:fs";
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
const [dark = "", bright = ""] = css.split(':root[data-theme="bright"]');
const THEMES = { dark: coloursOf(dark), bright: { ...coloursOf(dark), ...coloursOf(bright) } };

/** @param {string} text */
function coloursOf(text) {
  return Object.fromEntries([...text.matchAll(/--([a-z-]+): (#[0-9a-f]{6});/g)].map(([, name, value]) => [String(name), String(value)]));
}

test("the formula gives the published ends of its scale, 21:1 and 1:1", () => {
  assert.equal(contrast("#000000", "#ffffff"), 21);
  assert.equal(contrast("#777777", "#777777"), 1);
});

/* Worked out elsewhere from the formula of WCAG 2.2, to three decimals; AA asks 4.5 of text, so that #767676 on white is the last grey. */
const WORKED = [
  ["#767676", "#ffffff", 4.542], ["#777777", "#ffffff", 4.478], ["#ff0000", "#ffffff", 3.998],
  ["#00ff00", "#000000", 15.304], ["#ffff00", "#000000", 19.556], ["#0000ff", "#000000", 2.444],
];

for (const [one, other, ratio] of WORKED) {
  test(`the worked case ${one} on ${other} is ${ratio}`, () => {
    assert.ok(Math.abs(contrast(String(one), String(other)) - Number(ratio)) <= 0.0005);
  });
}

const PAIRS = [
  ["ink", "ground"], ["ink", "raised"], ["ink", "raised-more"],
  ["ink-quiet", "ground"], ["ink-quiet", "raised"], ["ink-quiet", "raised-more"],
  ["ground", "ink"], ["on-loud", "loud"], ["on-lamp", "lamp"], ["ground", "rec"], ["focus", "ground"],
];

for (const [theme, colours] of Object.entries(THEMES)) {
  for (const [ink = "", ground = ""] of PAIRS) {
    test(`${theme}: ${ink} on ${ground} has a contrast of at least 7:1`, () => {
      const [one, other] = [colours[ink], colours[ground]];
      assert.ok(one && other, `page.css lacks --${ink} or --${ground}`);
      assert.ok(contrast(one, other) >= 7);
    });
  }

  test(`${theme}: what is no text but must be seen has at least 3:1 (WCAG 2.2, 1.4.11)`, () => {
    for (const edge of ["edge", "lamp-edge", "rec"]) {
      for (const ground of ["ground", "raised"]) {
        assert.ok(contrast(String(colours[edge]), String(colours[ground])) >= 3, `${edge} on ${ground}`);
      }
    }
  });
}

const FOLDER = new URL("../static/", import.meta.url);
const SHEETS = readdirSync(FOLDER, { recursive: true, encoding: "utf8" }).filter((name) => /^(?!libraries).*\.css$/.test(name));

test("text takes its colour from these pairs, except on the picture, which is dark in both themes", () => {
  const sheets = SHEETS.filter((name) => !name.startsWith("picture"));
  assert.ok(sheets.length > 5);
  for (const name of sheets) {
    const own = readFileSync(new URL(name, FOLDER), "utf8").match(/^\s*color: (?!var\(--|inherit|currentcolor).*$/gm);
    assert.deepEqual(own, null, name);
  }
});

test("no text fades, not even for a moment: that would take its contrast away", () => {
  for (const name of SHEETS) {
    const rules = [...readFileSync(new URL(name, FOLDER), "utf8").matchAll(/([^{}]+)\{([^{}]*)\}/g)];
    const faded = rules.filter(([, , rule]) => /opacity: 0?\.|transition: (?!none)|opacity\(/.test(rule ?? "")).map(([, selector]) => selector?.trim());
    assert.deepEqual(faded.filter((selector) => !selector?.endsWith(".outlines")), [], name);
  }
});
