// A photograph in an SVG that can be brought closer and moved, with a line and handles over it.

import { inside, keptInside, viewOf, zoomedAt } from "./points.js";

const SVG = "http://www.w3.org/2000/svg";

export class Plane {
  constructor(svg) {
    this.svg = svg;
    const box = svg.viewBox.baseVal;
    [this.width, this.height] = [box.width, box.height];
    this.view = { x: 0, y: 0, zoom: 1 };
    for (const path of svg.querySelectorAll("path")) path.remove();
    this.lines = [this.add("path", "outline-shade"), this.add("path", "outline")];
    this.handles = this.add("g", "handles");
    svg.setAttribute("role", "application");
    svg.setAttribute("tabindex", "0");
  }

  add(name, kind) {
    const element = document.createElementNS(SVG, name);
    element.setAttribute("class", kind);
    return this.svg.appendChild(element);
  }

  inside(point) {
    return inside(point, this);
  }

  where(event) {
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.svg.getScreenCTM().inverse());
    return [at.x, at.y];
  }

  /** Pixels of the picture per pixel of the screen. */
  unit() {
    return 1 / (this.svg.getScreenCTM()?.a || 1);
  }

  middle() {
    const { x, y, zoom } = this.view;
    return [x + this.width / zoom / 2, y + this.height / zoom / 2];
  }

  zoom(factor, at) {
    this.look(zoomedAt(this.view, factor, at));
  }

  look(wanted) {
    this.view = keptInside(wanted, this);
    const { x, y, zoom } = this.view;
    this.svg.setAttribute("viewBox", [x, y, this.width / zoom, this.height / zoom].join(" "));
  }

  /** Bring these points closer, with as much again round them as they take up. */
  near(points) {
    this.look(viewOf(points, this));
  }

  pan(dx, dy) {
    this.look({ ...this.view, x: this.view.x - dx * this.unit(), y: this.view.y - dy * this.unit() });
  }

  draw(points, { chosen, closed, first }) {
    const path = points.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("L");
    for (const line of this.lines) line.setAttribute("d", path && `M${path}${closed ? "Z" : ""}`);
    const kind = (index) => (index === chosen ? "handle chosen" : first && index === 0 ? "handle first" : "handle");
    this.handles.replaceChildren(...points.map((point, index) => this.handle(point, kind(index))));
  }

  handle([x, y], kind) {
    const circle = document.createElementNS(SVG, "circle");
    const size = (kind === "handle chosen" ? 7 : 5) * this.unit();
    for (const [name, value] of Object.entries({ class: kind, cx: x, cy: y, r: size })) circle.setAttribute(name, value);
    return circle;
  }
}
