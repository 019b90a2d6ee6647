// Light through a lens as the browser follows it, without a browser: node --test
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

const widgets = new URL("../../../optics/widgets/", import.meta.url);
const source = readFileSync(new URL("focimeter/rays.js", widgets), "utf8");
const rays = await import(`data:text/javascript,${encodeURIComponent(source)}`);
const near = (found, wanted, within) => assert.ok(Math.abs(found - wanted) < within, `${found}, not ${wanted}`);

// A field of two spheres, sags from the circle itself; radii in mm, positive towards the eye.
function spheres(front, back, thickness, index, more = {}) {
  const grid = { x: -12, y: -12, step: 1, across: 25, down: 25 };
  const layers = [];
  for (const radius of [front, back]) {
    const sag = (x, y) => radius - Math.sign(radius) * Math.sqrt(radius ** 2 - x ** 2 - y ** 2);
    const slope = (x, y, along) => along / (radius - sag(x, y));
    for (const layer of [sag, (x, y) => slope(x, y, x), (x, y) => slope(x, y, y)]) {
      for (let j = 0; j < 25; j++) for (let i = 0; i < 25; i++) layers.push(layer(i - 12, j - 12));
    }
  }
  return {
    at: [0, 0], grid, values: new Float32Array(layers), lines: [null, null], thickness, index,
    ground: [0, 0], tilt: 0, tilt_axis: 180, off_stop: 0, ...more,
  };
}

// +8.00 in front, -2.00 behind, 6 mm thick, index 1.5: back vertex +6.26, front vertex +6.02 (reference BV1).
const thick = spheres(62.5, 250, 6, 1.5);

test("a thick lens reads its back vertex power, and turned over its front vertex power", () => {
  for (const [against, power] of [["back", 6.264], ["front", 6.024]]) {
    const met = rays.metOver({ field: thick, x_mm: 0, y_mm: 0, against });
    near(met.power.xx, power, 0.01);
    near(met.power.yy, power, 0.01);
    near(met.power.xy, 0, 0.001);
    near(Math.hypot(met.prism.x, met.prism.y), 0, 0.001);
  }
});

test("a plus lens shows its base towards its centre, turned over on the other side", () => {
  const at = (against) => rays.metOver({ field: thick, x_mm: 4, y_mm: -3, against }).prism;
  assert.ok(at("back").x < -2 && at("back").y > 1.5);
  assert.ok(at("front").x > 2 && at("front").y > 1.5);
});

test("a lens of one power follows Prentice's rule: -3.00, 8 mm below its centre, 2.4 base down (PR7)", () => {
  const field = { at: [-32, 1], even: { power: [-3, 0, -3], prism: [0, 0] } };
  const { prism } = rays.metOver({ field, x_mm: -32, y_mm: -7, against: "back" });
  near(prism.x, 0, 1e-9);
  near(prism.y, -2.4, 1e-9);
});

test("nothing on the stage has no power and no prism", () => {
  assert.deepEqual(rays.metOver(null), { power: { xx: 0, xy: 0, yy: 0 }, prism: { x: 0, y: 0 } });
});

test("the points of the stop share it evenly", () => {
  const points = rays.stopPoints(8, 4);
  assert.equal(points.length, 217);
  const mean = points.reduce((sum, [x, y]) => sum + x * x + y * y, 0) / points.length;
  near(mean, 8, 0.1); // half the square of the radius
  near(points.reduce((sum, [x]) => sum + x, 0) / points.length, 0, 0.01);
});

test("at the drum that the lens needs every point shows the crossing in one place", () => {
  const stop = rays.wholeStop({ field: thick, x_mm: 0, y_mm: 0, against: "back" }, 6, 4);
  const sharp = rays.placesAt(stop, 6.264, 0), soft = rays.placesAt(stop, 5.264, 0);
  const widest = (places) => Math.max(...places.map(Math.abs));
  assert.ok(widest(sharp) < 0.03, widest(sharp));
  near(widest(soft), 0.4 * stop.shown.a, 0.03); // one dioptre over 4 mm
});

test("across a segment's line two places are shown, a prism apart", () => {
  // Add 2.00 in 1.5, the line 5 mm above the segment's centre: 1.0 prism dioptre (image jump).
  const line = { line_y: 0, centre_y: -5, radius: 14, half_line: 13, strip_share: 0.5, curvature: 2 / 500, top: [0, 0], degrees: 0 };
  const field = spheres(1e6, 1e6, 2, 1.5, { lines: [line, null] });
  const places = rays.placesAt(rays.wholeStop({ field, x_mm: 0, y_mm: 0, against: "front" }, 6, 4), 0, 0);
  const ys = places.filter((_, i) => i % 2);
  near(ys.filter((y) => Math.abs(y) < 0.01).length / ys.length, 0.5, 0.05);
  near(Math.min(...ys), -1, 0.15);
  assert.ok(ys.every((y) => Math.abs(y) < 0.01 || y < -0.15));
});
