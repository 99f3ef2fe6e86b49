import assert from "node:assert/strict";
import { test } from "node:test";

import { Transit } from "../static/picture/transit.js";

/** A page's clock turned by hand, and a device's that is 70 000 ms ahead of it. */
function bench() {
  const now = { ms: 1000 };
  const transit = new Transit(() => now.ms);
  /** @param {number} thereMs @param {number} backMs how long question and answer take */
  const ask = (thereMs, backMs) => {
    const asked_ms = Number(transit.question().split(" ")[1]);
    now.ms += thereMs;
    const now_ms = 70_000 + now.ms;
    now.ms += backMs;
    transit.heard({ asked_ms, now_ms });
  };
  return { now, transit, ask };
}

test("until the device has answered, all the time since the connection was begun counts", () => {
  const { now, transit } = bench();
  now.ms += 340;
  assert.equal(transit.ms(71_000, now.ms), 340);
});

test("a picture that was long on its way is told as that, at most by the question's way too old, never too young", () => {
  const { now, transit, ask } = bench();
  ask(40, 900);
  const told = transit.ms(70_000 + now.ms - 1500, now.ms);
  assert.ok(told >= 1500 && told <= 1540, String(told));
});

test("the quickest of the last questions counts, and an old one is forgotten", () => {
  const { now, transit, ask } = bench();
  ask(2, 3);
  for (let i = 0; i < 4; i++) ask(600, 600);
  assert.equal(transit.ms(70_000 + now.ms - 100, now.ms), 102);
  for (let i = 0; i < 8; i++) ask(600, 600);
  assert.equal(transit.ms(70_000 + now.ms - 100, now.ms), 700);
});

test("a page's clock that stood still makes no picture younger than it left", () => {
  const { now, transit, ask } = bench();
  ask(2, 3);
  assert.equal(transit.ms(70_000 + now.ms + 60_000, now.ms), 0);
});
