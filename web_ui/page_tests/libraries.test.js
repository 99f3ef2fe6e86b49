import assert from "node:assert/strict";
import { existsSync, readdirSync, readFileSync } from "node:fs";
import { test } from "node:test";

const HOME = new URL("../", import.meta.url);

/** Where each vendored library comes from in the package that package-lock.json pins: one line a library. */
const FROM = {
  "fluent-bundle": "node_modules/@fluent/bundle/esm/",
  uplot: "node_modules/uplot/dist/",
};

for (const [name, from] of Object.entries(FROM)) {
  test(`${name} is the package's own, byte by byte, with its licence beside it`, () => {
    const folder = new URL(`static/libraries/${name}/`, HOME);
    const files = readdirSync(folder).filter((file) => /\.(js|css)$/.test(file));
    assert.ok(files.length > 0);
    for (const file of files) assert.ok(readFileSync(new URL(file, folder)).equals(readFileSync(new URL(from + file, HOME))), file);
    assert.ok(existsSync(new URL("LICENSE", folder)));
  });
}

test("every folder of libraries is compared", () => {
  assert.deepEqual(readdirSync(new URL("static/libraries/", HOME)).sort(), Object.keys(FROM).sort());
});
