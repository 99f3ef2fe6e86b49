import assert from "node:assert/strict";
import { test } from "node:test";

import { parsedPicture } from "../static/picture/picture_message.js";

/**
 * @param {string} magic
 * @param {number} ageMs
 * @param {Uint8Array} header
 * @param {number[]} jpeg
 * @param {number} [headerBytes]
 */
function message(magic, ageMs, header, jpeg, headerBytes = header.length) {
  const bytes = new Uint8Array(12 + header.length + jpeg.length);
  bytes.set(new TextEncoder().encode(magic));
  const view = new DataView(bytes.buffer);
  view.setUint32(4, ageMs, true);
  view.setUint32(8, headerBytes, true);
  bytes.set(header, 12);
  bytes.set(jpeg, 12 + header.length);
  return bytes.buffer;
}

const HEADER = new TextEncoder().encode(JSON.stringify({ publication: 7, note: "Größe" }));

test("age, header and JPEG come apart", () => {
  const { ageMs, header, jpeg } = parsedPicture(message("tpm1", 70_000, HEADER, [0xff, 0xd8, 0xff]));
  assert.equal(ageMs, 70_000);
  assert.deepEqual(header, { publication: 7, note: "Größe" });
  assert.deepEqual([...jpeg], [0xff, 0xd8, 0xff]);
});

test("what does not fit is refused, not guessed", () => {
  assert.throws(() => parsedPicture(new ArrayBuffer(5)), /5 bytes is too short/);
  assert.throws(() => parsedPicture(message("tpm2", 0, HEADER, [1])), /another version/);
  assert.throws(() => parsedPicture(message("tpm1", 0, HEADER, [1], 4_000_000_000)), /4000000000 bytes does not fit/);
  assert.throws(() => parsedPicture(message("tpm1", 0, HEADER, [])), /does not fit/);
  assert.throws(() => parsedPicture(message("tpm1", 0, new TextEncoder().encode("{"), [1])), SyntaxError);
  assert.throws(() => parsedPicture(message("tpm1", 0, new Uint8Array([0xc3, 0x28]), [1])), TypeError);
});
