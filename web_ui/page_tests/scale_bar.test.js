import assert from "node:assert/strict";
import { test } from "node:test";

import "./english.js";
import { barLength } from "../static/live/scale_bar.js";
import { drawn } from "./drawn.js";

test("a bar stands for a round length that fits, and is as long as it says", () => {
  drawn(500, (draw) => {
    const width = draw.whole(100, 4000);
    const zoom = draw.number(1, 8);
    const sideBySide = draw.bool();
    const mmPerPx = 10 ** draw.number(-3, 0);
    const window = { x: 0, y: 0, width: width / zoom, height: 100 };
    const found = barLength({ width, height: 100, sideBySide, window }, mmPerPx);
    if (found === null) return;
    const px = (found.share * width * (sideBySide ? 2 : 1)) / zoom;
    assert.ok(Math.abs(px * mmPerPx - found.mm) < 1e-9 * found.mm);
    assert.ok(found.share <= 0.25);
  });
  assert.equal(barLength({ width: 1000, height: 800, sideBySide: false }, 0.1)?.mm, 20);
  assert.equal(barLength({ width: 10, height: 8, sideBySide: false }, 0.001), null);
});
