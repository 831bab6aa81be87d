// “?” shows the keys of this page in a dialog of the browser's own: Esc closes it, the focus goes back to where it was.
//
// The list is read from the page itself (data-key, <kbd>), so that it can say nothing that is not so.

const CARRIERS = "[data-key], button:has(> kbd)";
const BESIDE = "kbd, .count";

/** What a key does, in the words that stand on the page; data-key-words where those say too little. */
function wordsOf(element) {
  const said = element.dataset.keyWords ?? element.getAttribute("aria-label");
  if (said) return said;
  const named = (element.labels?.[0] ?? element).cloneNode(true);
  for (const part of named.querySelectorAll(BESIDE)) part.remove();
  return named.textContent.replace(/\s+/g, " ").trim();
}

function keyOf(element) {
  return (element.dataset.key ?? element.querySelector("kbd").textContent).toUpperCase();
}

function inSight(element) {
  return element.getClientRects().length && !element.disabled && !element.closest("[inert], dialog");
}

function line(element) {
  const row = document.createElement("div");
  const [key, words] = ["dt", "dd"].map((name) => row.appendChild(document.createElement(name)));
  key.appendChild(document.createElement("kbd")).textContent = keyOf(element);
  words.textContent = wordsOf(element);
  return row;
}

export function showKeys() {
  const dialog = document.querySelector("[data-key-list]");
  const found = [...document.querySelectorAll(CARRIERS)].filter(inSight);
  dialog.querySelector("[data-key-rows]").replaceChildren(...found.map(line));
  dialog.showModal();
}

document.addEventListener("click", (event) => {
  if (event.target.closest?.("[data-shows-keys]")) showKeys();
});
