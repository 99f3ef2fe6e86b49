import assert from "node:assert/strict";
import { test } from "node:test";

import "./english.js";
import { sinceText } from "../static/recordings/dye_card.js";
import { aboutText, amountText, startText } from "../static/recordings/recording_text.js";
import { ALL, WITHOUT_CASE, casesPath, dayBounds, freeCode, recordingsPath } from "../static/recordings/which_recordings.js";

test("a case's own recordings are not searched, all of them are", () => {
  assert.equal(recordingsPath({ chosen: "K7-Heron", text: "x", day: "2031-05-04" }, ""), "/recordings?limit=50&case=K7-Heron");
  assert.equal(recordingsPath({ chosen: WITHOUT_CASE, text: "", day: "" }, ""), "/recordings?limit=50&case=");
  assert.equal(recordingsPath({ chosen: ALL, text: "a&b", day: "" }, "2031 x"), "/recordings?limit=50&text=a%26b&after=2031+x");
  assert.equal(casesPath("K", ""), "/cases?text=K&limit=50");
});

test("a day is this tablet's day, in the device's time", () => {
  const { from_at, until_at } = dayBounds("2031-12-31");
  assert.equal(from_at, new Date(2031, 11, 31).toISOString().slice(0, 19));
  assert.equal(until_at, new Date(2032, 0, 1).toISOString().slice(0, 19));
  assert.deepEqual(dayBounds(""), {});
  assert.deepEqual(dayBounds("soon"), {});
});

test("a new case needs no typing and takes no code twice", () => {
  const day = new Date(2031, 4, 4);
  assert.equal(freeCode(day, []), "0504-A");
  assert.equal(freeCode(day, ["0504-A", "0504-B", "K7"]), "0504-C");
  const many = [..."ABCDEFGHJKLMNPQRSTUVWXYZ"].map((letter) => `0504-${letter}`);
  assert.equal(freeCode(day, many), "0504-AA");
  assert.match(freeCode(day, many), /^[A-Za-z0-9](?:[A-Za-z0-9._-]{0,38}[A-Za-z0-9_-])?$/);
});

test("what is said of a recording, and of dye", () => {
  const one = { name: "r1", started_at: "", case: "", seconds: 91, frames: 1, gaps: 2, size_mb: 900, complete: false };
  assert.equal(aboutText(one), "1:31 · 900\u00a0MB · 2 gaps · cut off, opens all the same");
  assert.equal(aboutText(one, true), "1:31 · 900\u00a0MB · 2 gaps");
  assert.equal(startText(""), "date unknown");
  assert.equal(startText("<b>x"), "<b>x");
  assert.equal(amountText(22.5), "22.5");
  assert.equal(amountText(0.25), "0.25");
  assert.equal(sinceText(3.9), "3\u00a0min ago");
  assert.equal(sinceText(125), "2\u00a0h 5\u00a0min ago");
  assert.equal(sinceText(2 * 1440), "2 days ago");
  assert.equal(sinceText(-1), "ahead of the device's clock");
});
