// Where two photographs stand in their panes: both at one scale, and what is looked at stays where it is.
import assert from "node:assert/strict";
import test from "node:test";

import { bar, closer, laid, moved, MOST_ZOOM, stand } from "../../../lesions/static/lesions/geometry.js";

const BOX = { width: 400, height: 300 };
const START = { zoom: 1, x: 0, y: 0 };
const close = (found, wanted) => assert.ok(Math.abs(found - wanted) < 1e-9, `${found} is not ${wanted}`);
const onScreen = (pane, view, [x, y]) => {
  const { k, left, top } = stand(pane, BOX, view);
  return [left + k * x, top + k * y];
};

test("the pane's middle stands in the middle of the box, and the whole pane is in sight", () => {
  const pane = [500, 200, 800, 300];
  assert.deepEqual(onScreen(pane, START, [500, 200]), [200, 150]);
  const [left] = onScreen(pane, START, [100, 200]);
  const [right] = onScreen(pane, START, [900, 200]);
  close(left, 0);
  close(right, 400);
});

test("extents in the ratio of the scales make a millimetre equally long in both", () => {
  const zoom = 1.12; // earlier pixels per later pixel
  const earlier = stand([300, 200, 600, 400], BOX, START).k;
  const later = stand([250, 180, 600 / zoom, 400 / zoom], BOX, START).k;
  close(later / earlier, zoom);
});

test("brought closer, what lies under the pointer stays there", () => {
  const pane = [500, 200, 800, 600];
  const at = { x: 90, y: 210 };
  const { k, left, top } = stand(pane, BOX, START);
  const under = [(at.x - left) / k, (at.y - top) / k];
  const [x, y] = onScreen(pane, closer(START, 1.6, at, BOX), under);
  close(x, at.x);
  close(y, at.y);
});

test("it comes no closer than the most and goes no further than the whole", () => {
  assert.equal(closer(START, 1000, { x: 0, y: 0 }, BOX).zoom, MOST_ZOOM);
  assert.equal(closer(START, 0.001, { x: 0, y: 0 }, BOX).zoom, 1);
});

test("moved, the middle of the pane never leaves the box", () => {
  assert.deepEqual(moved(START, 9999, -9999, BOX), { zoom: 1, x: 200, y: -150 });
});

test("the bar is of round millimetres and takes up at most three tenths", () => {
  const found = bar(0.02, 0.5, 480); // 25 screen pixels a millimetre
  assert.deepEqual(found, { mm: 5, pixels: 125 });
  assert.equal(bar(null, 0.5, 480), null);
  assert.equal(bar(0.0001, 5, 480), null);
});

test("the bar is as long as it says, whatever the scale and the size of the picture", () => {
  for (const [mmPerPx, width, mm] of [[0.02, 1000, 5], [0.1, 1000, 20], [0.02, 4000, 20], [0.006, 1000, 1], [0.2, 2000, 50]]) {
    const found = bar(mmPerPx, 1, width);
    assert.equal(found.mm, mm);
    close(found.pixels, mm / mmPerPx);
    assert.ok(found.pixels <= 0.3 * width);
  }
  for (const nothing of [null, 0, 0.0005]) assert.equal(bar(nothing, 1, 800), null);
});

test("the later picture is laid where the alignment says", () => {
  const matrix = [0.9, -0.1, 30, 0.1, 0.9, 12]; // LATER pixel -> EARLIER pixel, row by row
  const { k, left, top } = stand([300, 200, 600, 400], BOX, START);
  const [a, b, c, d, e, f] = laid(matrix, { k, left, top });
  const [x, y] = [50, 70];
  close(a * x + c * y + e, left + k * (0.9 * x - 0.1 * y + 30));
  close(b * x + d * y + f, top + k * (0.1 * x + 0.9 * y + 12));
});
