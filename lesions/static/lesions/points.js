// Points on a photograph and the part of it that is seen, reckoned in pixels of the full picture. No page, no screen.

export const MOST_ZOOM = 12;

const apart = ([x, y], [u, v]) => Math.hypot(x - u, y - v);
const between = (value, least, most) => Math.min(Math.max(value, least), most);

/** The point of the side ab that lies nearest to p. */
function foot(p, a, b) {
  const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
  const along = ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / (dx * dx + dy * dy || 1);
  const t = between(along, 0, 1);
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

/** Half way to the next point of a ring; of points still being set, a little aside of the last. */
export function newPointAfter(points, at, ring, aside) {
  const [a, b] = [points[at], points[(at + 1) % points.length]];
  return ring && points.length > 2 ? [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2] : [a[0] + aside, a[1]];
}

/** The nearest point that lies on the picture. */
export const inside = ([x, y], { width, height }) => [between(x, 0, width), between(y, 0, height)];

/** Closer or further: what lies under `at` stays where it is on the screen. */
export function zoomedAt(view, factor, [x, y]) {
  const zoom = between(view.zoom * factor, 1, MOST_ZOOM);
  const by = view.zoom / zoom;
  return { x: x - (x - view.x) * by, y: y - (y - view.y) * by, zoom };
}

/** The same view, moved so that it shows nothing beside the picture. */
export function keptInside({ x, y, zoom }, { width, height }) {
  return { x: between(x, 0, width - width / zoom), y: between(y, 0, height - height / zoom), zoom };
}

/** The view of these points, with as much again round them as they take up. */
export function viewOf(points, { width, height }) {
  const [left, right] = [Math.min, Math.max].map((end) => end(...points.map(([x]) => x)));
  const [top, bottom] = [Math.min, Math.max].map((end) => end(...points.map(([, y]) => y)));
  const share = Math.max((right - left) / width, (bottom - top) / height);
  const zoom = between(0.5 / share, 1, MOST_ZOOM / 2);
  return { x: (left + right - width / zoom) / 2, y: (top + bottom - height / zoom) / 2, zoom };
}
