import assert from "node:assert/strict";
import { test } from "node:test";

import "./english.js";
import { standingWords } from "../static/pairing/tablets_sheet.js";

const you = { number: "1", label: "amber heron" };
const other = { number: "2", label: "quiet lamp" };
const nobody = { asker: null, waiting_for_button: null };

test("the sheet says who controls, and whether someone is there", () => {
  assert.equal(standingWords({ ...nobody, you, role: "controls", controller: you, controller_here: true }), "This tablet, amber heron, controls.");
  const watches = { ...nobody, you, role: /** @type {const} */ ("watches") };
  assert.equal(standingWords({ ...watches, controller: other, controller_here: true }), "This tablet, amber heron, watches. quiet lamp controls.");
  assert.match(standingWords({ ...watches, controller: other, controller_here: false }), /nobody is there/);
  assert.match(standingWords({ ...watches, controller: null, controller_here: false }), /No tablet controls/);
});
