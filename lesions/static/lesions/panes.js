// The two photographs: side by side at one scale, laid over each other or wiped, one view for both. Nothing moves by itself.
//
// <div data-panes [data-aligned]> <div class="panes"> figures with <div class="frame" data-width data-height data-close
// data-whole data-mm-per-px data-matrix> <img> <svg class="outlines"> </div> ; buttons with data-do ; <input data-blend>

import { bar, closer, laid, moved, stand } from "./geometry.js";

const STEP = 40;
const ARROWS = { ArrowLeft: [STEP, 0], ArrowRight: [-STEP, 0], ArrowUp: [0, STEP], ArrowDown: [0, -STEP] };
const START = { zoom: 1, x: 0, y: 0 };

const numbers = (text) => (text ? text.split(/[\s,]+/).map(Number) : null);
const whole = (frame) => [frame.dataset.width / 2, frame.dataset.height / 2, +frame.dataset.width, +frame.dataset.height];

class Frame {
  constructor(element) {
    this.element = element;
    this.image = element.querySelector("img");
    this.outlines = element.querySelector(".outlines");
    this.size = [Number(element.dataset.width), Number(element.dataset.height)];
    this.panes = { whole: numbers(element.dataset.whole) ?? whole(element) };
    this.panes.close = numbers(element.dataset.close) ?? this.panes.whole;
    this.mmPerPx = Number(element.dataset.mmPerPx) || null;
    this.bar = element.appendChild(document.createElement("div"));
    this.bar.className = "bar";
    this.bar.append(document.createElement("span"));
    element.classList.add("live");
  }

  box() {
    return { width: this.element.clientWidth, height: this.element.clientHeight };
  }

  show(which, view) {
    this.at = stand(this.panes[which], this.box(), view);
    for (const layer of [this.image, this.outlines]) if (layer) this.place(layer);
    this.drawBar();
  }

  place(layer) {
    const { k, left, top } = this.at;
    const [width, height] = this.size;
    Object.assign(layer.style, { width: `${width * k}px`, height: `${height * k}px`, left: `${left}px`, top: `${top}px` });
  }

  drawBar() {
    const found = bar(this.mmPerPx, this.at.k, this.box().width);
    this.bar.hidden = !found;
    if (!found) return;
    this.bar.style.width = `${found.pixels}px`;
    this.bar.firstChild.textContent = interpolate(gettext("%s mm"), [found.mm]);
  }
}

export class Panes {
  constructor(root, used = () => {}) {
    this.root = root;
    this.stage = root.querySelector(".panes");
    this.frames = [...root.querySelectorAll(".frame")].map((element) => new Frame(element));
    this.blend = root.querySelector("[data-blend]");
    this.used = used;
    this.view = START;
    this.which = "close";
    this.mode = "side";
    for (const button of root.querySelectorAll("[data-do]")) button.addEventListener("click", () => this.do(button.dataset.do));
    this.blend?.addEventListener("input", () => this.fade());
    for (const frame of this.frames) this.listen(frame);
    this.watch = new ResizeObserver(() => this.show());
    this.watch.observe(this.stage);
    this.show();
  }

  /** Resolves when every picture stands decoded. */
  decoded() {
    return Promise.all(this.frames.map((frame) => frame.image.decode()));
  }

  leave() {
    this.watch.disconnect();
  }

  do(what) {
    if (what === "outline") this.stage.classList.toggle("no-outline");
    else if (what === "whole") this.toggleWhole();
    else if (what === "in" || what === "out") this.zoomMiddle(what === "in" ? 1.25 : 0.8);
    else this.lay(this.mode === what ? "side" : what);
    this.used(what === "in" || what === "out" ? "closer" : what);
    this.show();
  }

  toggleWhole() {
    this.which = this.which === "close" ? "whole" : "close";
    this.view = START;
  }

  /** Lay the later picture over the earlier one, or wipe it across, in the earlier one's pane. */
  lay(mode) {
    const [earlier, later] = this.frames;
    this.over?.remove();
    this.over = null;
    this.mode = later && this.root.hasAttribute("data-aligned") ? mode : "side";
    this.stage.classList.toggle("overlay", this.mode !== "side");
    if (this.mode !== "side") {
      this.over = later.image.cloneNode();
      this.over.alt = "";
      this.over.className = "laid";
      earlier.element.append(this.over);
    }
    if (this.blend) this.blend.disabled = this.mode === "side";
  }

  show() {
    for (const frame of this.frames.filter((each) => each.element.clientWidth)) frame.show(this.which, this.view);
    if (this.over) this.showOver();
    this.pressedStates();
  }

  showOver() {
    const [earlier, later] = this.frames;
    const [width, height] = later.size;
    const matrix = laid(numbers(later.element.dataset.matrix), earlier.at);
    Object.assign(this.over.style, { width: `${width}px`, height: `${height}px`, left: "0", top: "0" });
    this.over.style.transformOrigin = "0 0";
    this.over.style.transform = `matrix(${matrix.join(",")})`;
    this.fade();
  }

  fade() {
    if (!this.over) return;
    const share = Number(this.blend.value);
    this.over.style.opacity = this.mode === "overlay" ? String(share / 100) : "1";
    this.over.style.clipPath = this.mode === "wipe" ? `inset(0 ${100 - share}% 0 0)` : "none";
  }

  pressedStates() {
    const on = {
      side: this.mode === "side",
      overlay: this.mode === "overlay",
      wipe: this.mode === "wipe",
      outline: !this.stage.classList.contains("no-outline"),
      whole: this.which === "whole",
    };
    for (const [name, value] of Object.entries(on))
      this.root.querySelector(`[data-do="${name}"]`)?.setAttribute("aria-pressed", String(value));
  }

  zoom(factor, at, frame) {
    this.view = closer(this.view, factor, at, frame.box());
    this.used("closer");
    this.show();
  }

  zoomMiddle(factor) {
    const [frame] = this.frames;
    const { width, height } = frame.box();
    this.view = closer(this.view, factor, { x: width / 2, y: height / 2 }, frame.box());
  }

  listen(frame) {
    const { element } = frame;
    element.addEventListener("wheel", (event) => this.wheeled(frame, event), { passive: false });
    element.addEventListener("pointerdown", (event) => element.setPointerCapture(event.pointerId));
    element.addEventListener("pointermove", (event) => this.dragged(frame, event));
    element.addEventListener("keydown", (event) => this.pressed(frame, event));
  }

  wheeled(frame, event) {
    event.preventDefault();
    const box = frame.element.getBoundingClientRect();
    this.zoom(event.deltaY < 0 ? 1.15 : 1 / 1.15, { x: event.clientX - box.left, y: event.clientY - box.top }, frame);
  }

  dragged(frame, event) {
    if (!frame.element.hasPointerCapture(event.pointerId)) return;
    this.view = moved(this.view, event.movementX, event.movementY, frame.box());
    this.show();
  }

  pressed(frame, event) {
    const { width, height } = frame.box();
    const middle = { x: width / 2, y: height / 2 };
    if (ARROWS[event.key]) this.view = moved(this.view, ...ARROWS[event.key], frame.box());
    else if (event.key === "+" || event.key === "=") this.zoom(1.25, middle, frame);
    else if (event.key === "-") this.zoom(0.8, middle, frame);
    else return;
    event.preventDefault();
    this.show();
  }
}
