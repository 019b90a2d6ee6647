// The parts of the bench that a hand takes hold of. Each is a native slider, for keys and for
// screen readers, under a face that is dragged and turned by the mouse wheel.

const svg = shape;
const degrees = (value) => String(Math.round(value)).padStart(3, "0");

// A face with its slider. `moved` gets a value that is legal; `by` tells how a drag counts:
// given the face, where it began and where it is, it gives the change of the value.
function dial(face, { name, min, max, step, page, grain = step, endless = false, show, get, moved, by }) {
  const ends = { min, max, step, page, grain, endless };
  const input = element("input", { type: "range", min, max, step: grain, "aria-label": name, className: "optics-under" });
  const turn = (value) => moved(settled(ends, value));
  input.addEventListener("input", () => turn(input.valueAsNumber));
  input.addEventListener("keydown", (event) => {
    const value = byKey(event.key, ends, get());
    if (value === null || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    turn(value);
  });
  face.classList.add("optics-face");
  face.append(input);
  onDrag(face, { begin: () => (input.focus({ preventScroll: true }), get()), move: (from, begun, now) => turn(from + by(begun, now, face)) });
  onWheel(face, (notches) => turn(get() + notches * step));
  return {
    face, turn,
    set: (value) => {
      input.value = value;
      input.setAttribute("aria-valuetext", show(value));
    },
  };
}

// A drag, told as where it began and where it is, until the hand lets go.
function onDrag(face, { begin, move }) {
  let from, begun = null;
  face.addEventListener("pointerdown", (event) => {
    if (event.button || event.target.closest("button")) return;
    event.preventDefault();
    face.setPointerCapture(event.pointerId);
    begun = { x: event.clientX, y: event.clientY };
    from = begin();
  });
  face.addEventListener("pointermove", (event) => {
    if (!begun) return;
    const going = move(from, begun, { x: event.clientX, y: event.clientY });
    if (going === false) begun = null;
  });
  for (const end of ["pointerup", "pointercancel", "lostpointercapture"]) face.addEventListener(end, () => (begun = null));
}

// The mouse wheel turns a control only once the bench is in hand; until then the page scrolls.
function onWheel(face, turned) {
  let gathered = 0;
  face.addEventListener("wheel", (event) => {
    if (event.ctrlKey || !face.closest(".optics-bench").contains(document.activeElement)) return;
    event.preventDefault();
    gathered -= (event.deltaY || event.deltaX) / (event.deltaMode ? 3 : 100);
    const notches = Math.trunc(gathered) || (Math.abs(gathered) >= 0.3 ? Math.sign(gathered) : 0);
    if (!notches) return;
    gathered = 0;
    turned(notches);
  }, { passive: false });
}

// A minus and a plus button round something.
function between(less, middle, more) {
  return element("div", { className: "optics-between" }, [less, middle, more]);
}

// Steps by buttons of a dial: `by` as it is spoken, with its unit.
function stepButtons(dialOf, get, size, spoken) {
  return [-1, 1].map((way) =>
    button(way < 0 ? "−" : "+", () => dialOf().turn(get() + way * size), `${spoken(way < 0 ? "less" : "more")}`));
}

// One of the drum's two scales, which moves under a fixed mark. `every` is the finest mark,
// in dioptres, `numbers` how far apart the numbers stand.
function drumScale({ low, high, perDioptre, every, numbers, coarser = Infinity }) {
  const strip = svg("g");
  for (let n = Math.ceil(low / every); n <= high / every; n++) {
    const dioptres = n * every;
    if (Math.abs(dioptres) > coarser && n % 2) continue;
    const named = Number.isInteger(dioptres / numbers);
    const x = dioptres * perDioptre;
    strip.append(svg("line", { x1: x, x2: x, y1: 0, y2: named ? 12 : Number.isInteger(dioptres / numbers * 2) ? 9 : 6 }));
    if (named) strip.append(svg("text", { x, y: 25 }, [dioptres ? signed(dioptres, Number.isInteger(numbers) ? 0 : 1) : "0"]));
  }
  const drawing = svg("svg", { viewBox: "-120 -9 240 38", "aria-hidden": "true" }, [strip, svg("path", { d: "M-5 -9 H5 L0 -1 Z" })]);
  const face = element("div", { className: "optics-bench-scale" }, [drawing]);
  return { face, perDioptre, set: (drum) => strip.setAttribute("transform", `translate(${-drum * perDioptre} 0)`) };
}

// Power drum: a coarse scale and a fine one, each dragged under its mark.
function powerDrum(bench) {
  const [low, high] = bench.made.drum_range;
  const get = () => bench.get("drum");
  const value = element("output", { className: "optics-value" });
  const made = (scale, spoken, step, page, grain, size) => {
    const turning = dial(scale.face, {
      name: `Power drum, ${spoken}`, min: low, max: high, step, page, grain: 0.01, get,
      show: (drum) => `${signed(drum)} D`,
      moved: (drum) => bench.change({ drum }),
      // The scale follows the hand: 240 units of it are as wide as its face.
      by: (begun, now, face) => stepped((-(now.x - begun.x) * 240) / face.clientWidth / scale.perDioptre, grain),
    });
    const [less, more] = stepButtons(() => turning, get, size, (word) => `Drum ${word} by ${size.toFixed(2)} D`);
    return { ...turning, scale, line: between(less, scale.face, more) };
  };
  const coarse = made(drumScale({ low, high, perDioptre: 10, every: 1, numbers: 5 }), "coarse", 0.25, 1, 0.05, 0.25);
  const fine = made(drumScale({ low, high, perDioptre: 96, every: 0.125, numbers: 0.5, coarser: 5 }), "fine", 0.01, 0.05, 0.01, 0.05);
  const el = part("Power drum", value, [coarse.line, fine.line]);
  const show = () => {
    const drum = get();
    for (const one of [coarse, fine]) {
      one.set(drum);
      one.scale.set(drum);
    }
    value.value = `${signed(drum)} D`;
  };
  return { el, show };
}

// The ring round the eyepiece: it turns as the axis wheel, its arrow against a scale of degrees.
function wheelRing(bench) {
  const get = () => bench.get("wheel");
  const scale = svg("g", { class: "optics-ring-scale" });
  for (let at = 0; at < 360; at += 5) {
    const turn = `rotate(${-at})`;
    scale.append(svg("line", { x1: 91.5, x2: at % 10 ? 93 : 94.5, y1: 0, y2: 0, transform: turn }));
    if (at % 30 === 0) {
      const [x, y] = [Math.cos((at * Math.PI) / 180), -Math.sin((at * Math.PI) / 180)];
      scale.append(svg("text", { x: 107 * x, y: 103 * y + 2.6 }, [String(at % 180 || 180)]));
    }
  }
  const band = svg("g", { class: "optics-ring-band" }, [svg("circle", { r: 85, fill: "none" })]);
  for (let at = 0; at < 360; at += 6) band.append(svg("line", { x1: 81, x2: 89, y1: 0, y2: 0, transform: `rotate(${at})` }));
  for (const at of [0, 180]) band.append(svg("path", { d: "M91 0 L80 -6 V6 Z", class: "optics-ring-arrow", transform: `rotate(${at})` }));
  const drawing = svg("svg", { viewBox: "-112 -112 224 224", "aria-hidden": "true" }, [scale, band]);
  const face = element("div", { className: "optics-ring" }, [drawing]);
  const turning = dial(face, {
    name: "Axis wheel, degrees", min: 1, max: 180, step: 1, page: 5, endless: true, get,
    show: (value) => `${degrees(value)} degrees`,
    moved: (wheel) => bench.change({ wheel }),
    by: (begun, now) => {
      const box = face.getBoundingClientRect();
      const [x, y] = [box.left + box.width / 2, box.top + box.height / 2];
      return turnedBy(angleAt(begun.x - x, begun.y - y), angleAt(now.x - x, now.y - y));
    },
  });
  const value = element("output", { className: "optics-value" });
  const nudge = (by) => button((by < 0 ? "−" : "+") + Math.abs(by), () => turning.turn(get() + by),
    `Wheel ${by < 0 ? "back" : "on"} by ${Math.abs(by)} degrees`);
  const buttons = element("div", { className: "optics-bench-line" }, [
    element("span", { className: "optics-bench-name", textContent: "Axis wheel" }),
    nudge(-5), nudge(-1), value, nudge(1), nudge(5),
  ]);
  const show = () => {
    turning.set(get());
    band.setAttribute("transform", `rotate(${-get()})`);
    value.value = `${degrees(get())}°`;
  };
  return { face, buttons, show };
}

// A short knurled collar to drag, with its buttons and its value; for what has no scale of its own.
function collar(bench, { title, name, trait, min, max, step, page, show, get = () => bench.get(trait), moved, pixels = 12, spoken }) {
  const marks = svg("g");
  for (let x = -260; x <= 260; x += 8) marks.append(svg("line", { x1: x, x2: x, y1: 3, y2: 17 }));
  const face = element("div", { className: "optics-collar" }, [
    svg("svg", { viewBox: "-60 0 120 20", preserveAspectRatio: "xMidYMid slice", "aria-hidden": "true" }, [marks]),
  ]);
  const turning = dial(face, {
    name, min, max, step, page, get, show,
    moved: moved ?? ((value) => bench.change({ [trait]: value })),
    by: (begun, now) => stepped(((now.x - begun.x) / pixels) * step, step),
  });
  const value = element("output", { className: "optics-value" });
  const [less, more] = stepButtons(() => turning, get, step, spoken);
  const line = element("div", { className: "optics-bench-line" }, [
    element("span", { className: "optics-bench-name", textContent: title }), between(less, face, more), value,
  ]);
  return {
    line, turning,
    set: (at) => {
      turning.set(at);
      value.value = show(at);
      marks.setAttribute("transform", `translate(${((at / step) * 8) % 200} 0)`);
    },
  };
}

// A titled group of controls, its value beside its title.
function part(title, value, rows) {
  const head = element("div", { className: "optics-bench-head" }, [element("span", { textContent: title }), ...(value ? [value] : [])]);
  return element("div", { className: "optics-bench-part", role: "group", "aria-label": title }, [head, ...rows]);
}

// A group that stays folded until it is wanted; a screen reader hears the title.
function folded(title, rows) {
  return element("details", { className: "optics-bench-fold" }, [element("summary", { textContent: title }), ...rows]);
}
