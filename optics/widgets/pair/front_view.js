// The pair on its tray, a lens of it before the crossed line, and a rule, in the order of the work.

const HELD = { "": "The pair on the tray", R: "Right lens in the hand", L: "Left lens in the hand" };
const UNDER = { R: "Under the right lens", L: "Under the left lens" };
const RULES = { across: "Across", upright: "Upright" };
const BLURRED_WITHIN = 0.5; // dioptres, as in crossed_line.py

const path = (points) => "M" + points.map(([x, y]) => `${x} ${-y}`).join("L");
const half = (value) => Math.round(value * 2) / 2;
const mm = (value) => `${value.toFixed(1)} mm`;

// Where the cross is seen through one part of the lens: the formula of neutralizing.py, laid
// onto the plane of the lens. Null where it is only blurred.
function crossSeen(held, cross_mm, { moved_x_mm, moved_y_mm, turned_degrees, trial, from_eye_mm }) {
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
  if (Math.abs(strongest - inverting) < BLURRED_WITHIN) return null;
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

function render({ model, el }) {
  const get = (name) => model.get(name);
  const notice = element("p", { className: "optics-notice", role: "status" });
  let lost = "";
  const lose = (text) => {
    lost = text;
    showNotice();
  };
  const send = changer(model, lose);
  // Whether the kernel knows how things stand now.
  const answered = () => Object.entries(get("_answered")).every(([name, value]) => get(name) === value);
  const watch = patience(answered, () => lose(`The notebook is busy or was restarted. If this stays, ${RUN_AGAIN.toLowerCase()}`), () => { lost = ""; });
  const change = (values) => { send(values); refresh(); };
  const reach = get("_reach");

  // --- pictures ------------------------------------------------------------------------------
  const tray = drawing("The pair on the tray", [-86, -66, 172, 118]);
  const fromAbove = drawing("The frame from above", [-90, -166, 180, 190]);
  const wall = drawing("The crossed line", [-52, -42, 104, 84]);
  const abovePart = element("div", { className: "optics-pair-above" }, [
    element("p", { className: "optics-hint", textContent: "The frame from above" }), fromAbove,
  ]);
  const words = element("p", { className: "optics-pair-words" });
  // Shut at first: looking is the exercise. A screen reader is told all the same.
  const inWords = element("details", { open: get("in_words") }, [element("summary", { textContent: "In words" }), words]);
  inWords.addEventListener("toggle", () => {
    if (inWords.open !== get("in_words")) change({ in_words: inWords.open });
  });
  const aloud = element("p", { className: "optics-aloud", "aria-live": "polite" });

  // --- controls, in the order of the work ------------------------------------------------------
  const over = tick("Turned over: the back towards you", (on) => change({ turned_over: on }));
  const light = tick("Tilted to the light", (on) => change({ tilted_to_light: on }));
  const wipe = button("Wipe the lenses", () => change({ wiped: true }));
  const held = choice("Where the pair is", HELD, (key) => change({ held_lens: key }));
  // A rule is laid on the tray: measuring puts the pair back there.
  const measuring = (values) => change({ ...values, held_lens: "" });
  const moving = (name, spoken, trait, show, step = 0.5, changed = change) => slider(name, {
    spoken, show, step, min: reach[trait][0], max: reach[trait][1], moved: (value) => changed({ [trait]: value }),
  });
  const across = moving("Left, right", "Lens moved left or right", "moved_x_mm", (v) => `${signed(v, 1)} mm`);
  const upward = moving("Down, up", "Lens moved down or up", "moved_y_mm", (v) => `${signed(v, 1)} mm`);
  const turning = moving("Turn", "Lens turned, degrees anticlockwise", "turned_degrees", (v) => `${signed(v, 0)}°`, 1);
  const trial = moving("Trial lens", "Trial sphere laid against the lens, dioptres", "trial", (v) => `${signed(v)} D`, 0.25);
  const near = moving("From your eye", "Distance of the lens from your eye", "from_eye_mm", (v) => `${v.toFixed(0)} mm`, 10);
  const hand = element("div", {}, [
    across.row, upward.row, turning.row, trial.row, near.row,
    row(button("Back to the middle", () => change({ moved_x_mm: 0, moved_y_mm: 0, turned_degrees: 0 }))),
  ]);
  const trueIt = button("True the frame", () => change({ trued: true }));
  const signs = Object.fromEntries([["", "No chart"], ...get("_signs").map((sign) => [sign, `Chart ${sign}`])]);
  const charting = (values) => change({ ...values, held_lens: "" });
  const chart = choice("Chart on the tray", signs, (sign) => charting({ chart: sign }));
  const under = choice("Where the chart lies", UNDER, (eye) => charting({ chart_under: eye }));
  const chartX = moving("Left, right", "Chart left or right", "chart_x_mm", (v) => `${signed(v, 1)} mm`, 0.5, charting);
  const chartY = moving("Down, up", "Chart down or up", "chart_y_mm", (v) => `${signed(v, 1)} mm`, 0.5, charting);
  const chartTurn = moving("Turn", "Chart turned, degrees anticlockwise", "chart_turned_degrees", (v) => `${signed(v, 0)}°`, 1, charting);
  const ink = button("Ink this lens", () => charting({ inking: true }));
  const laying = element("div", {}, [under.row, chartX.row, chartY.row, chartTurn.row]);
  const lies = choice("How the rule lies", RULES, (key) => measuring({ rule_lies: key, rule_to_mm: 0 }));
  const laid = (name, spoken, trait, show) => moving(name, spoken, trait, show, 0.5, measuring);
  const ruleX = laid("Left, right", "Rule left or right", "rule_x_mm", (v) => `${signed(v, 1)} mm`);
  const ruleY = laid("Down, up", "Rule down or up", "rule_y_mm", (v) => `${signed(v, 1)} mm`);
  const reading = laid("Mark", "Mark on the rule", "rule_to_mm", mm);
  const measured = element("p", { className: "optics-pair-measured", role: "status" });

  // Without numbers: those belong to the steps of the chapters.
  const shows = (name) => get("_parts").includes(name);
  const job = (name, title, rows) => (shows(name) ? [step(title, rows)] : []);
  const root = element("div", { className: "optics-panel optics-pair", role: "group", "aria-label": "The pair" }, [
    element("div", { className: "optics-pair-sight" }, [tray, wall, notice, inWords, abovePart, aloud]),
    element("div", { className: "optics-pair-steps" }, [
      ...job("look", "Look it over", [row(over.row, light.row), row(wipe)]),
      ...job("hand", "Look through a lens at the crossed line", [held.row, hand]),
      ...job("true", "True the frame", [row(trueIt)]),
      ...job("chart", "Mark up a progressive", [chart.row, laying, row(ink)]),
      ...job("rule", "Measure with the rule", [lies.row, ruleX.row, ruleY.row, reading.row, measured]),
    ]),
  ]);
  keepKeys(root);
  el.replaceChildren(element("div", { className: "optics-room" }, [root]));

  // --- the rule, by pointer -----------------------------------------------------------------------
  const length = (rule) => (rule === "upright" ? 60 : reach.rule_to_mm[1]);
  const limited = (name, value) => Math.min(reach[name][1], Math.max(reach[name][0], value));
  // `place` says where the thing drawn stands; it keeps its distance from the pointer.
  function dragged(handle, place, moved) {
    let off = [0, 0];
    const pointed = (event) => {
      const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(tray.getScreenCTM().inverse());
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
  const upright = () => get("rule_lies") === "upright";
  const zeroHandle = shape("rect", { class: "optics-pair-handle", x: -11, y: 0, width: 8, height: 11, rx: 1.5 });
  const markHandle = shape("circle", { class: "optics-pair-handle", r: 3.4 });
  dragged(zeroHandle, () => [get("rule_x_mm"), get("rule_y_mm")], (x, y) =>
    change({ rule_x_mm: limited("rule_x_mm", x), rule_y_mm: limited("rule_y_mm", y) }));
  dragged(markHandle, () => (upright() ? [0, get("rule_to_mm")] : [get("rule_to_mm"), 0]), (x, y) =>
    change({ rule_to_mm: Math.min(length(get("rule_lies")), limited("rule_to_mm", upright() ? y : x)) }));
  const ruleGroup = shape("g");

  // --- the chart, by pointer ------------------------------------------------------------------------
  const chartGroup = shape("g"), chartLines = shape("g");
  const paper = shape("rect", { class: "optics-pair-paper", x: -29, y: -17, width: 58, height: 36 });
  const turner = shape("circle", { class: "optics-pair-turner", cx: 29, r: 3 });
  chartGroup.append(paper, chartLines, turner);
  const chartAt = () => [get("_chart").at[0] + get("chart_x_mm"), get("_chart").at[1] + get("chart_y_mm")];
  dragged(paper, chartAt, (x, y) => {
    const [cx, cy] = get("_chart").at;
    charting({ chart_x_mm: limited("chart_x_mm", half(x - cx)), chart_y_mm: limited("chart_y_mm", half(y - cy)) });
  });
  const turnedTo = () => (get("chart_turned_degrees") * Math.PI) / 180;
  dragged(turner, () => chartAt().map((at, k) => at + 29 * (k ? Math.sin(turnedTo()) : Math.cos(turnedTo()))), (x, y) => {
    const [cx, cy] = chartAt(), degrees = Math.round((Math.atan2(y - cy, x - cx) * 180) / Math.PI);
    charting({ chart_turned_degrees: limited("chart_turned_degrees", degrees) });
  });
  let shownChart = null;

  function drawChart() {
    const laid = get("_chart"), lies = Boolean(laid.parts);
    chartGroup.style.display = lies ? "" : "none";
    if (!lies) return;
    if (laid !== shownChart) {
      shownChart = laid;
      chartLines.replaceChildren(parts({ turned_over: false }, laid.parts, false));
    }
    const [x, y] = chartAt();
    chartGroup.setAttribute("transform", `translate(${x} ${-y}) rotate(${-get("chart_turned_degrees")})`);
  }

  // --- showing how things stand -----------------------------------------------------------------------
  let shownScene = null, speaking = 0;

  function refresh() {
    const scene = get("_scene");
    if (scene !== shownScene) {
      shownScene = scene;
      const lying = parts(scene, scene.parts, true);
      tray.replaceChildren(lying, chartGroup, inkOver(lying), ...(shows("rule") ? [ruleGroup, zeroHandle, markHandle] : []));
      fromAbove.replaceChildren(parts(scene, scene.above, false));
      const [top, bottom] = scene.turned_over ? [-24, 190] : [-166, 190];
      fromAbove.setAttribute("viewBox", `-90 ${top} 180 ${bottom}`);
      for (const { points, eye } of scene.parts.filter((part) => part.kind === "lens")) {
        const [xs, ys] = [0, 1].map((k) => points.map((point) => point[k]));
        const letter = shape("text", {
          class: "optics-pair-eye", x: (Math.min(...xs) + Math.max(...xs)) / 2, y: -Math.max(...ys) - 5,
        });
        letter.textContent = eye;
        tray.firstChild.after(letter);
      }
    }
    const inHand = get("held_lens") !== "";
    tray.style.display = abovePart.style.display = inHand ? "none" : "";
    wall.style.display = inHand ? "" : "none";
    hand.hidden = !inHand;
    if (inHand) drawCross();
    drawRule();
    drawChart();
    laying.hidden = get("chart") === "";

    over.set(get("turned_over"));
    light.set(get("tilted_to_light"));
    chart.set(get("chart"));
    under.set(get("chart_under"));
    held.set(get("held_lens"));
    lies.set(get("rule_lies"));
    reading.input.max = length(get("rule_lies"));
    for (const [control, trait] of [
      [across, "moved_x_mm"], [upward, "moved_y_mm"], [turning, "turned_degrees"], [trial, "trial"],
      [near, "from_eye_mm"], [ruleX, "rule_x_mm"], [ruleY, "rule_y_mm"], [reading, "rule_to_mm"],
      [chartX, "chart_x_mm"], [chartY, "chart_y_mm"], [chartTurn, "chart_turned_degrees"],
    ]) control.set(get(trait));
    inWords.open = get("in_words");
    const onTray = [scene.words, get("_chart_words")].filter(Boolean).join(" ");
    words.textContent = inHand ? get("_cross_words") : onTray;
    tray.setAttribute("aria-label", onTray);
    wall.setAttribute("aria-label", get("_cross_words"));
    if (measured.textContent !== get("_measured")) measured.textContent = get("_measured");
    watch.look();
    showNotice();
    clearTimeout(speaking);
    speaking = setTimeout(() => {
      if (aloud.textContent !== words.textContent) aloud.textContent = words.textContent;
    }, QUIET_MS);
    root.dataset.drawn = String(Number(root.dataset.drawn || 0) + 1);
  }

  function showNotice() {
    const say = lost || get("_notice");
    if (notice.textContent !== say) notice.textContent = say;
  }

  function drawRule() {
    const to = get("rule_to_mm");
    const hair = (at) => shape("line", { class: "optics-pair-hair", x1: at, x2: at, y1: -46, y2: 11 });
    const lying = `translate(${get("rule_x_mm")} ${-get("rule_y_mm")}) rotate(${upright() ? -90 : 0})`;
    ruleGroup.setAttribute("transform", lying);
    ruleGroup.replaceChildren(ruleBody(length(get("rule_lies"))), hair(0), hair(to));
    zeroHandle.setAttribute("transform", lying);
    markHandle.setAttribute("transform", `${lying} translate(${to} 0)`);
  }

  function drawCross() {
    const now = Object.fromEntries(
      ["moved_x_mm", "moved_y_mm", "turned_degrees", "trial", "from_eye_mm"].map((name) => [name, get(name)]));
    const lens = get("_held");
    const placed = `translate(${now.moved_x_mm} ${-now.moved_y_mm}) rotate(${-now.turned_degrees})`;
    const mark = `optics-pair-${(drawn += 1)}`;
    const outline = (points, name) => shape("path", { d: path(points), transform: placed, class: `optics-pair-${name}` });
    const limb = (seen, run) => {
      const size = Math.hypot(...run) || 1;
      const far = (k) => [seen.shift[0] + (k * run[0]) / size, -seen.shift[1] - (k * run[1]) / size];
      const [[x1, y1], [x2, y2]] = [far(-300), far(300)];
      return shape("line", { x1, y1, x2, y2, class: "optics-pair-through" });
    };
    const clips = [], glass = [], seenIn = [];
    lens.zones.forEach(({ edge, ...zone }, k) => {
      const seen = crossSeen(zone, lens.cross_mm, now);
      seenIn.push(seen);
      clips.push(shape("clipPath", { id: `${mark}-${k}` }, [shape("path", { d: path(edge), transform: placed })]));
      const limbs = seen ? [limb(seen, seen.upright), limb(seen, seen.level)] : [];
      glass.push(shape("g", { "clip-path": `url(#${mark}-${k})` }, [outline(edge, "glass"), ...limbs]));
    });
    const lines = lens.lines.map((points) => outline(points, "segment"));
    wall.replaceChildren(
      shape("defs", {}, clips),
      shape("path", { d: "M-200 0H200M0 -200V200", class: "optics-pair-cross" }),
      shape("g", { "clip-path": `url(#${mark}-0)` }, [...glass, ...lines]),
      outline(lens.edge, "held"),
    );
    wall.dataset.seen = JSON.stringify(seenIn);
  }

  const shown = [
    "turned_over", "wiped", "trued", "tilted_to_light", "dots", "chart", "chart_under", "chart_x_mm",
    "chart_y_mm", "chart_turned_degrees", "inked", "_chart", "_chart_words", "rule_lies", "rule_x_mm", "rule_y_mm",
    "rule_to_mm", "held_lens", "moved_x_mm", "moved_y_mm", "turned_degrees", "trial", "from_eye_mm",
    "_scene", "_measured", "_held", "_cross_words", "_notice",
    "_answered", "in_words",
  ].map((name) => `change:${name}`).join(" ");
  model.on(shown, refresh);
  refresh();
  return () => {
    model.off(shown, refresh);
    clearTimeout(speaking);
    watch.stop();
  };
}

export default { render };
