// node bring_libraries.js NODE_MODULES FOLDER: the page's libraries, as package-lock.json pins them, to where the page finds them.
// Nothing of them is kept with the project: make libraries brings them, and page_tests compare.
import { copyFileSync, mkdirSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";

/** @type {Record<string, {from: string, files: RegExp, licence: string}>} */
export const LIBRARIES = {
  "fluent-bundle": { from: "@fluent/bundle/esm", files: /\.(js|d\.ts)$|^package\.json$/, licence: "../package.json" },
  uplot: { from: "uplot/dist", files: /^uPlot\.(esm\.js|min\.css)$/, licence: "../LICENSE" },
};

/**
 * @param {string} modules
 * @param {string} target
 */
function bring(modules, target) {
  rmSync(target, { recursive: true, force: true });
  for (const [name, { from, files, licence }] of Object.entries(LIBRARIES)) {
    const source = join(modules, from);
    const folder = join(target, name);
    mkdirSync(folder, { recursive: true });
    for (const file of readdirSync(source).filter((one) => files.test(one))) copyFileSync(join(source, file), join(folder, file));
    // what it says of its licence: a text of its own, or the package's word for it
    copyFileSync(join(source, licence), join(folder, licence.endsWith("LICENSE") ? "LICENSE" : "LICENSE.json"));
  }
  // this package describes its types for CommonJS only
  copyFileSync(join(modules, "uplot/dist/uPlot.d.ts"), join(target, "uplot/uPlot.d.cts"));
  writeFileSync(join(target, "uplot/uPlot.esm.d.ts"), 'import uPlot = require("./uPlot.cjs");\nexport default uPlot;\n');
}

const [modules, target] = process.argv.slice(2);
if (modules && target) bring(modules, target);
else if (process.argv[1]?.endsWith("bring_libraries.js")) {
  process.stderr.write(`usage: node bring_libraries.js NODE_MODULES FOLDER (in ${dirname(process.argv[1])})\n`);
  process.exitCode = 2;
}
