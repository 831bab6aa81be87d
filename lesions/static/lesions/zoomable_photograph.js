// A photograph in an SVG that can be brought closer and moved, with a line and handles over it.

const SVG = "http://www.w3.org/2000/svg";
const MOST_ZOOM = 12;

const apart = ([x, y], [u, v]) => Math.hypot(x - u, y - v);

/** The point of the side ab that lies nearest to p. */
function foot(p, a, b) {
  const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
  const along = ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / (dx * dx + dy * dy || 1);
  const t = Math.min(Math.max(along, 0), 1);
  return [a[0] + t * dx, a[1] + t * dy];
}

/** The point within reach of p that lies nearest to it, by its number; -1 where none does. */
export function nearest(points, p, reach) {
  const gaps = points.map((point) => apart(point, p));
  const best = gaps.indexOf(Math.min(...gaps));
  return gaps[best] <= reach ? best : -1;
}

/** The side of the ring within reach of p, by the number of its first point. */
export function sideAt(points, p, reach) {
  const after = (index) => points[(index + 1) % points.length];
  return points.findIndex((point, index) => apart(foot(p, point, after(index)), p) <= reach);
}

/** Points from text: one on a line. */
export const read = (text) =>
  text
    .split("\n")
    .map((line) => line.trim().split(/[\s,]+/).map(Number))
    .filter((pair) => pair.length === 2 && pair.every(Number.isFinite));

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

  inside([x, y]) {
    return [Math.min(Math.max(x, 0), this.width), Math.min(Math.max(y, 0), this.height)];
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

  zoom(factor, [x, y]) {
    const zoom = Math.min(Math.max(this.view.zoom * factor, 1), MOST_ZOOM);
    const by = this.view.zoom / zoom;
    this.look({ x: x - (x - this.view.x) * by, y: y - (y - this.view.y) * by, zoom });
  }

  look({ x, y, zoom }) {
    const [width, height] = [this.width / zoom, this.height / zoom];
    this.view = { x: Math.min(Math.max(x, 0), this.width - width), y: Math.min(Math.max(y, 0), this.height - height), zoom };
    this.svg.setAttribute("viewBox", [this.view.x, this.view.y, width, height].join(" "));
  }

  /** Bring these points closer, with as much again round them as they take up. */
  near(points) {
    const [left, right] = [Math.min, Math.max].map((end) => end(...points.map(([x]) => x)));
    const [top, bottom] = [Math.min, Math.max].map((end) => end(...points.map(([, y]) => y)));
    const share = Math.max((right - left) / this.width, (bottom - top) / this.height);
    const zoom = Math.min(Math.max(0.5 / share, 1), MOST_ZOOM / 2);
    this.look({ x: (left + right - this.width / zoom) / 2, y: (top + bottom - this.height / zoom) / 2, zoom });
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
