// The comparison stage: side by side, overlay, one zoom for both, outlines on or off. Nothing moves by itself.
//
// <div data-pictures [data-aligned]>
//   <div class="stage-tools" hidden> buttons with data-do="side|overlay|outline|in|out|fit" (data-key="s" ...),
//     <input type="range" data-blend min="0" max="100" value="50"> </div>
//   <div class="stage"> two <figure><div class="frame"> <img data-width data-height> {% outline_svg %} {% scale_bar %}
//   </div> <figcaption> </div>      (width and height of the full picture, which may be larger than the one shown)
// data-pane="x y width height" on both frames: the full pixel in the middle and the pixels to bring in, so that a
// millimetre is as long in one frame as in the other. Without it each picture fills its frame.
// Overlay wants data-aligned and, on the later frame, data-matrix="a b tx c d ty": LATER pixel -> EARLIER pixel.

import { fitted, keptInside, paneIn, zoomedAt } from "./panes.js";

const sizeOf = (frame) => ({ width: frame.clientWidth, height: frame.clientHeight });

function fit(image, frame) {
  const width = Number(image.dataset.width ?? image.naturalWidth);
  const height = Number(image.dataset.height ?? image.naturalHeight);
  return new DOMMatrix(fitted({ width, height }, sizeOf(frame)));
}

class Stage {
  constructor(root) {
    this.root = root;
    this.stage = root.querySelector(".stage");
    this.frames = [...root.querySelectorAll(".frame")];
    this.tools = root.querySelector(".stage-tools");
    this.blend = root.querySelector("[data-blend]");
    this.view = { scale: 1, x: 0, y: 0 };
    if (this.tools) this.tools.hidden = false;
    root.querySelectorAll("[data-do]").forEach((button) =>
      button.addEventListener("click", () => this.do(button.dataset.do)),
    );
    this.blend?.addEventListener("input", () => this.fade());
    for (const frame of this.frames) this.listen(frame);
    if (!root.hasAttribute("data-aligned")) this.noOverlay();
    addEventListener("resize", () => this.show());
    this.show();
  }

  noOverlay() {
    const button = this.root.querySelector('[data-do="overlay"]');
    if (button) button.disabled = true;
  }

  do(what) {
    if (what === "side" || what === "overlay") this.lay(what === "overlay");
    else if (what === "outline") this.stage.classList.toggle("no-outline");
    else if (what === "fit") this.view = { scale: 1, x: 0, y: 0 };
    else this.zoom(what === "in" ? 1.25 : 0.8, this.middle());
    this.show();
  }

  /** Lay the later picture over the earlier one, in the earlier one's frame, or take it off again. */
  lay(over) {
    const [earlier, later] = this.frames;
    const image = later?.querySelector("img");
    this.laid?.remove();
    this.laid = null;
    this.stage.classList.toggle("overlay", over);
    if (over && image) {
      this.laid = image.cloneNode();
      this.laid.alt = "";
      this.laid.dataset.matrix = later.dataset.matrix ?? "1 0 0 0 1 0";
      earlier.append(this.laid);
    }
    if (this.blend) this.blend.disabled = !over;
    this.fade();
  }

  fade() {
    if (this.laid) this.laid.style.opacity = String((this.blend?.value ?? 50) / 100);
  }

  middle() {
    const box = this.frames[0].getBoundingClientRect();
    return { x: box.width / 2, y: box.height / 2 };
  }

  zoom(factor, at) {
    this.view = zoomedAt(this.view, factor, at);
  }

  pan(dx, dy) {
    this.view.x += dx;
    this.view.y += dy;
  }

  /** Both frames look at the same place; at scale 1 the picture sits still. */
  show() {
    const box = this.frames[0].getBoundingClientRect();
    this.view = keptInside(this.view, box);
    const { scale, x, y } = this.view;
    const place = `translate(${x}px, ${y}px) scale(${scale})`;
    for (const frame of this.frames.filter((each) => each.clientWidth)) {
      const base = this.pane(frame);
      for (const child of frame.children)
        if (child.matches(".scale-bar")) this.growBar(child, scale);
        else child.style.transform = `${place} ${child === this.laid ? base.multiply(this.aligned(child)) : base}`;
    }
    this.pressedStates();
  }

  /** From a picture fitted into the whole frame to the part of it that the frame's pane shows. */
  pane(frame) {
    const image = frame.querySelector("img");
    if (!frame.dataset.pane || !image) return new DOMMatrix();
    const shown = new DOMMatrix(paneIn(frame.dataset.pane.split(" ").map(Number), sizeOf(frame)));
    return shown.multiply(fit(image, frame).inverse());
  }

  /** The scale bar keeps its corner and its lettering, and grows with the picture. */
  growBar(bar, scale) {
    bar.style.transformOrigin = "0 100%";
    bar.style.transform = `scale(${scale})`;
    const words = bar.querySelector("text");
    if (words) words.style.fontSize = `${Number(words.getAttribute("font-size")) / scale}px`;
  }

  /** The registration, given in pixels of the full pictures, as seen in the fitted box. */
  aligned(image) {
    const [frame] = this.frames;
    const [a, b, tx, c, d, ty] = image.dataset.matrix.split(/[\s,]+/).map(Number);
    const base = fit(frame.querySelector("img"), frame);
    return base.multiply(new DOMMatrix([a, c, b, d, tx, ty])).multiply(fit(image, frame).inverse());
  }

  pressedStates() {
    const on = {
      side: !this.stage.classList.contains("overlay"),
      overlay: this.stage.classList.contains("overlay"),
      outline: !this.stage.classList.contains("no-outline"),
    };
    for (const [name, value] of Object.entries(on))
      this.root.querySelector(`[data-do="${name}"]`)?.setAttribute("aria-pressed", String(value));
  }

  listen(frame) {
    frame.tabIndex = 0;
    frame.addEventListener("wheel", (event) => this.wheeled(frame, event), { passive: false });
    frame.addEventListener("pointerdown", (event) => frame.setPointerCapture(event.pointerId));
    frame.addEventListener("pointermove", (event) => this.dragged(frame, event));
    frame.addEventListener("keydown", (event) => this.pressed(event));
  }

  wheeled(frame, event) {
    if (!event.ctrlKey && this.view.scale === 1) return; // the page scrolls until somebody zooms on purpose
    event.preventDefault();
    const box = frame.getBoundingClientRect();
    this.zoom(event.deltaY < 0 ? 1.15 : 1 / 1.15, { x: event.clientX - box.left, y: event.clientY - box.top });
    this.show();
  }

  dragged(frame, event) {
    if (!frame.hasPointerCapture(event.pointerId)) return;
    this.pan(event.movementX, event.movementY);
    this.show();
  }

  pressed(event) {
    const step = { ArrowLeft: [40, 0], ArrowRight: [-40, 0], ArrowUp: [0, 40], ArrowDown: [0, -40] }[event.key];
    if (step && this.view.scale > 1) this.pan(...step);
    else if (event.key === "+" || event.key === "=") this.zoom(1.25, this.middle());
    else if (event.key === "-") this.zoom(0.8, this.middle());
    else return;
    event.preventDefault();
    this.show();
  }
}

for (const root of document.querySelectorAll("[data-pictures]")) new Stage(root);
