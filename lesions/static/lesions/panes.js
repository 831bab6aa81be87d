// How two pictures lie in their frames, reckoned in pixels of the screen. A matrix is [a, b, c, d, e, f] as in CSS.

const MOST_ZOOM = 8;

/** From pixels of the full picture to the frame, as `object-fit: contain` lays it. */
export function fitted(picture, frame) {
  const k = Math.min(frame.width / picture.width, frame.height / picture.height);
  return [k, 0, 0, k, (frame.width - k * picture.width) / 2, (frame.height - k * picture.height) / 2];
}

/** From pixels of the full picture to the frame: the pane's middle in the frame's, the whole pane in sight. */
export function paneIn([x, y, width, height], frame) {
  const k = Math.min(frame.width / width, frame.height / height);
  return [k, 0, 0, k, frame.width / 2 - k * x, frame.height / 2 - k * y];
}

/** Closer or further: what lies under `at` stays where it is. */
export function zoomedAt(view, factor, at) {
  const scale = Math.min(Math.max(view.scale * factor, 1), MOST_ZOOM);
  const by = scale / view.scale;
  return { scale, x: at.x - (at.x - view.x) * by, y: at.y - (at.y - view.y) * by };
}

/** The same view, moved so that the picture fills the frame; at scale 1 it sits still. */
export function keptInside({ scale, x, y }, frame) {
  const kept = (value, size) => Math.min(0, Math.max(value, size * (1 - scale)));
  return { scale, x: kept(x, frame.width), y: kept(y, frame.height) };
}
