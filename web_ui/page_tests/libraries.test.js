import assert from "node:assert/strict";
import { readdirSync, readFileSync } from "node:fs";
import { test } from "node:test";

import { LIBRARIES } from "../bring_libraries.js";

const HOME = new URL("../", import.meta.url);

for (const [name, { from }] of Object.entries(LIBRARIES)) {
  test(`${name} is the package's own that package-lock.json pins, byte by byte, with its licence beside it`, () => {
    const folder = new URL(`static/libraries/${name}/`, HOME);
    const brought = readdirSync(folder);
    const files = brought.filter((file) => /\.(js|css)$/.test(file));
    assert.ok(files.length > 0);
    for (const file of files) assert.ok(readFileSync(new URL(file, folder)).equals(readFileSync(new URL(`node_modules/${from}/${file}`, HOME))), file);
    assert.match(readFileSync(new URL(brought.find((file) => file.startsWith("LICENSE")) ?? "", folder), "utf8"), /MIT|Apache-2\.0/);
  });
}
