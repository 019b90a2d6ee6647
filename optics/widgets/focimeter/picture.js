// The picture in the eyepiece. One formula: every lit point of the target is
// spread evenly over the oval R·stop, with R = F − (P + e)·I (see focimeter.py,
// which this is tested against). The reticle is spread by e alone.
//
// Lengths inside are pixels, x to the right and y down. An oval is laid down by
// its outline: a row of it is one even run of light, so it is enough to note
// where the run starts (+) and ends (−) and to add up along the rows once at the
// end. That makes a wide blur as cheap as its edge is long.
//
// A lens whose power changes over the stop shows the target once through each of
// many points of it (rays.js): they are laid down as one patch of light, and every
// lit point of the target is spread over that patch.

const SOFTEST = 0.3; // least radius of an oval, pixels, so that a line of light has some width
const ROOM = 8e6; // notes taken per picture before a coarser grid is used
const FINE_ENOUGH = 3; // an oval this wide in coarse pixels hides the coarser grid
const LIT = 0.08; // share of the picture that the sharp target covers, about
const FEWEST_RINGS = 7, MOST_RINGS = 24; // of points over the stop

// Brightness of a row of bars at distance u from its middle, as a table.
// `soft` is the standard deviation of the eye's blur and the pixel together.
function rowOfBars(count, spacing, length, soft) {
  const ramp = soft * Math.sqrt(20); // a smooth step this wide spreads as much
  const step = soft / 12;
  const half = (spacing * (count - 1) + length + ramp) / 2;
  const values = new Float32Array(2 * Math.ceil(half / step) + 1);
  const risen = (u) => {
    const t = Math.min(1, Math.max(0, u / ramp + 0.5));
    return t * t * (3 - 2 * t);
  };
  for (let i = 0; i < values.length; i++) {
    const u = (i - (values.length - 1) / 2) * step;
    for (let k = 0; k < count; k++) {
      const from = u - (k - (count - 1) / 2) * spacing;
      values[i] += risen(from + length / 2) - risen(from - length / 2);
    }
  }
  return { half, step, values };
}

// Lit points: places x, y (whole pixels) and light, kept in growing arrays.
class Points {
  constructor(room) {
    this.x = new Int16Array(room);
    this.y = new Int16Array(room);
    this.light = new Float32Array(room);
    this.count = 0;
  }
  add(x, y, light) {
    this.x[this.count] = x;
    this.y[this.count] = y;
    this.light[this.count++] = light;
  }
}

// One set of lines as tables: across a thick link and a thread, along the dashes and the whole.
function setOf(set, soft) {
  const length = set.dash_spacing * (set.dashes - 1) + set.dash_length;
  const links = rowOfBars(set.dashes, set.dash_spacing, set.dash_length, soft);
  return {
    links,
    whole: rowOfBars(1, 0, length, soft),
    thick: rowOfBars(set.lines, set.spacing, set.width, soft),
    thin: rowOfBars(set.lines, set.spacing, set.thread, soft),
    long: links.half,
    wide: rowOfBars(set.lines, set.spacing, set.width, soft).half,
  };
}

const read = ({ step, values }, u) => values[Math.round(u / step) + (values.length >> 1)] || 0;

// Light of a set at a place along and across its lines: links, and the thread between them.
function lightOf(set, along, across) {
  const thin = read(set.thin, across), thick = read(set.thick, across);
  if (!(thick > 0) && !(thin > 0)) return 0;
  return read(set.links, along) * (thick - thin) + read(set.whole, along) * thin;
}

const AS_IT_IS = { a: 1, b: 0, c: 0, d: 1 };

// The sharp target, turned by the wheel and moved by the prism (prism dioptres), as large as the lens shows it.
function litTarget(made, size, wheel, prismX, prismY, shown = AS_IT_IS) {
  const pixel = (2 * made.field) / size;
  const soft = Math.hypot(made.eye_blur, pixel / Math.sqrt(12));
  const turn = (wheel * Math.PI) / 180;
  const points = new Points(Math.ceil(0.6 * size * size));
  const det = shown.a * shown.d - shown.b * shown.c;
  // The cylinder lines run along the wheel's meridian, the sphere lines across it.
  for (const [lines, angle] of [[made.sphere_lines, turn + Math.PI / 2], [made.cylinder_lines, turn]]) {
    lightSet(setOf(lines, soft), angle, { size, pixel, prismX, prismY, shown, det }, points);
  }
  return points;
}

// Lights the points of one set. What is seen at (x, y) is the target at the inverse of `shown`.
function lightSet(set, angle, { size, pixel, prismX, prismY, shown, det }, points) {
  const cos = Math.cos(angle), sin = Math.sin(angle), middle = size / 2 - 0.5;
  // Along and across the lines, as slopes of x and y in the picture.
  const alongX = (shown.d * cos - shown.c * sin) / det, alongY = (shown.a * sin - shown.b * cos) / det;
  const acrossX = (-shown.d * sin - shown.c * cos) / det, acrossY = (shown.b * sin + shown.a * cos) / det;
  const larger = Math.max(1, Math.hypot(shown.a, shown.b, shown.c, shown.d) / Math.SQRT2) * 1.1;
  const high = larger * (Math.abs(sin) * set.long + Math.abs(cos) * set.wide);
  const top = Math.max(0, Math.ceil(middle - (prismY + high) / pixel) + size) - size;
  const bottom = Math.min(2 * size, Math.floor(middle - (prismY - high) / pixel));
  for (let j = top; j <= bottom; j++) {
    const y = (middle - j) * pixel - prismY;
    // Where this row of pixels enters and leaves the band of lines.
    let from = -Infinity, to = Infinity;
    for (const [slope, offset, half] of [[alongX, y * alongY, set.long], [acrossX, y * acrossY, set.wide]]) {
      if (Math.abs(slope) < 1e-9) {
        if (Math.abs(offset) > half) to = -Infinity;
        continue;
      }
      const a = (-half - offset) / slope, b = (half - offset) / slope;
      from = Math.max(from, Math.min(a, b));
      to = Math.min(to, Math.max(a, b));
    }
    const first = Math.max(-size, Math.ceil((from + prismX) / pixel + middle));
    const last = Math.min(2 * size, Math.floor((to + prismX) / pixel + middle));
    for (let i = first; i <= last; i++) {
      const x = (i - middle) * pixel - prismX;
      const light = lightOf(set, x * alongX + y * alongY, x * acrossX + y * acrossY);
      if (light > 0) points.add(i, j, light);
    }
  }
}

// The sharp reticle: rings and a cross that leaves the innermost ring free.
function inkedReticle(made, size) {
  const pixel = (2 * made.field) / size;
  const points = new Points(size * size);
  const line = (distance) =>
    Math.min(1, Math.max(0, (made.reticle_line / 2 + pixel / 2 - Math.abs(distance)) / pixel));
  const innermost = made.rings[0], outermost = made.rings[made.rings.length - 1];
  for (let j = 0; j < size; j++) {
    for (let i = 0; i < size; i++) {
      const x = (i + 0.5 - size / 2) * pixel, y = (j + 0.5 - size / 2) * pixel;
      const radius = Math.sqrt(x * x + y * y);
      let ink = radius >= innermost && radius <= outermost ? line(Math.min(Math.abs(x), Math.abs(y))) : 0;
      for (const ring of made.rings) ink = Math.max(ink, line(radius - ring));
      if (ink > 0) points.add(i, j, ink);
    }
  }
  return points;
}

// The oval R·stop on a grid of pixels: radii, outline and the axis its rows run along.
function oval(made, r, pixel) {
  const reach = made.stop_radius_cm / pixel;
  const xx = r.xx * reach, xy = -r.xy * reach, yy = r.yy * reach;
  const wide = xx * xx + xy * xy + SOFTEST ** 2;
  const high = yy * yy + xy * xy + SOFTEST ** 2;
  const slant = xy * (xx + yy);
  const area = Math.sqrt(Math.max(wide * high - slant * slant, SOFTEST ** 4));
  const longest = Math.sqrt((wide + high) / 2 + Math.hypot((wide - high) / 2, slant));
  // Rows run along the longer side, so that there are few of them.
  return { wide, high, slant, area, longest, narrowest: area / longest, upright: high > wide };
}

// Where each row of the oval starts and ends: lists of steps along, steps across, light.
function outline({ wide, high, slant, area, upright }, furthest) {
  const along2 = upright ? high : wide, across2 = upright ? wide : high;
  const along = Math.min(Math.ceil(Math.sqrt(along2)) + 2, furthest);
  const across = Math.min(Math.ceil(Math.sqrt(across2)) + 1, furthest);
  const stride = 2 * along + 2;
  const grid = new Float32Array(stride * (2 * across + 1));
  const rows = Math.sqrt(across2);
  const fine = rows < 3 ? 16 : 4; // parts of a pixel row
  const light = 1 / (Math.PI * area * fine);
  const note = (at, row, amount) => {
    const place = Math.max(-along, Math.min(along, at + 0.5));
    const whole = Math.floor(place), part = place - whole;
    const k = (row + across) * stride + whole + along;
    grid[k] += amount * (1 - part);
    grid[k + 1] += amount * part;
  };
  const last = Math.ceil(Math.min(rows, across + 0.5) * fine);
  for (let s = -last; s < last; s++) {
    const q = (s + 0.5) / fine;
    const half = (area / rows) * Math.sqrt(Math.max(0, 1 - (q * q) / across2));
    const middle = (slant / across2) * q;
    const row = Math.max(-across, Math.min(across, Math.round(q)));
    note(middle - half, row, light);
    note(middle + half, row, -light);
  }
  const notes = { along, across, p: [], q: [], amount: [] };
  for (let k = 0; k < grid.length; k++) {
    if (grid[k] === 0) continue;
    notes.p.push((k % stride) - along);
    notes.q.push(Math.floor(k / stride) - across);
    notes.amount.push(grid[k]);
  }
  return notes;
}

// Spread the points over the oval; gives the light at pixel (x, y) as out[y * size + x].
function spread(points, size, shape, out) {
  const notes = outline(shape, 2 * size);
  const [ps, qs] = shape.upright ? [points.y, points.x] : [points.x, points.y];
  const { along, across } = notes;
  const kept = new Int32Array(points.count);
  let count = 0, p0 = 0, p1 = size, q0 = 0, q1 = size;
  for (let i = 0; i < points.count; i++) {
    const p = ps[i], q = qs[i];
    if (p < -along - 1 || p > size + along || q < -across || q > size + across) continue;
    kept[count++] = i;
    if (p - along < p0) p0 = p - along;
    if (p + along + 2 > p1) p1 = p + along + 2;
    if (q - across < q0) q0 = q - across;
    if (q + across + 1 > q1) q1 = q + across + 1;
  }
  const stride = p1 - p0;
  const sum = new Float32Array(stride * (q1 - q0));
  const place = new Int32Array(count), light = new Float32Array(count);
  for (let i = 0; i < count; i++) {
    place[i] = (qs[kept[i]] - q0) * stride + ps[kept[i]] - p0;
    light[i] = points.light[kept[i]];
  }
  for (let n = 0; n < notes.amount.length; n++) {
    const step = notes.q[n] * stride + notes.p[n], amount = notes.amount[n];
    for (let i = 0; i < count; i++) sum[place[i] + step] += amount * light[i];
  }
  for (let q = 0; q < size; q++) {
    let total = 0;
    const row = (q - q0) * stride;
    for (let k = row; k < row - p0; k++) total += sum[k];
    for (let p = 0; p < size; p++) {
      total += sum[row - p0 + p];
      out[shape.upright ? p * size + q : q * size + p] = total;
    }
  }
}

// How widely places are strewn: their middle, and the radii of the oval that is as wide.
function strewn(places) {
  const n = places.length / 2;
  let x = 0, y = 0, xx = 0, xy = 0, yy = 0;
  for (let i = 0; i < n; i++) {
    x += places[2 * i] / n;
    y += places[2 * i + 1] / n;
  }
  for (let i = 0; i < n; i++) {
    const dx = places[2 * i] - x, dy = places[2 * i + 1] - y;
    xx += (dx * dx) / n;
    xy += (dx * dy) / n;
    yy += (dy * dy) / n;
  }
  const mean = (xx + yy) / 2, off = Math.hypot((xx - yy) / 2, xy);
  return { x, y, longest: 2 * Math.sqrt(mean + off), narrowest: 2 * Math.sqrt(Math.max(mean - off, 0)) };
}

// The patch of light that the points of the stop lay down, about (x, y): steps in pixels and light.
function patchOf(places, x, y, pixel) {
  const n = places.length / 2;
  let reach = 1;
  for (let i = 0; i < n; i++) {
    reach = Math.max(reach, Math.abs(places[2 * i] - x) / pixel + 2, Math.abs(places[2 * i + 1] - y) / pixel + 2);
  }
  const half = Math.ceil(reach), stride = 2 * half + 1, grid = new Float32Array(stride * stride);
  for (let i = 0; i < n; i++) {
    const px = (places[2 * i] - x) / pixel + half, py = half - (places[2 * i + 1] - y) / pixel;
    const p = Math.floor(px), q = Math.floor(py), a = px - p, b = py - q, k = q * stride + p;
    grid[k] += ((1 - a) * (1 - b)) / n;
    grid[k + 1] += (a * (1 - b)) / n;
    grid[k + stride] += ((1 - a) * b) / n;
    grid[k + stride + 1] += (a * b) / n;
  }
  const patch = { p: [], q: [], light: [], half };
  for (let k = 0; k < grid.length; k++) {
    if (grid[k] < 1e-6) continue;
    patch.p.push((k % stride) - half);
    patch.q.push(Math.floor(k / stride) - half);
    patch.light.push(grid[k]);
  }
  return patch;
}

// Lay the patch down at every lit point; gives the light at pixel (x, y) as out[y * size + x].
export function layDown(points, size, patch, out) {
  const { half } = patch, stride = size + 4 * half + 2, edge = 2 * half + 1;
  const sum = new Float32Array(stride * stride);
  const place = new Int32Array(points.count), light = new Float32Array(points.count);
  let count = 0;
  for (let i = 0; i < points.count; i++) {
    const x = points.x[i], y = points.y[i];
    if (x < -half || y < -half || x >= size + half || y >= size + half) continue;
    place[count] = (y + edge) * stride + x + edge;
    light[count++] = points.light[i];
  }
  for (let n = 0; n < patch.light.length; n++) {
    const step = patch.q[n] * stride + patch.p[n], amount = patch.light[n];
    for (let i = 0; i < count; i++) sum[place[i] + step] += amount * light[i];
  }
  for (let y = 0; y < size; y++) {
    const row = (y + edge) * stride + edge;
    for (let x = 0; x < size; x++) out[y * size + x] = sum[row + x];
  }
}

// Draws on a canvas, as often as asked. `made` is how the instrument is made:
// the constants of focimeter.py, sent by the kernel.
export class Picture {
  constructor(canvas, made) {
    this.canvas = canvas;
    this.made = made;
    this.context = canvas.getContext("2d", { alpha: false });
    this.sheets = new Map(); // canvases and light by size
    this.kept = new Map(); // sharp target and reticle, as long as they stand
  }

  // Width and height of the picture, device pixels; a whole number of eighths.
  resize(size) {
    const whole = Math.max(64, Math.round(size / 8) * 8);
    if (whole === this.canvas.width) return;
    this.canvas.width = this.canvas.height = whole;
    this.sheets.clear();
    this.kept.clear();
  }

  remember(name, key, make) {
    const known = this.kept.get(name);
    if (known && known.key === key) return known.value;
    const value = make();
    this.kept.set(name, { key, value });
    return value;
  }

  sheet(name, size) {
    const key = `${name} ${size}`;
    if (!this.sheets.has(key)) {
      const canvas = document.createElement("canvas");
      canvas.width = canvas.height = size;
      const context = canvas.getContext("2d");
      const image = context.createImageData(size, size);
      const words = new Uint32Array(image.data.buffer);
      this.sheets.set(key, { canvas, context, image, words, light: new Float32Array(size * size) });
    }
    return this.sheets.get(key);
  }

  // Grid for a blur: the finest that is quick enough, or a coarser one that looks the same.
  grid(r, share) {
    for (let size = this.canvas.width; ; size /= 2) {
      const shape = oval(this.made, r, (2 * this.made.field) / size);
      const effort = share * size * size * 10 * shape.longest;
      if (size % 2 || size <= 32 || (shape.narrowest < 2 * FINE_ENOUGH && effort < ROOM)) return { size, shape };
    }
  }

  // `state`: drum, wheel, eyepiece, eye, compensator_x, compensator_y, zero_error; `over`: what
  // lies over the stop, { field, x_mm, y_mm, against }, or null for the empty instrument.
  draw(state, over) {
    const { made, canvas, context } = this;
    const error = (state.eye - state.eyepiece) / made.magnification ** 2;
    context.imageSmoothingEnabled = true;
    const drum = state.drum - (state.zero_error || 0);
    if (over && over.field && !over.field.even) this.drawWhole(state, over, drum, error);
    else this.drawEven(state, metOver(over), drum, error);
    context.drawImage(this.drawReticle(error), 0, 0, canvas.width, canvas.width);
  }

  // One power for the whole stop.
  drawEven({ wheel, compensator_x, compensator_y }, { power, prism }, drum, error) {
    const { made } = this;
    const x = prism.x - compensator_x, y = prism.y - compensator_y;
    const r = { xx: power.xx - drum - error, xy: power.xy, yy: power.yy - drum - error };
    const { size, shape } = this.grid(r, LIT);
    const points = this.remember(`target ${size}`, `${wheel} ${x} ${y}`, () =>
      litTarget(made, size, wheel, x, y));
    spread(points, size, shape, this.sheet("target", size).light);
    this.showTarget(size);
  }

  // Each point of the stop on its own way.
  drawWhole({ wheel, compensator_x, compensator_y }, over, drum, error) {
    const { made } = this;
    const rough = this.stopAt(over, FEWEST_RINGS);
    const width = strewn(placesAt(rough, drum, error));
    const size = this.wholeGrid(width);
    const pixel = (2 * made.field) / size;
    // As many points as leave no gap of a pixel between neighbours.
    const rings = Math.min(MOST_RINGS, Math.max(FEWEST_RINGS, Math.ceil(width.longest / pixel)));
    const stop = this.stopAt(over, rings), places = placesAt(stop, drum, error), { x, y } = strewn(places);
    const points = litTarget(made, size, wheel, x - compensator_x, y - compensator_y, stop.shown);
    layDown(points, size, patchOf(places, x, y, pixel), this.sheet("target", size).light);
    this.showTarget(size);
  }

  stopAt(over, rings) {
    const { field, x_mm, y_mm, against } = over;
    const known = this.kept.get(`stop ${rings}`);
    const key = `${x_mm} ${y_mm} ${against}`;
    if (known && known.key === key && known.field === field) return known.value;
    const value = wholeStop(over, rings, 10 * this.made.stop_radius_cm);
    this.kept.set(`stop ${rings}`, { key, field, value });
    return value;
  }

  // The finest grid that is quick enough, or a coarser one that looks the same.
  wholeGrid({ longest, narrowest }) {
    for (let size = this.canvas.width; ; size /= 2) {
      const pixel = (2 * this.made.field) / size;
      const patch = Math.PI * (longest / pixel + 1) * (narrowest / pixel + 1);
      if (size % 2 || size <= 64 || LIT * size * size * patch < ROOM) return size;
    }
  }

  showTarget(size) {
    const { made, canvas, context } = this;
    const { canvas: sheet, context: ink, image, words, light } = this.sheet("target", size);
    for (let i = 0; i < light.length; i++) {
      const shown = made.glow + (1 - made.glow) * Math.min(1, Math.max(0, light[i]));
      words[i] = 0xff000000 | (((255 * Math.sqrt(shown) + 0.5) | 0) * 0x010101);
    }
    ink.putImageData(image, 0, 0);
    context.drawImage(sheet, 0, 0, canvas.width, canvas.width);
  }

  // Black with holes: what the reticle and the field stop take away.
  drawReticle(error) {
    const { made } = this;
    return this.remember("reticle", error, () => {
      const { size, shape } = this.grid({ xx: error, xy: 0, yy: error }, 0.1);
      const { canvas, context, image, words, light } = this.sheet("reticle", size);
      spread(this.remember(`sharp reticle ${size}`, size, () => inkedReticle(made, size)), size, shape, light);
      for (let j = 0, i = 0; j < size; j++) {
        const y = j + 0.5 - size / 2;
        for (let k = 0; k < size; k++, i++) {
          const x = k + 0.5 - size / 2;
          const rim = Math.min(1, Math.max(0, size / 2 - Math.sqrt(x * x + y * y) + 0.5));
          const left = Math.sqrt(1 - made.reticle_darkness * Math.min(1, Math.max(0, light[i])));
          words[i] = (255 * (1 - left * rim) + 0.5) << 24;
        }
      }
      context.putImageData(image, 0, 0);
      return canvas;
    });
  }
}
