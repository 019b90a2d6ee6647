// Rays through a lens at any place of the stage, from the field that the kernel
// sends (stage_field.py). Snell's law at both surfaces, as in laid_flat.py.
// x and y as the front view has them, w along the light; millimetres.

// A field with its numbers unpacked; a lens of one power has none.
export function readField(field) {
  if (!field || field.even) return field;
  const bytes = Uint8Array.from(atob(field.values), (c) => c.charCodeAt(0));
  return { ...field, values: new Float32Array(bytes.buffer) };
}

// What part of the addition a segment has at a place of its own (see Segment.share).
function shareOf(line, x, y) {
  const reading = y <= line.line_y && (line.radius === null || Math.hypot(x, y - line.centre_y) <= line.radius);
  if (reading) return 1;
  return y <= 0 && y > line.line_y && Math.abs(x) <= line.half_line ? line.strip_share : 0;
}

// Slope that a segment adds, put into out[1] and out[2].
function addLine(line, x, y, out) {
  const turn = (line.degrees * Math.PI) / 180, cos = Math.cos(turn), sin = Math.sin(turn);
  const dx = x - line.top[0], dy = y - line.top[1];
  const u = dx * cos + dy * sin, v = dy * cos - dx * sin;
  const gained = line.curvature * shareOf(line, u, v);
  const su = gained * u, sv = gained * (v - line.centre_y);
  out[1] += su * cos - sv * sin;
  out[2] += su * sin + sv * cos;
}

// Height and slopes of surface `which` (0 front, 1 back) into out[0..2], between the grid's points.
function surfaceAt(field, which, x, y, out, lined) {
  const { grid, values } = field;
  const gx = Math.min(Math.max((x - grid.x) / grid.step, 0), grid.across - 1.001);
  const gy = Math.min(Math.max((y - grid.y) / grid.step, 0), grid.down - 1.001);
  const i = Math.floor(gx), j = Math.floor(gy), a = gx - i, b = gy - j;
  const layer = grid.across * grid.down, start = 3 * which * layer + j * grid.across + i;
  const mixed = (k) => {
    const n = start + k * layer;
    return (1 - b) * ((1 - a) * values[n] + a * values[n + 1])
      + b * ((1 - a) * values[n + grid.across] + a * values[n + grid.across + 1]);
  };
  out[1] = mixed(1);
  out[2] = mixed(2);
  // Between points a sag is not straight: half the slope's change bends it.
  const bow = (n, d) => (values[n + d] - values[n]) * grid.step / 2;
  const n1 = start + layer, n2 = start + 2 * layer;
  out[0] = mixed(0) - a * (1 - a) * bow(n1, 1) - b * (1 - b) * bow(n2, grid.across);
  const line = lined && field.lines[which];
  if (line) addLine(line, x, y, out);
}

// How a lens lies on the stop: which surface rests, the instrument's axis in it, and its sideways directions.
export function laid(field, x, y, against) {
  const mirrored = against === "front";
  const here = { field, mirrored, resting: mirrored ? 0 : 1, other: mirrored ? 1 : 0, shape: new Float64Array(3) };
  const out = here.shape;
  const at = [x - field.at[0], y - field.at[1]];
  alongLight(here, here.resting, at[0], at[1], false);
  here.foot = [at[0], at[1], out[0]];
  here.axis = unit([-out[1], -out[2], 1]);
  here.sideways = squareTo(here.axis);
  if (field.tilt) lean(here);
  return here;
}

function lean(here) {
  const tilt = (here.field.tilt * Math.PI) / 180, about = (here.field.tilt_axis * Math.PI) / 180;
  const [x, y] = here.sideways, side = here.mirrored ? -1 : 1;
  here.axis = here.axis.map((a, i) =>
    Math.cos(tilt) * a + Math.sin(tilt) * side * (Math.sin(about) * x[i] - Math.cos(about) * y[i]));
  here.sideways = squareTo(here.axis);
}

function unit(v) {
  const length = Math.hypot(v[0], v[1], v[2]);
  return [v[0] / length, v[1] / length, v[2] / length];
}

// The directions x and y brought square to the axis by the shortest turn.
function squareTo([a, b, c]) {
  return [[1 - (a * a) / (1 + c), (-a * b) / (1 + c), -a], [(-a * b) / (1 + c), 1 - (b * b) / (1 + c), -b]];
}

// A surface as the light has it, into here.shape.
function alongLight(here, which, x, y, lined) {
  const { field, shape } = here;
  surfaceAt(field, which, x, y, shape, lined);
  if (which === 1) shape[0] += field.thickness;
  if (!here.mirrored) for (let i = 0; i < 3; i++) shape[i] = -shape[i];
}

// Moves a ray (place 0-2, direction 3-5) to a surface and bends it there; `ratio` is the index before over that behind.
function bendAt(here, which, ray, ratio) {
  const { shape } = here;
  for (let turn = 0; turn < 3; turn++) {
    alongLight(here, which, ray[0], ray[1], false);
    const step = (ray[2] - shape[0]) / (ray[5] - ray[3] * shape[1] - ray[4] * shape[2]);
    for (let i = 0; i < 3; i++) ray[i] -= step * ray[3 + i];
    if (Math.abs(step) < 1e-5) break;
  }
  alongLight(here, which, ray[0], ray[1], true);
  const length = Math.hypot(shape[1], shape[2], 1);
  const nx = -shape[1] / length, ny = -shape[2] / length, nw = 1 / length;
  const cos = ray[3] * nx + ray[4] * ny + ray[5] * nw;
  const more = Math.sqrt(Math.max(1 - ratio * ratio * (1 - cos * cos), 1e-6)) - ratio * cos;
  ray[3] = ratio * ray[3] + more * nx;
  ray[4] = ratio * ray[4] + more * ny;
  ray[5] = ratio * ray[5] + more * nw;
}

// Where a ray from a place of the stop (mm) sent off with a slope stands in the field: prism dioptres, as seen.
export function sent(here, px, py, sx, sy, out) {
  const { field, axis, foot, sideways: [ex, ey], ray = (here.ray = new Float64Array(6)) } = here;
  const turn = here.mirrored ? -1 : 1;
  let length = 0;
  for (let i = 0; i < 3; i++) {
    ray[i] = foot[i] - field.off_stop * axis[i] + turn * px * ex[i] + py * ey[i];
    ray[3 + i] = axis[i] + turn * sx * ex[i] + sy * ey[i];
    length += ray[3 + i] * ray[3 + i];
  }
  length = Math.sqrt(length);
  for (let i = 3; i < 6; i++) ray[i] /= length;
  bendAt(here, here.resting, ray, 1 / field.index);
  bendAt(here, here.other, ray, field.index);
  const along = (v) => ray[3] * v[0] + ray[4] * v[1] + ray[5] * v[2];
  const ahead = along(axis);
  out[0] = turn * ((100 * along(ex)) / ahead + field.ground[0]);
  out[1] = (100 * along(ey)) / ahead + field.ground[1];
}

// Points that stand for equal parts of the stop: one, and 6 more on each ring than on the one before.
export function stopPoints(rings, radius) {
  const points = [[0, 0]], all = 3 * rings * (rings + 1) + 1;
  for (let k = 1; k <= rings; k++) {
    const r = radius * Math.sqrt((3 * k * k + 1) / all);
    for (let i = 0; i < 6 * k; i++) {
      const angle = (2 * Math.PI * (i + ((0.618 * k) % 1))) / (6 * k);
      points.push([r * Math.cos(angle), r * Math.sin(angle)]);
    }
  }
  return points;
}

// How a matrix of differences is read off four rays: columns over 2 × step.
function differences(here, step, place) {
  const out = new Float64Array(2), columns = [];
  for (const [x, y] of [[step, 0], [0, step]]) {
    if (place) sent(here, x, y, 0, 0, out); else sent(here, 0, 0, x, y, out);
    const [ax, ay] = out;
    if (place) sent(here, -x, -y, 0, 0, out); else sent(here, 0, 0, -x, -y, out);
    columns.push([(ax - out[0]) / (2 * step), (ay - out[1]) / (2 * step)]);
  }
  const [[a, c], [b, d]] = columns;
  return { a, b, c, d };
}

const NOTHING = { power: { xx: 0, xy: 0, yy: 0 }, prism: { x: 0, y: 0 } };

function metEven({ at, even }, x, y, against) {
  const [xx, xy, yy] = even.power, dx = (x - at[0]) / 10, dy = (y - at[1]) / 10;
  const turn = against === "front" ? -1 : 1;
  return {
    power: { xx, xy: turn * xy, yy },
    prism: { x: turn * (even.prism[0] - xx * dx - xy * dy), y: even.prism[1] - xy * dx - yy * dy },
  };
}

// Power and prism in the middle of the stop, as the operator sees them; `over` is null for the empty instrument.
export function metOver(over) {
  if (!over || !over.field) return NOTHING;
  const { field, x_mm, y_mm, against } = over;
  if (field.even) return metEven(field, x_mm, y_mm, against);
  const here = laid(field, x_mm, y_mm, against), out = new Float64Array(2);
  sent(here, 0, 0, 0, 0, out);
  // Light that leaves parallel: s = -(1/D) C u. A few tenths of a millimetre smooth the grid.
  const place = differences(here, 0.5, true), slope = differences(here, 1e-3, false);
  const size = -(slope.a * slope.d - slope.b * slope.c) / 1000;
  const xx = (slope.d * place.a - slope.b * place.c) / size, yy = (slope.a * place.d - slope.c * place.b) / size;
  const xy = (slope.d * place.b - slope.b * place.d + slope.a * place.c - slope.c * place.a) / (2 * size);
  return { power: { xx, xy, yy }, prism: { x: out[0], y: out[1] } };
}

// The whole stop at a place: where each point shows the crossing with the drum at two
// places, so that any drum lies on the line between; and how the target itself is shown.
export function wholeStop(over, rings, radius) {
  const { field, x_mm, y_mm, against } = over;
  const here = laid(field, x_mm, y_mm, against);
  const met = metOver(over), middle = (met.power.xx + met.power.yy) / 2;
  const points = stopPoints(rings, radius), out = new Float64Array(2);
  const at = new Float64Array(2 * points.length), more = new Float64Array(2 * points.length);
  points.forEach(([x, y], i) => {
    const lean = (d) => sent(here, x, y, ((middle + d) * x) / 1000, ((middle + d) * y) / 1000, out);
    lean(0.5);
    at[2 * i] = out[0];
    at[2 * i + 1] = out[1];
    lean(-0.5);
    more[2 * i] = at[2 * i] - out[0];
    more[2 * i + 1] = at[2 * i + 1] - out[1];
    at[2 * i] = (at[2 * i] + out[0]) / 2;
    at[2 * i + 1] = (at[2 * i + 1] + out[1]) / 2;
  });
  const shown = differences(here, 0.005, false);
  for (const k of "abcd") shown[k] /= 100;
  return { points, at, more, middle, shown };
}

// Where each point of the stop shows the crossing, x and y in turn, prism dioptres.
export function placesAt({ points, at, more, middle }, drum, error) {
  const places = new Float64Array(at.length);
  for (let i = 0; i < at.length; i++) {
    places[i] = at[i] + (drum - middle) * more[i] + (error * points[i >> 1][i & 1]) / 10;
  }
  return places;
}
