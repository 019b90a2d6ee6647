// The bench: eyepiece, controls, stage and pad on one screen.

const LENSES = { R: "Right lens", L: "Left lens" };
const SIDES = { back: "Back (concave) side", front: "Front (convex) side" };
const dioptres = (value) => `${signed(value)} D`;

// The round picture with the ring about it, and the prism rings' numbers over it.
function eyepiecePart(bench, ring) {
  const canvas = element("canvas", { role: "img" });
  const numbers = element("div", { className: "optics-bench-numbers", "aria-hidden": "true" });
  for (const at of bench.made.rings) {
    const number = element("span", { textContent: at });
    number.style.left = `${50 + (50 * at) / bench.made.field}%`;
    numbers.append(number);
  }
  const bases = ["right", "left"].map((side) => element("span", { className: `optics-bench-base-${side}` }));
  const field = element("div", { className: "optics-bench-field" }, [canvas, numbers]);
  const el = element("div", { className: "optics-bench-sight" }, [...(ring ? [ring.face] : []), field, ...(bench.shows("compensator") ? bases : [])]);
  const show = () => {
    numbers.style.filter = `blur(${Math.abs(bench.get("eyepiece") - bench.get("_eye_setting")) * 0.4}px)`;
    for (const [i, direction] of [0, 180].entries()) {
      bases[i].textContent = `base ${baseWords(direction, bench.get("lens"), bench.get("against"))}`;
    }
  };
  return { el, canvas, show };
}

function lensPart(bench) {
  const lens = choice("Lens over the stop", LENSES, (key) => bench.change({ lens: key }));
  const aside = button("Lay the pair aside", () => bench.change({ aside: !bench.get("aside") }));
  const el = element("div", { className: "optics-bench-part optics-bench-line" }, [lens.row, ...(bench.shows("aside") ? [aside] : [])]);
  const show = () => {
    lens.set(bench.get("lens"));
    aside.textContent = bench.get("aside") ? "Lay the pair back" : "Lay the pair aside";
  };
  return { el, show };
}

function eyepieceDial(bench) {
  const [min, max] = bench.made.eyepiece_range;
  const dialled = collar(bench, {
    title: "Eyepiece", name: "Eyepiece dial, dioptres at the eye", trait: "eyepiece",
    min, max, step: 0.25, page: 1, show: dioptres,
    spoken: (word) => `Eyepiece ${word === "less" ? "in" : "out"} by a quarter`,
  });
  return { el: dialled.line, show: () => dialled.set(bench.get("eyepiece")) };
}

function compensatorPart(bench) {
  const base = (value) => `${degrees(value)}°`;
  const amount = collar(bench, {
    title: "Amount", name: "Prism compensator, amount in prism dioptres", trait: "compensator",
    min: 0, max: bench.made.compensator_most, step: 0.25, page: 1, show: (value) => `${value.toFixed(2)} Δ`,
    spoken: (word) => `Compensator ${word} by a quarter prism dioptre`,
  });
  const direction = collar(bench, {
    title: "Base", name: "Prism compensator, base direction in degrees as you see it", trait: "compensator_base",
    min: 0, max: 359, step: 1, page: 15, show: base, pixels: 2,
    spoken: (word) => `Base ${word === "less" ? "back" : "on"} by a degree`,
  });
  const words = element("p", { className: "optics-hint" });
  const straight = [0, 90, 180, 270].map((at) => button("", () => bench.change({ compensator_base: at })));
  const el = folded("Prism compensator", [
    amount.line, direction.line, element("div", { className: "optics-bench-line" }, [element("span", { className: "optics-bench-name" }), ...straight]), words,
  ]);
  const show = () => {
    const [lens, against] = [bench.get("lens"), bench.get("against")];
    amount.set(bench.get("compensator"));
    direction.set(bench.get("compensator_base"));
    for (const [i, one] of straight.entries()) {
      one.textContent = baseWords(i * 90, lens, against);
      one.setAttribute("aria-label", `Base ${one.textContent}`);
    }
    words.textContent = bench.get("compensator")
      ? `Takes out ${bench.get("compensator").toFixed(2)} Δ base ${baseWords(bench.get("compensator_base"), lens, against)}.`
      : "Turn the base to where the crossing lies, then raise the amount until it stands in the middle.";
  };
  return { el, show };
}

function sidePart(bench) {
  const side = choice("Side against the stop", SIDES, (key) => bench.change({ against: key }));
  return { el: folded("Side against the stop", [side.row]), show: () => side.set(bench.get("against")) };
}

function dotPart(bench) {
  const dot = button("Dot the point over the stop", () => bench.change({
    dots: { ...bench.get("dots"), [bench.get("lens")]: [bench.get("stage_x_mm"), bench.get("stage_y_mm")] },
  }));
  const wipe = button("Wipe off the dots", () => bench.change({ dots: {} }));
  const dotted = element("p", { className: "optics-bench-dotted", role: "status" });
  const el = folded("Dot", [element("div", { className: "optics-bench-line" }, [dot, wipe]), dotted]);
  return { el, show: () => (dotted.textContent = bench.get("_dotted")) };
}

// How everything stands, in words; `minus` as it is written or as it is spoken.
function inWords(bench, minus = "-") {
  const get = bench.get;
  const parts = [`drum ${dioptres(get("drum"))}`];
  if (bench.shows("wheel")) parts.push(`wheel ${degrees(get("wheel"))}`);
  if (bench.shows("eyepiece")) parts.push(`eyepiece ${dioptres(get("eyepiece"))}`);
  const base = baseWords(get("compensator_base"), get("lens"), get("against"));
  if (get("compensator")) parts.push(`compensator ${get("compensator").toFixed(2)} base ${base}`);
  parts.push(get("aside") ? "the pair laid aside"
    : `${LENSES[get("lens")].toLowerCase()} over the stop` + (bench.shows("side") ? `, ${get("against")} against it` : ""));
  const text = parts.join(", ").replaceAll("-", minus);
  return `${text[0].toUpperCase()}${text.slice(1)}.`;
}

// Settings as the picture takes them.
function settingsOf(get) {
  const toBase = (get("compensator_base") * Math.PI) / 180;
  return {
    drum: get("drum"), wheel: get("wheel"), eyepiece: get("eyepiece"), eye: get("_eye_setting"),
    compensator_x: get("compensator") * Math.cos(toBase), compensator_y: get("compensator") * Math.sin(toBase),
    zero_error: get("_zero_error"),
  };
}

// Whether the kernel has answered for the place where the pair now lies.
function answered(get) {
  const { over } = get("_met");
  return over[0] === get("lens") && over[1] === get("stage_x_mm") && over[2] === get("stage_y_mm") && over[3] === get("against");
}

// Words for the eye and, once it has been quiet, for the ear.
function wordsPart(bench, canvas) {
  const words = element("p", { className: "optics-bench-words" });
  const aloud = element("p", { className: "optics-aloud", "aria-live": "polite" });
  const notice = element("p", { className: "optics-notice", role: "status" });
  let speaking = 0;
  const say = (text) => {
    if (notice.textContent !== text) notice.textContent = text;
  };
  const watch = patience(() => answered(bench.get),
    () => say(bench.lost || `The notebook is busy or was restarted. If this stays, ${RUN_AGAIN.toLowerCase()}`),
    () => say(bench.lost || bench.get("_met").note));
  const show = () => {
    words.textContent = inWords(bench);
    clearTimeout(speaking);
    speaking = setTimeout(() => {
      aloud.textContent = inWords(bench, "minus ");
      canvas.setAttribute("aria-label", `View through the eyepiece. ${inWords(bench, "minus ")}`);
    }, QUIET_MS);
    watch.look();
  };
  const stop = () => {
    watch.stop();
    clearTimeout(speaking);
  };
  return { el: element("div", {}, [words, notice, aloud]), show, stop };
}

// Draws the newest settings, once a frame.
function painter(bench, canvas, root) {
  const picture = new Picture(canvas, bench.made);
  let frame = 0, sent = null, fields = {};
  // What lies over the stop; nothing on the stage asks the kernel.
  const overStop = (get) => {
    if (sent !== get("_fields")) {
      sent = get("_fields");
      fields = { R: readField(sent.R), L: readField(sent.L) };
    }
    if (get("aside")) return null;
    return { field: fields[get("lens")], x_mm: get("stage_x_mm"), y_mm: get("stage_y_mm"), against: get("against") };
  };
  const paint = () => {
    frame = 0;
    const begin = performance.now();
    picture.draw(settingsOf(bench.get), overStop(bench.get));
    // What tests and the benchmark watch.
    root.dataset.took = (performance.now() - begin).toFixed(2);
    root.dataset.drawn = String(Number(root.dataset.drawn || 0) + 1);
    root.dataset.place = ["lens", "stage_x_mm", "stage_y_mm", "against"].map(bench.get).join(" ");
  };
  const show = () => (frame ||= requestAnimationFrame(paint));
  const watcher = new ResizeObserver(() => {
    const width = canvas.clientWidth;
    if (!width) return;
    picture.resize(Math.min(bench.made.most_pixels, width * window.devicePixelRatio));
    show();
  });
  watcher.observe(canvas);
  const stop = () => {
    watcher.disconnect();
    cancelAnimationFrame(frame);
  };
  return { show, stop };
}

const SHOWN = ["lens", "drum", "wheel", "eyepiece", "stage_x_mm", "stage_y_mm", "against", "compensator", "compensator_base",
  "height_locked", "aside", "dots", "_met", "_fields", "_zero_error", "_dotted", "_eye_setting", "_readings", "trace_kept"];

// What the parts share: how things stand, and a hand that changes them.
function benchOf(model) {
  const parts = model.get("_parts");
  const bench = {
    made: model.get("_made"), lost: "", refresh: () => {},
    get: (name) => model.get(name),
    shows: (name) => parts.includes(name),
  };
  const send = changer(model, (text) => (bench.lost = text));
  bench.change = (values) => {
    send(values);
    bench.refresh();
  };
  return bench;
}

function render({ model, el }) {
  const bench = benchOf(model);
  const only = (name, make) => (bench.shows(name) ? [make(bench)] : []);
  const ring = only("wheel", wheelRing);
  const eyepiece = eyepiecePart(bench, ring[0]);
  const words = wordsPart(bench, eyepiece.canvas);
  const dialled = only("eyepiece", eyepieceDial);
  const middle = [lensPart(bench), powerDrum(bench), ...only("stage", stagePart), ...only("compensator", compensatorPart)];
  const beside = [...only("pad", padPart), ...only("side", sidePart), ...only("dot", dotPart), ...only("pad", tracePart)];
  const column = (name, children) => element("div", { className: `optics-bench-${name}` }, children);
  const root = element("div", { className: "optics-panel optics-bench", role: "group", "aria-label": "Focimeter" }, [
    column("eyepiece", [eyepiece.el, ...ring.map((one) => one.buttons), ...dialled.map((one) => one.el), words.el]),
    column("controls", middle.map((one) => one.el)),
    ...(beside.length ? [column("beside", beside.map((one) => one.el))] : []),
  ]);
  keepKeys(root);
  el.replaceChildren(element("div", { className: "optics-room" }, [root]));
  const paint = painter(bench, eyepiece.canvas, root);
  const all = [...ring, eyepiece, ...dialled, ...middle, ...beside, words, paint];
  bench.refresh = () => all.forEach((one) => one.show());
  const shown = SHOWN.map((name) => `change:${name}`).join(" ");
  model.on(shown, bench.refresh);
  bench.refresh();
  return () => {
    model.off(shown, bench.refresh);
    paint.stop();
    words.stop();
  };
}

export default { render };
