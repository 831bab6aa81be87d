// Another week of free places, or other duties ticked, without leaving the page: the server answers with the part alone.
// Without this script the same links load the whole page.

const SELECTOR = "[data-places-part]";
let asked = 0;

/** The words of the address, and which further duties of the same visit are ticked. */
function address(form, search) {
  const words = new URLSearchParams(search);
  for (const box of form.querySelectorAll("input[name=also]:checked")) words.append("also", box.value);
  return `${form.dataset.places}?${words}`;
}

function put(form, text, focus) {
  const part = new DOMParser().parseFromString(text, "text/html").querySelector(SELECTOR);
  const chosen = form.querySelector("input[name=place]:checked")?.value;
  form.querySelector(SELECTOR).replaceWith(part);
  for (const radio of part.querySelectorAll("input[name=place]")) radio.checked = radio.value === chosen;
  if (focus) (part.querySelector(`[data-way="${focus}"]`) ?? part.querySelector("a"))?.focus();
}

async function show(form, search, focus) {
  const turn = ++asked;
  form.dataset.search = search;
  const answer = await fetch(address(form, search), { headers: { Accept: "text/html" } });
  // A later answer may come first; who was signed out gets the page of the server instead.
  if (turn !== asked) return;
  if (!answer.ok || answer.redirected) location.reload();
  else put(form, await answer.text(), focus);
}

function clicked(event) {
  const link = event.target.closest?.(`${SELECTOR} a[data-way]`);
  const form = link?.closest("[data-places]");
  if (!form || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  show(form, link.search, link.dataset.way);
}

function ticked(event) {
  const form = event.target.matches?.("input[name=also]") && event.target.closest("[data-places]");
  if (form) show(form, form.dataset.search ?? location.search);
}

addEventListener("click", clicked);
addEventListener("change", ticked);
