// Where a photograph stands in its pane. Pure: numbers in, numbers out (tests/lesions/scripts/geometry.test.js).
//
// A pane is [x, y, width, height] in pixels of the full picture: the pixel in its middle and the pixels to bring in.
// A view is { zoom, x, y }: how much closer, and how far moved on the screen; both panes share it.

export const MOST_ZOOM = 12;
const BARS = [50, 20, 10, 5, 2, 1, 0.5];
const BAR_SHARE = 0.3;

/** Screen pixels per pixel of the picture, and where its left upper corner stands in the box. */
export function stand([x, y, width, height], box, view) {
  const k = Math.min(box.width / width, box.height / height) * view.zoom;
  return { k, left: box.width / 2 + view.x - k * x, top: box.height / 2 + view.y - k * y };
}

/** Bring closer by a factor, with the point of the box that lies under the pointer kept where it is. */
export function closer(view, factor, at, box) {
  const zoom = Math.min(Math.max(view.zoom * factor, 1), MOST_ZOOM);
  const by = zoom / view.zoom;
  const [x, y] = [at.x - box.width / 2, at.y - box.height / 2];
  return { zoom, x: x - (x - view.x) * by, y: y - (y - view.y) * by };
}

/** Move, but never so far that the middle of the pane leaves it. */
export function moved(view, dx, dy, box) {
  const [across, down] = [(box.width / 2) * view.zoom, (box.height / 2) * view.zoom];
  const within = (value, most) => Math.min(Math.max(value, -most), most);
  return { ...view, x: within(view.x + dx, across), y: within(view.y + dy, down) };
}

/** The longest bar of round millimetres that takes up at most its share of the box; null without a scale. */
export function bar(mmPerPx, k, width) {
  if (!mmPerPx) return null;
  const pixels = (mm) => (mm / mmPerPx) * k;
  const mm = BARS.find((length) => pixels(length) <= BAR_SHARE * width);
  return mm ? { mm, pixels: pixels(mm) } : null;
}

/** CSS matrix of the later picture laid on the earlier one, from the matrix LATER pixel -> EARLIER pixel. */
export function laid([a, b, tx, c, d, ty], { k, left, top }) {
  return [k * a, k * c, k * b, k * d, k * tx + left, k * ty + top];
}
