// Single-key shortcuts for whatever carries data-key. Shown as <kbd>, never needed.
// WCAG 2.1.4: off while somebody types, and a switch turns them off for this browser.

import "./key_list.js";

const STORE = "quarterday-keys-off";
const TYPING = "input:not([type=radio]):not([type=checkbox]):not([type=range]), textarea, select, [contenteditable]";
let off = false;

const target = (key) =>
  [...document.querySelectorAll("[data-key]")].find(
    (element) => element.dataset.key.toLowerCase() === key && element.getClientRects().length && !element.disabled,
  );

function rows() {
  return [...document.querySelectorAll(".rows > .row")];
}

function step(by) {
  const all = rows();
  if (!all.length) return;
  const now = all.findIndex((row) => row.classList.contains("chosen") || row.contains(document.activeElement));
  const next = all[Math.min(Math.max(now + by, 0), all.length - 1)];
  all.forEach((row) => row.classList.toggle("chosen", row === next));
  (next.querySelector(".row-do button, .row-do a") ?? next.querySelector("a, button"))?.focus();
}

/** A key acts on the row that is chosen before it acts on the page. */
function inRow(key) {
  const row = document.querySelector(".row.chosen") ?? document.activeElement?.closest(".row");
  return row && [...row.querySelectorAll("[data-row-key]")].find((element) => element.dataset.rowKey.toLowerCase() === key);
}

function use(element) {
  if (element.matches("input")) element.focus();
  if (element.matches(TYPING)) element.focus();
  else element.click();
}

function pressed(event) {
  if (off || event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
  if (event.target.matches?.(TYPING) || document.querySelector("dialog[open]")) return;
  const key = event.key.toLowerCase();
  const found = inRow(key) ?? target(key);
  if (found) {
    event.preventDefault();
    use(found);
  } else if ((key === "j" || key === "k") && rows().length) {
    event.preventDefault();
    step(key === "j" ? 1 : -1);
  }
}

function remember(value) {
  off = value;
  document.body.classList.toggle("keys-off", off);
  try {
    localStorage.setItem(STORE, off ? "1" : "");
  } catch {
    // A browser without storage forgets the choice at the next page.
  }
}

function addSwitch() {
  const box = document.querySelector(".keys");
  if (!box) return;
  const button = document.createElement("button");
  button.type = "button";
  button.className = "plain-button keys-switch";
  const say = () => (button.textContent = off ? gettext("Switch keys on") : gettext("Switch keys off"));
  button.addEventListener("click", () => {
    remember(!off);
    say();
  });
  say();
  box.append(button);
}

try {
  off = localStorage.getItem(STORE) === "1";
} catch {
  off = false;
}
document.body.classList.toggle("keys-off", off);
addSwitch();
document.addEventListener("keydown", pressed);
