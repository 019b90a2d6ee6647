// The pair on its tray, a lens of it before the crossed line, and a rule, in the order of the work.

const HELD = { "": "The pair on the tray", R: "Right lens in the hand", L: "Left lens in the hand" };
const UNDER = { R: "Under the right lens", L: "Under the left lens" };
const RULES = { across: "Across", upright: "Upright" };

const path = (points) => "M" + points.map(([x, y]) => `${x} ${-y}`).join("L");
const half = (value) => Math.round(value * 2) / 2;
const radians = (degrees) => (degrees * Math.PI) / 180;
const mm = (value) => `${value.toFixed(1)} mm`;

// Where the cross is seen through one part of the lens: the formula of neutralizing.py, laid
// onto the plane of the lens. Null where it is only blurred.
function crossSeen(held, { cross_mm, blurred_within }, { moved_x_mm, moved_y_mm, turned_degrees, trial, from_eye_mm }) {
  const turn = (turned_degrees * Math.PI) / 180, cos = Math.cos(turn), sin = Math.sin(turn);
  const { xx, xy, yy } = held.power;
  // The point of the lens on the line of sight, before the lens was turned.
  const at = [-cos * moved_x_mm - sin * moved_y_mm, sin * moved_x_mm - cos * moved_y_mm];
  const [dx, dy] = [at[0] - held.at[0], at[1] - held.at[1]];
  const prism = [
    held.prism[0] - (xx * dx + xy * dy + trial * at[0]) / 10,
    held.prism[1] - (xy * dx + yy * dy + trial * at[1]) / 10,
  ];
  const F = [xx + trial, xy, yy + trial];
  const turned = [
    cos * cos * F[0] - 2 * cos * sin * F[1] + sin * sin * F[2],
    cos * sin * (F[0] - F[2]) + (cos * cos - sin * sin) * F[1],
    sin * sin * F[0] + 2 * cos * sin * F[1] + cos * cos * F[2],
  ];
  const bent = [cos * prism[0] - sin * prism[1], sin * prism[0] + cos * prism[1]].map((p) => 10 * p);
  const inverting = 1000 / cross_mm + 1000 / from_eye_mm;
  const strongest = (turned[0] + turned[2]) / 2 + Math.hypot((turned[0] - turned[2]) / 2, turned[1]);
  if (Math.abs(strongest - inverting) < blurred_within) return null;
  const [a, b, d] = [1 - turned[0] / inverting, -turned[1] / inverting, 1 - turned[2] / inverting];
  const det = a * d - b * b;
  const enlarged = ([x, y]) => [(d * x - b * y) / det, (a * y - b * x) / det];
  const laid = from_eye_mm / (from_eye_mm + cross_mm);
  const shift = enlarged(bent.map((each) => (-laid * cross_mm * each) / 1000));
  return { shift, upright: enlarged([0, 1]), level: enlarged([1, 0]) };
}

function drawing(name, [x, y, width, height]) {
  return shape("svg", { class: "optics-pair-picture", viewBox: `${x} ${y} ${width} ${height}`, role: "img", "aria-label": name });
}

let drawn = 0; // numbers the clips, so that two panels never share one

function parts(scene, list, clipped) {
  const mark = `optics-pair-${(drawn += 1)}`;
  const clips = shape("defs"), made = shape("g");
  for (const part of list) {
    if (part.kind === "lens") {
      clips.append(shape("clipPath", { id: `${mark}-${part.eye}` }, [shape("path", { d: path(part.points) })]));
    }
  }
  for (const part of list) {
    let one;
    if (part.text) {
      const [x, y] = part.points[0];
      const mirror = scene.turned_over ? "scale(-1 1)" : "";
      one = shape("text", { transform: `translate(${x} ${-y}) ${mirror}`, dy: "0.36em", "font-size": part.height / 0.73 });
      one.textContent = part.text;
    } else {
      one = shape("path", { d: path(part.points) });
    }
    one.setAttribute("class", `optics-pair-${part.kind}`);
    // The clip goes on a group of its own, or a turned letter would turn it too.
    const clip = clipped && part.eye && part.kind !== "lens" ? { "clip-path": `url(#${mark}-${part.eye})` } : {};
    made.append(shape("g", clip, [one]));
  }
  made.prepend(clips);
  return made;
}

// The ink of a drawing, taken out to lie over a chart: ink is on the lens, and the chart under it.
function inkOver(lying) {
  const ink = [...lying.querySelectorAll(".optics-pair-ink, .optics-pair-dot")].map((one) => one.parentNode);
  return shape("g", { class: "optics-pair-over" }, ink);
}

// A rule with its zero at the origin, along +x, and its edge on the x axis.
function ruleBody(length) {
  const made = shape("g", { class: "optics-pair-rule" });
  made.append(shape("rect", { x: -3, y: 0, width: length + 8, height: 11 }));
  for (let at = 0; at <= length; at++) {
    const long = at % 10 === 0 ? 4.5 : at % 5 === 0 ? 3.4 : 2.2;
    made.append(shape("line", { x1: at, x2: at, y1: 0, y2: long }));
    if (at % 10 === 0) {
      const number = shape("text", { x: at, y: 9.2 });
      number.textContent = at;
      made.append(number);
    }
  }
  return made;
}

// What the parts share: how things stand, and hands that change them.
function trayOf(model) {
  const get = (name) => model.get(name), reach = get("_reach");
  const tray = { get, reach, lost: "", refresh: () => {}, shows: (name) => get("_parts").includes(name) };
  tray.lose = (text) => (tray.lost = text);
  const send = changer(model, tray.lose);
  tray.change = (values) => {
    send(values);
    tray.refresh();
  };
  // A rule or a chart is laid on the tray: that puts the pair back there.
  tray.onTray = (values) => tray.change({ ...values, held_lens: "" });
  tray.limited = (name, value) => Math.min(reach[name][1], Math.max(reach[name][0], value));
  tray.upright = () => get("rule_lies") === "upright";
  tray.ruleLength = () => (tray.upright() ? reach.upright_rule_mm : reach.rule_to_mm)[1];
  tray.chartAt = () => [get("_chart").at[0] + get("chart_x_mm"), get("_chart").at[1] + get("chart_y_mm")];
  return tray;
}

// --- controls, in the order of the work ---------------------------------------------------------

// Sliders of traits, each `[name, spoken, trait, show, step]`.
function sliders(tray, changed, list) {
  const made = list.map(([name, spoken, trait, show, step = 0.5]) => {
    const [min, max] = tray.reach[trait];
    return [trait, slider(name, { spoken, show, step, min, max, moved: (value) => changed({ [trait]: value }) })];
  });
  return {
    rows: made.map(([, one]) => one.row),
    of: Object.fromEntries(made),
    show: () => made.forEach(([trait, one]) => one.set(tray.get(trait))),
  };
}

const inMm = (value) => `${signed(value, 1)} mm`;
const inDegrees = (value) => `${signed(value, 0)}°`;

function lookPart({ get, change }) {
  const over = tick("Turned over: the back towards you", (on) => change({ turned_over: on }));
  const light = tick("Tilted to the light", (on) => change({ tilted_to_light: on }));
  const wipe = button("Wipe the lenses", () => change({ wiped: true }));
  const show = () => {
    over.set(get("turned_over"));
    light.set(get("tilted_to_light"));
  };
  return { el: step("Look it over", [row(over.row, light.row), row(wipe)]), show };
}

function handPart(tray) {
  const held = choice("Where the pair is", HELD, (key) => tray.change({ held_lens: key }));
  const moves = sliders(tray, tray.change, [
    ["Left, right", "Lens moved left or right", "moved_x_mm", inMm],
    ["Down, up", "Lens moved down or up", "moved_y_mm", inMm],
    ["Turn", "Lens turned, degrees anticlockwise", "turned_degrees", inDegrees, 1],
    ["Trial lens", "Trial sphere laid against the lens, dioptres", "trial", (v) => `${signed(v)} D`, 0.25],
    ["From your eye", "Distance of the lens from your eye", "from_eye_mm", (v) => `${v.toFixed(0)} mm`, 10],
  ]);
  const back = button("Back to the middle", () => tray.change({ moved_x_mm: 0, moved_y_mm: 0, turned_degrees: 0 }));
  const hand = element("div", {}, [...moves.rows, row(back)]);
  const show = () => {
    const lens = tray.get("held_lens");
    held.set(lens);
    hand.hidden = lens === "";
    moves.show();
  };
  return { el: step("Look through a lens at the crossed line", [held.row, hand]), show };
}

function truePart({ change }) {
  return { el: step("True the frame", [row(button("True the frame", () => change({ trued: true })))]), show: () => {} };
}

function chartPart(tray) {
  const { get, onTray } = tray;
  const signs = Object.fromEntries([["", "No chart"], ...get("_signs").map((sign) => [sign, `Chart ${sign}`])]);
  const chart = choice("Chart on the tray", signs, (sign) => onTray({ chart: sign }));
  const under = choice("Where the chart lies", UNDER, (eye) => onTray({ chart_under: eye }));
  const moves = sliders(tray, onTray, [
    ["Left, right", "Chart left or right", "chart_x_mm", inMm],
    ["Down, up", "Chart down or up", "chart_y_mm", inMm],
    ["Turn", "Chart turned, degrees anticlockwise", "chart_turned_degrees", inDegrees, 1],
  ]);
  const laying = element("div", {}, [under.row, ...moves.rows]);
  const ink = button("Ink this lens", () => onTray({ inking: true }));
  const show = () => {
    chart.set(get("chart"));
    under.set(get("chart_under"));
    moves.show();
    laying.hidden = get("chart") === "";
  };
  return { el: step("Mark up a progressive", [chart.row, laying, row(ink)]), show };
}

function rulePart(tray) {
  const lies = choice("How the rule lies", RULES, (key) => tray.onTray({ rule_lies: key, rule_to_mm: 0 }));
  const moves = sliders(tray, tray.onTray, [
    ["Left, right", "Rule left or right", "rule_x_mm", inMm],
    ["Down, up", "Rule down or up", "rule_y_mm", inMm],
    ["Mark", "Mark on the rule", "rule_to_mm", mm],
  ]);
  const measured = element("p", { className: "optics-pair-measured", role: "status" });
  const show = () => {
    lies.set(tray.get("rule_lies"));
    moves.of.rule_to_mm.input.max = tray.ruleLength();
    moves.show();
    if (measured.textContent !== tray.get("_measured")) measured.textContent = tray.get("_measured");
  };
  return { el: step("Measure with the rule", [lies.row, ...moves.rows, measured]), show };
}

// --- the tray -------------------------------------------------------------------------------------

// A handle on a drawing: `place` says where the thing drawn stands; it keeps its distance from the pointer.
function dragged(picture, handle, place, moved) {
  let off = [0, 0];
  const pointed = (event) => {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(picture.getScreenCTM().inverse());
    return [point.x, -point.y];
  };
  handle.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    handle.setPointerCapture(event.pointerId);
    const [x, y] = pointed(event), [px, py] = place();
    off = [px - x, py - y];
  });
  handle.addEventListener("pointermove", (event) => {
    if (!handle.hasPointerCapture(event.pointerId)) return;
    const [x, y] = pointed(event);
    moved(half(x + off[0]), half(y + off[1]));
  });
}

function ruleOnTray({ get, change, limited, upright, ruleLength }, picture) {
  const zero = shape("rect", { class: "optics-pair-handle", x: -11, y: 0, width: 8, height: 11, rx: 1.5 });
  const mark = shape("circle", { class: "optics-pair-handle", r: 3.4 });
  const body = shape("g");
  dragged(picture, zero, () => [get("rule_x_mm"), get("rule_y_mm")], (x, y) =>
    change({ rule_x_mm: limited("rule_x_mm", x), rule_y_mm: limited("rule_y_mm", y) }));
  dragged(picture, mark, () => (upright() ? [0, get("rule_to_mm")] : [get("rule_to_mm"), 0]), (x, y) =>
    change({ rule_to_mm: Math.min(ruleLength(), limited("rule_to_mm", upright() ? y : x)) }));
  const show = () => {
    const to = get("rule_to_mm");
    const hair = (at) => shape("line", { class: "optics-pair-hair", x1: at, x2: at, y1: -46, y2: 11 });
    const lying = `translate(${get("rule_x_mm")} ${-get("rule_y_mm")}) rotate(${upright() ? -90 : 0})`;
    body.setAttribute("transform", lying);
    body.replaceChildren(ruleBody(ruleLength()), hair(0), hair(to));
    zero.setAttribute("transform", lying);
    mark.setAttribute("transform", `${lying} translate(${to} 0)`);
  };
  return { els: [body, zero, mark], show };
}

function chartOnTray({ get, onTray, limited, chartAt }, picture) {
  const lines = shape("g");
  const paper = shape("rect", { class: "optics-pair-paper", x: -29, y: -17, width: 58, height: 36 });
  const turner = shape("circle", { class: "optics-pair-turner", cx: 29, r: 3 });
  const whole = shape("g", {}, [paper, lines, turner]);
  dragged(picture, paper, chartAt, (x, y) => {
    const [cx, cy] = get("_chart").at;
    onTray({ chart_x_mm: limited("chart_x_mm", half(x - cx)), chart_y_mm: limited("chart_y_mm", half(y - cy)) });
  });
  const arm = () => [Math.cos, Math.sin].map((part) => 29 * part(radians(get("chart_turned_degrees"))));
  dragged(picture, turner, () => chartAt().map((at, k) => at + arm()[k]), (x, y) => {
    const [cx, cy] = chartAt(), degrees = Math.round((Math.atan2(y - cy, x - cx) * 180) / Math.PI);
    onTray({ chart_turned_degrees: limited("chart_turned_degrees", degrees) });
  });
  let shown = null;
  const show = () => {
    const laid = get("_chart"), lies = Boolean(laid.parts);
    whole.style.display = lies ? "" : "none";
    if (!lies) return;
    if (laid !== shown) {
      shown = laid;
      lines.replaceChildren(parts({ turned_over: false }, laid.parts, false));
    }
    const [x, y] = chartAt();
    whole.setAttribute("transform", `translate(${x} ${-y}) rotate(${-get("chart_turned_degrees")})`);
  };
  return { els: [whole], show };
}

// The letter of each eye, above its lens.
function eyeLetters(scene) {
  return scene.parts.filter((part) => part.kind === "lens").map(({ points, eye }) => {
    const [xs, ys] = [0, 1].map((k) => points.map((point) => point[k]));
    return shape("text", {
      class: "optics-pair-eye", x: (Math.min(...xs) + Math.max(...xs)) / 2, y: -Math.max(...ys) - 5,
    }, [eye]);
  });
}

function trayPicture(tray) {
  const picture = drawing("The pair on the tray", [-86, -66, 172, 118]);
  const fromAbove = drawing("The frame from above", [-90, -166, 180, 190]);
  const above = element("div", { className: "optics-pair-above" }, [
    element("p", { className: "optics-hint", textContent: "The frame from above" }), fromAbove,
  ]);
  const chart = chartOnTray(tray, picture);
  const rule = ruleOnTray(tray, picture);
  let shown = null;
  const show = () => {
    const scene = tray.get("_scene");
    if (scene !== shown) {
      shown = scene;
      const lying = parts(scene, scene.parts, true);
      picture.replaceChildren(lying, ...eyeLetters(scene), ...chart.els, inkOver(lying), ...(tray.shows("rule") ? rule.els : []));
      fromAbove.replaceChildren(parts(scene, scene.above, false));
      const [top, bottom] = scene.turned_over ? [-24, 190] : [-166, 190];
      fromAbove.setAttribute("viewBox", `-90 ${top} 180 ${bottom}`);
    }
    picture.style.display = above.style.display = tray.get("held_lens") ? "none" : "";
    chart.show();
    rule.show();
  };
  return { picture, above, show };
}

// --- the crossed line, through a lens in the hand ---------------------------------------------------

const HAND = ["moved_x_mm", "moved_y_mm", "turned_degrees", "trial", "from_eye_mm"];

// One limb of the cross as it is seen: a line through where the crossing stands.
function limb({ shift: [x, y] }, [across, up]) {
  const far = 300 / (Math.hypot(across, up) || 1);
  return shape("line", {
    x1: x - far * across, y1: far * up - y, x2: x + far * across, y2: -far * up - y, class: "optics-pair-through",
  });
}

function wallPicture({ get }) {
  const wall = drawing("The crossed line", [-52, -42, 104, 84]);
  const draw = () => {
    const now = Object.fromEntries(HAND.map((name) => [name, get(name)]));
    const lens = get("_held");
    const placed = `translate(${now.moved_x_mm} ${-now.moved_y_mm}) rotate(${-now.turned_degrees})`;
    const mark = `optics-pair-${(drawn += 1)}`;
    const outline = (points, name) => shape("path", { d: path(points), transform: placed, class: `optics-pair-${name}` });
    const seenIn = lens.zones.map((zone) => crossSeen(zone, lens, now));
    const clips = lens.zones.map(({ edge }, k) =>
      shape("clipPath", { id: `${mark}-${k}` }, [shape("path", { d: path(edge), transform: placed })]));
    const glass = lens.zones.map(({ edge }, k) => {
      const limbs = seenIn[k] ? [limb(seenIn[k], seenIn[k].upright), limb(seenIn[k], seenIn[k].level)] : [];
      return shape("g", { "clip-path": `url(#${mark}-${k})` }, [outline(edge, "glass"), ...limbs]);
    });
    wall.replaceChildren(
      shape("defs", {}, clips),
      shape("path", { d: "M-200 0H200M0 -200V200", class: "optics-pair-cross" }),
      shape("g", { "clip-path": `url(#${mark}-0)` }, [...glass, ...lens.lines.map((points) => outline(points, "segment"))]),
      outline(lens.edge, "held"),
    );
    wall.dataset.seen = JSON.stringify(seenIn);
  };
  const show = () => {
    const inHand = get("held_lens") !== "";
    wall.style.display = inHand ? "" : "none";
    if (inHand) draw();
  };
  return { wall, show };
}

// --- words -------------------------------------------------------------------------------------------

// Shut at first: looking is the exercise. A screen reader is told all the same.
function seenInWords({ get, change }, picture, wall) {
  const words = element("p", { className: "optics-pair-words" });
  const fold = element("details", { open: get("in_words") }, [element("summary", { textContent: "In words" }), words]);
  fold.addEventListener("toggle", () => {
    if (fold.open !== get("in_words")) change({ in_words: fold.open });
  });
  const aloud = element("p", { className: "optics-aloud", "aria-live": "polite" });
  let speaking = 0;
  const show = () => {
    fold.open = get("in_words");
    const onTray = [get("_scene").words, get("_chart_words")].filter(Boolean).join(" ");
    words.textContent = get("held_lens") ? get("_cross_words") : onTray;
    picture.setAttribute("aria-label", onTray);
    wall.setAttribute("aria-label", get("_cross_words"));
    clearTimeout(speaking);
    speaking = setTimeout(() => {
      if (aloud.textContent !== words.textContent) aloud.textContent = words.textContent;
    }, QUIET_MS);
  };
  return { fold, aloud, show, stop: () => clearTimeout(speaking) };
}

// What the tray answers, and that the notebook does not.
function noticePart(tray) {
  const notice = element("p", { className: "optics-notice", role: "status" });
  const say = () => {
    const text = tray.lost || tray.get("_notice");
    if (notice.textContent !== text) notice.textContent = text;
  };
  const late = (text) => {
    tray.lose(text);
    say();
  };
  // Whether the kernel knows how things stand now.
  const answered = () => Object.entries(tray.get("_answered")).every(([name, value]) => tray.get(name) === value);
  const watch = patience(answered, () => late(`The notebook is busy or was restarted. If this stays, ${RUN_AGAIN.toLowerCase()}`), () => tray.lose(""));
  const show = () => {
    watch.look();
    say();
  };
  return { el: notice, show, stop: watch.stop };
}

const SHOWN = ["turned_over", "wiped", "trued", "tilted_to_light", "dots", "chart", "chart_under", "chart_x_mm",
  "chart_y_mm", "chart_turned_degrees", "inked", "_chart", "_chart_words", "rule_lies", "rule_x_mm", "rule_y_mm",
  "rule_to_mm", "held_lens", ...HAND, "_scene", "_measured", "_held", "_cross_words", "_notice", "_answered", "in_words"];

const JOBS = { look: lookPart, hand: handPart, true: truePart, chart: chartPart, rule: rulePart };

function render({ model, el }) {
  const tray = trayOf(model);
  const pictured = trayPicture(tray), held = wallPicture(tray);
  const words = seenInWords(tray, pictured.picture, held.wall), notice = noticePart(tray);
  // Without numbers: those belong to the steps of the chapters.
  const jobs = Object.entries(JOBS).filter(([name]) => tray.shows(name)).map(([, make]) => make(tray));
  const sight = [pictured.picture, held.wall, notice.el, words.fold, pictured.above, words.aloud];
  const root = element("div", { className: "optics-panel optics-pair", role: "group", "aria-label": "The pair" }, [
    element("div", { className: "optics-pair-sight" }, sight),
    element("div", { className: "optics-pair-steps" }, jobs.map((job) => job.el)),
  ]);
  keepKeys(root);
  el.replaceChildren(element("div", { className: "optics-room" }, [root]));
  tray.refresh = () => {
    for (const one of [pictured, held, ...jobs, words, notice]) one.show();
    root.dataset.drawn = String(Number(root.dataset.drawn || 0) + 1);
  };
  const shown = SHOWN.map((name) => `change:${name}`).join(" ");
  model.on(shown, tray.refresh);
  tray.refresh();
  return () => {
    model.off(shown, tray.refresh);
    words.stop();
    notice.stop();
  };
}

export default { render };
