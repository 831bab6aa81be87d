// Points set by hand over a photograph: an outline (data-closed), or the two ends of a known distance.
// Mouse, touch and keyboard alike. The text area named by data-field carries the points, in pixels of the
// full picture; it is what the form sends, and without this script it is filled in by hand.

import { nearest, newPointAfter, read, sideAt } from "./points.js";
import { Plane } from "./zoomable_photograph.js";

const REACH = { touch: 24, pen: 16, mouse: 11 }; // px on the screen within which a point is taken hold of
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
class Points {
  constructor(root) {
    this.root = root;
    this.plane = new Plane(root.querySelector(".plane"));
    this.words = root.querySelector("[data-words]");
    this.field = document.getElementById(root.dataset.field);
    this.ring = root.hasAttribute("data-closed");
    this.most = Number(root.dataset.most);
    [this.past, this.future] = [[], []];
    this.chosen = -1;
    this.take(read(this.field.value));
    if (this.points.length > 2) this.plane.near(this.points);
    this.furnish();
    this.listen();
    this.draw();
  }

  take(points) {
    this.points = points;
    this.open = this.ring && points.length < 3; // still set down one after the other
  }

  furnish() {
    this.root.querySelector(".stage-tools").hidden = false;
    for (const help of document.querySelectorAll("[data-points-help]")) help.hidden = false;
    for (const text of document.querySelectorAll("[data-as-text]")) text.open = false;
  }

  listen() {
    const on = (name, act) => this.plane.svg.addEventListener(name, act.bind(this), { passive: false });
    on("pointerdown", this.down);
    on("pointermove", this.moved);
    on("pointerup", this.up);
    on("pointercancel", this.up);
    on("keydown", this.key);
    on("wheel", this.wheel);
    this.field.addEventListener("change", () => this.edit(() => this.take(read(this.field.value))));
    new ResizeObserver(() => this.draw()).observe(this.plane.svg);
    for (const button of this.root.querySelectorAll("[data-do]")) {
      button.addEventListener("pointerdown", (event) => event.preventDefault()); // the chosen point stays chosen
      button.addEventListener("click", () => this.do(button.dataset.do));
    }
  }

  do(what) {
    if (what === "undo") this.step(this.past, this.future);
    else if (what === "redo") this.step(this.future, this.past);
    else if (what === "insert") this.insert();
    else if (what === "remove") this.remove();
    else if (what === "nothing") this.edit(() => this.take([]));
    else if (what === "automatic") this.edit(() => this.take(read(this.root.dataset.automatic)));
    else if (what === "fit") this.see(() => this.plane.look({ x: 0, y: 0, zoom: 1 }));
    else this.zoom(what === "in" ? 1.4 : 1 / 1.4, this.plane.middle());
  }

  // ---- changes, each of which can be undone ----

  snapshot() {
    return { points: this.points.map((point) => [...point]), open: this.open };
  }

  remember() {
    this.past.push(this.snapshot());
    this.future = [];
  }

  edit(change) {
    this.remember();
    change();
    this.chosen = Math.min(this.chosen, this.points.length - 1);
    this.draw();
  }

  step(from, to) {
    if (!from.length) return;
    to.push(this.snapshot());
    Object.assign(this, from.pop());
    this.chosen = Math.min(this.chosen, this.points.length - 1);
    this.draw();
  }

  put(at, point) {
    this.points.splice(at, 0, this.plane.inside(point));
    this.chosen = at;
  }

  /** Half way to the next point; of points still being set, a little aside of the last. */
  insert() {
    if (this.points.length >= this.most) return;
    const count = this.points.length;
    const at = this.chosen < 0 ? count - 1 : this.chosen;
    if (!count) return this.edit(() => this.put(0, this.plane.middle()));
    const between = this.ring && !this.open;
    return this.edit(() => this.put(at + 1, newPointAfter(this.points, at, between, 30 * this.plane.unit())));
  }

  remove() {
    if (this.chosen < 0) return;
    this.edit(() => {
      this.points.splice(this.chosen, 1);
      if (this.points.length < 3) this.open = this.ring;
    });
  }

  // ---- mouse and touch ----

  down(event) {
    if (event.button) return;
    event.preventDefault();
    this.plane.svg.focus({ preventScroll: true });
    this.plane.svg.setPointerCapture(event.pointerId);
    const at = this.plane.where(event);
    const reach = (REACH[event.pointerType] ?? 11) * this.plane.unit();
    const found = nearest(this.points, at, reach);
    const whole = this.ring && !this.open && this.points.length < this.most;
    const side = found < 0 && whole ? sideAt(this.points, at, reach * 0.8) : -1;
    this.held = { at, last: [event.clientX, event.clientY], moved: false, pan: false };
    if (found >= 0) this.hold(found);
    else if (side >= 0) this.edit(() => this.put(side + 1, at));
    else if ((this.open || !this.ring) && this.points.length < this.most) this.edit(() => this.put(this.points.length, at));
    else this.held.pan = true;
    this.held.fresh = found < 0;
    this.draw();
  }

  /** Taking hold of the first of some points that are being set closes the ring. */
  hold(index) {
    if (this.open && index === 0 && this.points.length >= 3) this.edit(() => (this.open = false));
    this.chosen = index;
  }

  moved(event) {
    if (!this.held) return;
    const by = [event.clientX - this.held.last[0], event.clientY - this.held.last[1]];
    if (!this.held.moved && Math.hypot(...by) < 3) return;
    if (!this.held.moved && !this.held.fresh) this.remember();
    this.held.moved = true;
    if (this.held.pan) {
      this.held.last = [event.clientX, event.clientY];
      this.see(() => this.plane.pan(...by));
    } else {
      this.points[this.chosen] = this.plane.inside(this.plane.where(event));
      this.draw();
    }
  }

  up() {
    if (this.held?.pan && !this.held.moved) this.chosen = -1; // a press beside every point lets go
    this.held = null;
    this.draw();
  }
  // ---- keyboard ----

  key(event) {
    const command = event.ctrlKey || event.metaKey;
    if (command ? this.command(event) : this.pressed(event)) event.preventDefault();
  }

  command(event) {
    const what = { z: "undo", y: "redo", Z: "redo" }[event.key];
    if (what) this.do(what);
    return what;
  }

  pressed(event) {
    if (event.key === "Tab") return this.walk(event.shiftKey ? -1 : 1);
    if (ARROWS[event.key]) return this.nudge(ARROWS[event.key], event);
    if (event.key === "Insert") this.insert();
    else if (event.key === "Delete" || event.key === "Backspace") this.remove();
    else if (event.key === "Enter" && this.open && this.points.length > 2) this.edit(() => (this.open = false));
    else if (event.key === "Escape") this.choose(-1);
    else if (event.key === "+" || event.key === "=") this.zoom(1.4, this.points[this.chosen] ?? this.plane.middle());
    else if (event.key === "-") this.zoom(1 / 1.4, this.plane.middle());
    else return false;
    return true;
  }

  /** Tab goes through the points and then on to the page; after Escape it leaves at once. */
  walk(by) {
    const next = this.chosen < 0 ? (this.free ? -1 : 0) : this.chosen + by;
    this.free = false;
    if (next < 0 || next >= this.points.length) return false;
    this.choose(next);
    return true;
  }

  nudge([dx, dy], event) {
    const point = this.points[this.chosen];
    if (!point) return false;
    const far = this.plane.unit() * (event.shiftKey ? 10 : 1);
    if (!event.repeat) this.remember();
    this.points[this.chosen] = this.plane.inside([point[0] + dx * far, point[1] + dy * far]);
    this.draw();
    return true;
  }

  choose(index) {
    this.free = index < 0;
    this.chosen = index;
    this.draw();
  }

  // ---- what is seen ----

  zoom(factor, at) {
    this.see(() => this.plane.zoom(factor, at));
  }

  see(change) {
    change();
    this.draw();
  }

  wheel(event) {
    if (!event.ctrlKey && this.plane.view.zoom === 1) return; // the page scrolls until somebody zooms on purpose
    event.preventDefault();
    this.zoom(event.deltaY < 0 ? 1.15 : 1 / 1.15, this.plane.where(event));
  }

  draw() {
    this.plane.draw(this.points, { chosen: this.chosen, closed: this.ring && !this.open, first: this.open });
    this.field.value = this.points.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("\n");
    this.say();
  }

  say() {
    const count = this.points.length;
    const able = { undo: this.past.length, redo: this.future.length, remove: this.chosen >= 0, insert: count < this.most };
    for (const [name, value] of Object.entries(able))
      for (const button of this.root.querySelectorAll(`[data-do="${name}"]`)) button.disabled = !value;
    this.words.textContent =
      !this.ring && count < 2
        ? this.sayMark(count)
        : [this.sayPoint(count), this.sayNext(count)].filter(Boolean).join(" ") || this.sayCount(count);
  }

  sayMark(count) {
    return count ? gettext("Press on the second mark of the ruler.") : gettext("Press on the first mark of the ruler.");
  }

  sayPoint(count) {
    if (this.chosen < 0) return "";
    const [x, y] = this.points[this.chosen].map(Math.round);
    const said = gettext("Point %(number)s of %(count)s, at %(x)s, %(y)s.");
    return interpolate(said, { number: this.chosen + 1, count, x, y }, true);
  }

  sayNext(count) {
    if (!this.open) return "";
    return count < 3 ? gettext("Press round the lesion.") : gettext("Press the first point, or Enter, to close it.");
  }

  sayCount(count) {
    return interpolate(ngettext("%(count)s point.", "%(count)s points.", count), { count }, true);
  }
}

for (const root of document.querySelectorAll("[data-points]")) new Points(root);
