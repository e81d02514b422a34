// How the page's modules are checked: the recommended rules, and what keeps them short and plain.
import js from "@eslint/js";
import globals from "globals";

const worklet = { AudioWorkletProcessor: "readonly", registerProcessor: "readonly", sampleRate: "readonly" };

export default [
  js.configs.recommended,
  {
    files: ["**/*.js"],
    languageOptions: { ecmaVersion: 2024, sourceType: "module", globals: { ...globals.browser, ...worklet } },
    linterOptions: { reportUnusedDisableDirectives: "error" },
    rules: {
      eqeqeq: ["error", "smart"],
      "no-var": "error",
      "prefer-const": "error",
      "no-shadow": "error",
      "no-unused-vars": ["error", { argsIgnorePattern: "^_", varsIgnorePattern: "^_" }],
      "no-implicit-globals": "error",
      "no-eval": "error",
      "consistent-return": "error",
      "default-case-last": "error",
      "no-else-return": "error",
      complexity: ["error", 25],
      "max-len": ["error", { code: 100 }],
    },
  },
];
