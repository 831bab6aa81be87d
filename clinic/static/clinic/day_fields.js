// Beside each field for a day, that day in words: a browser may show 12 November as 11/12, and no page can change that.

import { dayInWords } from "./days.js";

function say(field) {
  const words = field.nextElementSibling;
  if (words?.matches("output")) words.value = dayInWords(field.value, document.documentElement.lang);
}

function sayAll() {
  document.querySelectorAll("input[type=date]").forEach(say);
}

function changed({ target }) {
  if (target.matches?.("input[type=date]")) say(target);
}

addEventListener("input", changed);
addEventListener("change", changed);
// A page that comes back, by the browser's own way back, has the days that were typed into it.
addEventListener("pageshow", sayAll);
sayAll();
