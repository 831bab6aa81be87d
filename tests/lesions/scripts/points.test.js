// Worked out by hand on squares and straight lines; a picture of 1000 by 500 pixels.
import assert from "node:assert/strict";
import { test } from "node:test";

import {
  inside, keptInside, MOST_ZOOM, nearest, newPointAfter, read, sideAt, viewOf, zoomedAt,
} from "../../../lesions/static/lesions/points.js";

const SQUARE = [[0, 0], [10, 0], [10, 10], [0, 10]];
const PICTURE = { width: 1000, height: 500 };

test("points are read one on a line, and what is no pair of numbers is left out", () => {
  assert.deepEqual(read(" 1 2\n3,4\n\nfive 6\n7\n8 9 10"), [[1, 2], [3, 4]]);
});

test("the nearest point within reach is taken hold of, and none beyond it", () => {
  assert.equal(nearest(SQUARE, [9, 1], 3), 1);
  assert.equal(nearest(SQUARE, [5, 5], 3), -1);
  assert.equal(nearest([], [5, 5], 3), -1);
});

test("a ring has a side from its last point to its first", () => {
  assert.equal(sideAt(SQUARE, [5, 1], 2), 0);
  assert.equal(sideAt(SQUARE, [1, 5], 2), 3);
  assert.equal(sideAt(SQUARE, [5, 5], 2), -1);
});

test("a side of no length is met at its point", () => {
  assert.equal(sideAt([[3, 3], [3, 3]], [3, 4], 2), 0);
});

test("a new point lies half way round a ring, and aside of a point that is still being set", () => {
  assert.deepEqual(newPointAfter(SQUARE, 3, true, 30), [0, 5]);
  assert.deepEqual(newPointAfter(SQUARE, 3, false, 30), [30, 10]);
  assert.deepEqual(newPointAfter([[4, 4], [8, 8]], 0, true, 30), [34, 4]);
});

test("no point leaves the picture", () => {
  assert.deepEqual(inside([-3, 700], PICTURE), [0, 500]);
  assert.deepEqual(inside([20, 30], PICTURE), [20, 30]);
});

test("what lies under the pointer stays there while the picture comes closer", () => {
  const view = { x: 100, y: 50, zoom: 2 };
  const at = [300, 150];
  const closer = zoomedAt(view, 1.5, at);
  const onScreen = ({ x, y, zoom }) => [(at[0] - x) * zoom, (at[1] - y) * zoom].map(Math.round);
  assert.deepEqual(onScreen(closer), onScreen(view));
  assert.equal(closer.zoom, 3);
});

test("a picture comes no closer than the most and goes no further than the whole", () => {
  assert.equal(zoomedAt({ x: 0, y: 0, zoom: 10 }, 4, [0, 0]).zoom, MOST_ZOOM);
  assert.equal(zoomedAt({ x: 0, y: 0, zoom: 1.2 }, 0.5, [0, 0]).zoom, 1);
});

test("the view shows nothing beside the picture", () => {
  assert.deepEqual(keptInside({ x: 900, y: -20, zoom: 2 }, PICTURE), { x: 500, y: 0, zoom: 2 });
  assert.deepEqual(keptInside({ x: 40, y: 40, zoom: 1 }, PICTURE), { x: 0, y: 0, zoom: 1 });
});

test("points that fill a tenth of the picture are shown at half of the screen, in its middle", () => {
  const seen = viewOf([[450, 230], [550, 270]], PICTURE);
  assert.equal(seen.zoom, 5);
  assert.deepEqual([seen.x + 1000 / seen.zoom / 2, seen.y + 500 / seen.zoom / 2], [500, 250]);
});

test("one point alone is not shown closer than half of the most", () => {
  assert.equal(viewOf([[450, 230]], PICTURE).zoom, MOST_ZOOM / 2);
});
