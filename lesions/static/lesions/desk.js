// The decision page: look, choose, Enter writes out what will be signed, Enter signs, and the next item stands there.
//
// A held key does not count, and the second Enter works only when the confirmation is painted and 300 ms have passed.
// What is fetched before its turn records nothing (X-Ahead); a look is told once both pictures stand decoded and visible.

import { delivered, fetchAhead, letGo, standIn } from "./ahead.js";
import { Panes } from "./panes.js";

const PAUSE = 300;
const KEEP_AFTER = 500;
const TRY_AGAIN = 3000;

const painted = () => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)));

class Desk {
  constructor(root) {
    this.root = root;
    this.form = root.querySelector(".desk-form");
    this.says = root.querySelector(".desk-consequences");
    this.tools = new Set();
    this.panes = new Panes(root.querySelector("[data-panes]"), (tool) => this.use(tool));
    root.classList.add("live");
    for (const link of root.querySelectorAll("[data-sheet]")) {
      link.setAttribute("role", "button"); // it opens a sheet here, and is pressed while that is open
      link.addEventListener("click", (event) => this.sheet(event, link));
    }
    for (const link of root.querySelectorAll("a[data-swap], a[data-next]"))
      link.addEventListener("click", (event) => this.follow(event, link.href));
    for (const form of root.querySelectorAll("form[data-swap]"))
      form.addEventListener("submit", (event) => this.posted(event));
    if (this.form) this.listen();
    this.seen = this.look();
    this.aheadOnce();
  }

  listen() {
    this.form.addEventListener("submit", (event) => this.submitted(event));
    this.form.addEventListener("input", () => this.changed());
    this.form.elements.note.addEventListener("keydown", (event) => this.inNote(event));
    this.form.elements.months.addEventListener("focus", () => this.chooseMonths());
    for (const choice of this.form.querySelectorAll("[name=decision]"))
      choice.addEventListener("click", () => choice.value === "look_again" && this.form.elements.months.select());
    if (!this.says.querySelector(".errors, p")) this.says.classList.add("empty");
  }

  /** The browser's word that both pictures stand decoded and visible, once. */
  async look() {
    await this.panes.decoded();
    if (document.visibilityState !== "visible")
      await new Promise((done) => document.addEventListener("visibilitychange", done, { once: true }));
    await painted();
    this.root.dataset.decoded = "yes";
    await delivered(this.root);
    if (this.form) await this.tell();
  }

  async tell() {
    const answer = await this.post(this.root.dataset.look);
    const { places } = await answer.json();
    const counted = places && new DOMParser().parseFromString(places, "text/html").querySelector(".places");
    if (counted) document.querySelector(".places")?.replaceWith(document.adoptNode(counted));
  }

  post(url, more = {}) {
    const body = new FormData(this.form);
    for (const [name, value] of Object.entries(more)) body.set(name, value);
    return fetch(url, { method: "POST", body, headers: { Accept: "application/json" } });
  }

  use(tool) {
    this.tools.add(tool);
    if (this.form) this.form.elements.tools.value = [...this.tools].join(" ");
  }

  chooseMonths() {
    const choice = this.form.querySelector("[value=look_again]");
    if (!choice.checked) {
      choice.checked = true;
      this.changed();
    }
  }

  inNote(event) {
    if (event.key !== "Enter" || event.shiftKey) return;
    event.preventDefault();
    if (!event.repeat) this.form.requestSubmit();
  }

  // ---- what is begun is kept -------------------------------------------------------------------

  changed() {
    this.forget();
    clearTimeout(this.keeping);
    this.keeping = setTimeout(() => this.keep(), KEEP_AFTER);
  }

  async keep() {
    const word = this.root.querySelector(".desk-draft");
    try {
      const answer = await this.post(this.root.dataset.draft);
      const meanwhile = answer.status === 409 ? gettext("decided meanwhile") : gettext("not sent yet");
      word.textContent = answer.ok ? gettext("kept") : meanwhile;
    } catch {
      word.textContent = gettext("not sent yet");
      this.keeping = setTimeout(() => this.keep(), TRY_AGAIN);
    }
  }

  forget() {
    this.said = null;
    delete this.root.dataset.said;
    this.says.replaceChildren();
    this.says.classList.add("empty");
    this.form.elements.all_the_same.value = "";
  }

  // ---- the two Enters --------------------------------------------------------------------------

  async submitted(event) {
    event.preventDefault();
    if (this.busy) return;
    this.busy = true;
    try {
      if (!this.said) await this.say();
      else if (performance.now() - this.said >= PAUSE) await this.sign();
    } catch {
      this.complain(gettext("Not sent yet: the network does not answer. Press Enter again."));
    } finally {
      this.busy = false;
    }
  }

  async say() {
    const answer = await this.post(this.form.action, { step: "say" });
    const found = await answer.json();
    if (found.errors) return this.refuse(found.errors);
    this.says.classList.remove("empty");
    this.says.replaceChildren(...new DOMParser().parseFromString(found.html, "text/html").body.childNodes);
    this.form.elements.all_the_same.value = found.asked ? "on" : "";
    await painted();
    if (this.says.classList.contains("empty")) return; // gone back meanwhile
    this.said = performance.now();
    this.root.dataset.said = "yes";
  }

  refuse(errors) {
    const [name] = Object.keys(errors);
    this.complain(Object.values(errors).join(" "));
    const field = this.form.elements[name];
    (field instanceof RadioNodeList ? field[0] : field)?.focus?.();
  }

  complain(words) {
    const line = document.createElement("p");
    line.className = "care";
    line.setAttribute("role", "alert");
    line.textContent = words;
    this.says.classList.remove("empty");
    this.says.replaceChildren(line);
  }

  async sign() {
    if (!this.form.elements.in_person.checked && !this.root.dataset.decoded)
      return this.complain(gettext("The pictures are still on their way. Look at them first."));
    await this.seen.catch(() => this.look());
    clearTimeout(this.keeping);
    const headers = { "X-Next": "1" }; // the next page comes in the same answer
    await swap(await fetch(this.form.action, { method: "POST", body: new FormData(this.form), headers }));
  }

  async posted(event) {
    event.preventDefault();
    const form = event.target;
    await swap(await fetch(form.action, { method: "POST", body: new FormData(form, event.submitter) }));
  }

  async follow(event, url) {
    if (event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    await swap(await fetch(url));
  }

  // ---- sheets over the pictures ----------------------------------------------------------------

  async sheet(event, link) {
    event.preventDefault();
    const { sheet } = link.dataset;
    const own = this.root.querySelector(`[data-sheet-of="${sheet}"]`);
    const place = own ?? this.root.querySelector('[data-sheet-of="fetched"]');
    const shown = this.open === sheet;
    this.closeSheet();
    if (shown) return;
    if (!own) await this.fetchSheet(place, link.href);
    place.classList.add("open");
    link.setAttribute("aria-pressed", "true");
    this.open = sheet;
    this.use(sheet);
  }

  async fetchSheet(place, url) {
    const page = new DOMParser().parseFromString(await (await fetch(url)).text(), "text/html");
    place.replaceChildren(...(page.querySelector("[data-sheet-content]")?.childNodes ?? []));
  }

  closeSheet() {
    for (const sheet of this.root.querySelectorAll(".desk-sheet.open")) sheet.classList.remove("open");
    for (const link of this.root.querySelectorAll("[data-sheet]")) link.setAttribute("aria-pressed", "false");
    this.open = null;
  }

  /** Esc goes back one step: a sheet, then the confirmation. */
  back() {
    if (this.open) this.closeSheet();
    else if (this.form && !this.says.classList.contains("empty")) this.forget();
    document.activeElement?.blur?.();
  }

  // ---- the next item ---------------------------------------------------------------------------

  async aheadOnce() {
    await this.seen.catch(() => {});
    await fetchAhead(this.root.dataset.ahead.split(" ").filter(Boolean));
  }

  leave() {
    clearTimeout(this.keeping);
    this.panes.leave();
    for (const image of this.root.querySelectorAll("img[data-asked]")) letGo(image);
  }
}

let desk = null;

function begin() {
  const root = document.querySelector("[data-desk]");
  desk = root ? new Desk(root) : null;
}

/** Put the answered page in the place of this one; a page of another kind is opened as it is. */
async function swap(answer) {
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const main = page.querySelector("#main");
  if (!main?.querySelector("[data-desk]") && answer.status !== 409) return location.assign(answer.url);
  desk?.leave();
  standIn(main);
  document.querySelector("#main").replaceWith(document.adoptNode(main));
  const [old, now] = [document, page].map((one) => one.querySelector(".places"));
  if (old && now) old.replaceWith(document.adoptNode(now));
  document.title = page.title;
  history.pushState({}, "", answer.headers.get("Content-Location") ?? answer.url);
  begin();
  (document.querySelector("[data-desk]") ?? document.querySelector("#main")).focus?.();
}

document.addEventListener("keydown", (event) => {
  if (document.querySelector("dialog[open]")) return; // Esc closes that one, and goes back no further
  if (event.key === "Enter" && event.repeat) event.preventDefault();
  else if (event.key === "Escape") desk?.back();
  else if (event.key === "Enter" && desk?.form && event.target === document.body) desk.form.requestSubmit();
}, { capture: true });
addEventListener("popstate", () => location.reload());
addEventListener("online", () => desk?.form && desk.keeping && desk.keep());

begin();
