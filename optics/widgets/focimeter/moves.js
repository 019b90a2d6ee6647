// What a hand's move means in numbers. Nothing here touches the page, so that it is tested without one.

// The nearest whole number of steps, without the dust of binary fractions.
export const stepped = (value, step) => Number((Math.round(value / step) * step).toFixed(4));
export const within = (value, low, high) => Math.min(high, Math.max(low, value));
// The axis wheel has no end: after 180 comes 1.
export const wholeWheel = (value) => ((((Math.round(value) - 1) % 180) + 180) % 180) + 1;

// Where a control comes to stand: on its own step and within its ends, or round again.
export function settled({ min, max, grain, endless }, value) {
  return endless ? wholeWheel(value) : within(stepped(value, grain), min, max);
}

// Where a key sends a control that stands at `value`; null for a key that is not its own.
export function byKey(key, { min, max, step, page }, value) {
  switch (key) {
    case "ArrowRight": case "ArrowUp": return value + step;
    case "ArrowLeft": case "ArrowDown": return value - step;
    case "PageUp": return value + page;
    case "PageDown": return value - page;
    case "Home": return min;
    case "End": return max;
    default: return null;
  }
}

// Direction of a point from the middle, degrees anticlockwise from the right; y runs down the page.
export const angleAt = (x, y) => (Math.atan2(-y, x) * 180) / Math.PI;
// By how much a hand has turned, the short way round.
export const turnedBy = (from, to) => ((((to - from + 180) % 360) + 360) % 360) - 180;

// The point over the stop moves against the pair. With the front against the
// stop the operator faces the other side, so left and right change places.
export const sideways = (against) => (against === "front" ? 1 : -1);

// From where to where the stop comes across a lens, millimetres from the bridge.
export function acrossOf(lens, { stage_near_mm: near, stage_far_mm: far }) {
  return lens === "R" ? [-far, -near] : [near, far];
}

// How far beyond the bridge end a hand must drag before the other lens slides over the stop.
const OVER_THE_BRIDGE_MM = 5;

// Where the stop comes when a hand has dragged the pair by (right, up) millimetres from `from`.
export function dragged(from, right, up, made, grain = 0.5) {
  const [low, high] = acrossOf(from.lens, made);
  const x = from.x + sideways(from.against) * right;
  const beyond = from.lens === "R" ? x - high : low - x;
  return {
    x: within(stepped(x, grain), low, high),
    y: within(stepped(from.y - up, grain), -made.stage_height_mm, made.stage_height_mm),
    other: beyond > OVER_THE_BRIDGE_MM,
  };
}

// Which way the nose lies as the operator sees it: +1 right, -1 left.
export const noseward = (lens, against) => (lens === "R" ? 1 : -1) * (against === "back" ? 1 : -1);

// A base direction in the words of the eye before the operator.
export function baseWords(direction, lens, against) {
  const across = Math.cos((direction * Math.PI) / 180) * noseward(lens, against);
  const up = Math.sin((direction * Math.PI) / 180);
  const little = 0.01;
  return [
    up > little ? "up" : up < -little ? "down" : "",
    across > little ? "in" : across < -little ? "out" : "",
  ].filter(Boolean).join(" and ");
}

// Readings that repeat one another, with mean and spread; never set off against other readings.
export function repeated(readings) {
  const groups = new Map();
  for (const one of readings) {
    const key = [one.eye, one.against, one.lines].join(" ");
    if (!groups.has(key)) groups.set(key, { eye: one.eye, against: one.against, lines: one.lines, drums: [], wheels: [] });
    groups.get(key).drums.push(one.drum);
    groups.get(key).wheels.push(one.wheel);
  }
  return [...groups.values()].map((group) => ({
    ...group,
    mean: group.drums.reduce((sum, drum) => sum + drum, 0) / group.drums.length,
    spread: Math.max(...group.drums) - Math.min(...group.drums),
  }));
}

// The readings as a table for any other program.
export function asTable(readings) {
  const rows = readings.map(({ eye, against, lines, drum, wheel }) =>
    [eye, against, `${lines} lines`, drum.toFixed(2), wheel].join(","));
  return ["lens,side against the stop,lines,drum (D),wheel (degrees)", ...rows, ""].join("\n");
}
