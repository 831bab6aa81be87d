// `object-fit: contain` as CSS Images Module Level 3 (5.5) has it: the largest size that fits, centred. Worked out by hand.
import assert from "node:assert/strict";
import { test } from "node:test";

import { fitted, keptInside, paneIn, zoomedAt } from "../../../lesions/static/lesions/panes.js";

const FRAME = { width: 400, height: 300 };
const shown = ([a, , , d, e, f], [x, y]) => [a * x + e, d * y + f];

test("a wide picture touches both sides of its frame and leaves as much above as below", () => {
  const matrix = fitted({ width: 800, height: 400 }, FRAME);
  assert.deepEqual(shown(matrix, [0, 0]), [0, 50]);
  assert.deepEqual(shown(matrix, [800, 400]), [400, 250]);
});

test("a pane's middle lies in the frame's, and all of the pane is seen", () => {
  const matrix = paneIn([1000, 700, 200, 100], FRAME);
  assert.deepEqual(shown(matrix, [1000, 700]), [200, 150]);
  assert.deepEqual(shown(matrix, [900, 650]), [0, 50]);
});

test("a millimetre is as long in both frames where both panes are as wide in millimetres", () => {
  // 20 pixels a millimetre in one picture, 35 in the other; each pane is 10 by 10 millimetres.
  const [one, other] = [paneIn([500, 500, 200, 200], FRAME), paneIn([900, 400, 350, 350], FRAME)];
  assert.ok(Math.abs(one[0] * 20 - other[0] * 35) < 1e-12);
});

test("what lies under the pointer stays there", () => {
  const view = { scale: 2, x: -100, y: -60 };
  const closer = zoomedAt(view, 1.5, { x: 120, y: 90 });
  const under = ({ scale, x, y }) => [(120 - x) / scale, (90 - y) / scale];
  assert.deepEqual(under(closer).map((value) => value.toFixed(9)), under(view).map((value) => value.toFixed(9)));
});

test("the zoom has its ends", () => {
  assert.equal(zoomedAt({ scale: 6, x: 0, y: 0 }, 2, { x: 0, y: 0 }).scale, 8);
  assert.equal(zoomedAt({ scale: 1.5, x: 0, y: 0 }, 0.5, { x: 0, y: 0 }).scale, 1);
});

test("a picture fills its frame, and at scale 1 it sits still", () => {
  assert.deepEqual(keptInside({ scale: 2, x: 50, y: -900 }, FRAME), { scale: 2, x: 0, y: -300 });
  const still = keptInside({ scale: 1, x: 12, y: -7 }, FRAME);
  assert.ok(still.x === 0 && still.y === 0);
});
