import js from "@eslint/js";
import globals from "globals";

export default [
  { ignores: ["static/libraries/**"] },
  js.configs.recommended,
  {
    linterOptions: { reportUnusedDisableDirectives: "error" },
    rules: {
      eqeqeq: "error",
      "no-var": "error",
      "prefer-const": "error",
      "no-implied-eval": "error",
      "no-eval": "error",
      "no-console": "error",
      complexity: ["error", 12],
      "max-lines": ["error", { max: 400 }],
      "max-lines-per-function": ["error", { max: 80, skipBlankLines: true, skipComments: true }],
      "no-restricted-properties": [
        "error",
        { property: "innerHTML", message: "What people typed must stay inert: use textContent." },
        { property: "outerHTML", message: "What people typed must stay inert: use textContent." },
      ],
    },
  },
  { files: ["static/**/*.js"], languageOptions: { globals: globals.browser } },
  { files: ["page_tests/**/*.js", "bring_libraries.js"], languageOptions: { globals: { ...globals.nodeBuiltin, ...globals["shared-node-browser"] } } },
];
