// The call: dialling keeps that the call was begun; the button says what it will do, and a chosen place is said beside it.

const call = document.querySelector("[data-call]");
const form = document.querySelector("#call-form");

/** The dialler of the house opens the number; the server keeps that it was dialled, also while this page goes away. */
function dialled(event) {
  const link = event.target.closest?.("[data-dial]");
  if (!link || !form) return;
  const way = document.querySelector(`input[name=way][value="${CSS.escape(link.dataset.dial)}"]`);
  if (way) way.checked = true;
  const words = new FormData();
  words.set("way", link.dataset.dial);
  words.set("csrfmiddlewaretoken", form.querySelector("[name=csrfmiddlewaretoken]").value);
  fetch(call.dataset.begin, { method: "POST", body: words, keepalive: true });
}

/** A place is agreed with somebody to whom one spoke: choosing it first chooses that outcome as well. */
function agreed(event) {
  if (event.target.name !== "place") return;
  if (!form.querySelector("input[name=outcome]:checked")) form.querySelector("#outcome-spoke").checked = true;
}

function chosen(place) {
  return place ? place.closest(".places-column").querySelector("legend").innerText.split("\n")[0] : "";
}

function say() {
  const place = form.querySelector("input[name=place]:checked");
  const button = form.querySelector(".call-log");
  button.textContent = place ? button.dataset.wordsBooked : button.dataset.words;
  form.querySelector("[data-agreed]").textContent = chosen(place);
}

/** P chooses the first free place that is shown; the part of the places may be drawn anew at any time. */
function mark() {
  const first = form.querySelector("input[name=place]");
  if (!first) return;
  first.dataset.key = "p";
  first.dataset.keyWords = gettext("the first free place that is shown");
}

document.addEventListener("click", dialled);
if (form) {
  const kept = [...form.querySelectorAll("input[name=place]")].find((radio) => radio.value === form.dataset.chosen);
  if (kept) kept.checked = true;
  mark();
  new MutationObserver(mark).observe(form, { childList: true, subtree: true });
  form.addEventListener("change", (event) => {
    agreed(event);
    say();
  });
  say();
}
