import assert from "node:assert/strict";
import { existsSync, readdirSync, readFileSync } from "node:fs";
import { test } from "node:test";

import { PLACES } from "../static/page/place_table.js";
import { catalogue } from "./catalogue.js";

const TEMPLATES = new URL("../templates/", import.meta.url);
const templates = readdirSync(TEMPLATES).map((name) => readFileSync(new URL(name, TEMPLATES), "utf8")).join("\n");
const index = readFileSync(new URL("index.html", TEMPLATES), "utf8");

for (const name of Object.keys(PLACES)) {
  test(`${name} has all that makes a place: a template, a heading, an icon, and its two words on the Places sheet`, () => {
    assert.ok(existsSync(new URL(`../static/${name}/${name}_place.js`, import.meta.url)));
    const own = readFileSync(new URL(`${name}.html`, TEMPLATES), "utf8");
    assert.match(own, new RegExp(`<main id="${name}" class="place[ "]`));
    assert.match(own, /<h1[^>]* tabindex="-1"/);
    assert.ok(index.includes(`{% include "${name}.html" %}`));
    assert.ok(templates.includes(`id="icon-${name}-place"`));
    for (const id of [`${name}-place`, `${name}-about`]) assert.match(catalogue("en"), new RegExp(`^${id} = `, "m"));
  });
}
