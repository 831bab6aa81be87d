// Linter of the scripts of the pages: modules without a build step, in a browser with Django's words of the page.
import js from "@eslint/js";

const names = (kind, words) => Object.fromEntries(words.split(" ").map((word) => [word, kind]));

export default [
  js.configs.recommended,
  {
    languageOptions: { ecmaVersion: 2022, sourceType: "module" },
    linterOptions: { reportUnusedDisableDirectives: "error" },
    rules: {
      eqeqeq: "error",
      "max-len": ["error", { code: 130 }],
      "max-lines-per-function": ["error", { max: 40 }],
      "no-implicit-globals": "error",
      "no-shadow": "error",
      "no-var": "error",
      "prefer-const": "error",
    },
  },
  {
    files: ["clinic/static/**", "lesions/static/**", "scheduling/static/**"],
    languageOptions: {
      globals: {
        ...names("readonly", "document addEventListener localStorage gettext ngettext interpolate"),
        ...names("readonly", "fetch history location performance requestAnimationFrame setTimeout clearTimeout"),
        ...names("readonly", "DOMParser RadioNodeList CustomEvent DOMMatrix DOMPoint FormData ResizeObserver XMLHttpRequest"),
        ...names("readonly", "URL URLSearchParams Image CSS MutationObserver"),
      },
    },
    rules: {
      "no-restricted-properties": ["error", { property: "innerHTML", message: "Markup is written by the server alone." }],
    },
  },
];
