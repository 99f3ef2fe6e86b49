import assert from "node:assert/strict";
import { test } from "node:test";

import { parsedPicture } from "../static/picture/picture_message.js";
import { SinglePictures } from "../static/picture/single_pictures.js";

/** @param {number} publication @param {number} ageMs */
function message(publication, ageMs) {
  const header = new TextEncoder().encode(JSON.stringify({ publication }));
  const bytes = new Uint8Array(12 + header.length + 2);
  bytes.set([0x74, 0x70, 0x6d, 0x31]);
  new DataView(bytes.buffer).setUint32(4, ageMs, true);
  new DataView(bytes.buffer).setUint32(8, header.length, true);
  bytes.set(header, 12);
  return bytes.buffer;
}

/** A device that answers as told, on a clock turned by hand; `until` waits for what the page then hears. */
function device() {
  const now = { ms: 0 };
  /** @type {any[]} */
  const heard = [];
  /** @type {string[]} */
  const asked = [];
  /** @type {Record<string, () => Response>} */
  const answers = { "/state": () => Response.json({ camera: {} }), "/access": () => Response.json({ role: "watches" }) };
  let woken = () => {};
  const told = (/** @type {any} */ what) => {
    heard.push(what);
    woken();
  };
  const listener = {
    picture: (/** @type {ArrayBuffer} */ data) => told({ picture: parsedPicture(data) }),
    state: (/** @type {any} */ state, /** @type {boolean} */ up) => told({ state, up }),
    access: (/** @type {any} */ access) => told({ access }),
    connection: (/** @type {boolean} */ open) => told({ open }),
  };
  const get = async (/** @type {string} */ path) => {
    asked.push(path);
    now.ms += 30;
    return answers[path]?.() ?? new Response(null, { status: 503 });
  };
  const singles = new SinglePictures(listener, get, () => now.ms);
  /** @param {(heard: any[]) => boolean} holds */
  const until = async (holds) => {
    while (!holds(heard)) await new Promise((resolve) => (woken = () => resolve(null)));
  };
  return { singles, heard, asked, answers, until };
}

const pictures = (/** @type {any[]} */ heard) => heard.filter((one) => one.picture);

test("the time a request takes counts as age, and the next waits until the picture is on the screen", async () => {
  const { singles, heard, asked, answers, until } = device();
  let publication = 1;
  answers["/picture"] = () => new Response(message(publication, 100));
  singles.start();
  await until((all) => pictures(all).length === 1 && all.some((one) => one.access));
  assert.ok(pictures(heard)[0].picture.ageMs >= 130, String(pictures(heard)[0].picture.ageMs));
  assert.deepEqual(heard.find((one) => "open" in one), { open: true });
  const before = asked.filter((path) => path === "/picture").length;
  assert.equal(before, 1);
  publication = 2;
  singles.drawn(1);
  await until((all) => pictures(all).length === 2);
  singles.stop();
  assert.equal(pictures(heard)[1].picture.header.publication, 2);
});

test("without an imager nothing is pretended, and a lost device ends it", async () => {
  const { singles, answers, until } = device();
  answers["/state"] = () => new Response(null, { status: 503 });
  singles.start();
  await until((all) => all.some((one) => one.up === false && one.state === null));
  answers["/picture"] = () => new Response(null, { status: 401 });
  await until((all) => all.some((one) => one.open === false));
  assert.equal(singles.running, null);
  assert.equal(singles.connected, false);
});
