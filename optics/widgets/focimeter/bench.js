// The bench: the picture and the controls beside it, in the order of the work.
// Drum, wheel and eyepiece answer here; the stage, the choice of lens and the
// side against the stop ask the kernel, which alone knows the lens.

const LENSES = { R: "Right lens", L: "Left lens" };
const SIDES = { back: "Back (concave) side", front: "Front (convex) side" };
const degrees = (value) => String(Math.round(value)).padStart(3, "0");
const BASES = { 0: "right", 90: "up", 180: "left", 270: "down" };
const base = (value) => [degrees(value), BASES[value]].filter(Boolean).join(" ");

// The drum's scale: eighths up to 5 D, quarters beyond, under a fixed mark.
function drumScale([low, high]) {
  const perDioptre = 96;
  const strip = shape("g");
  for (let eighth = low * 8; eighth <= high * 8; eighth++) {
    if (Math.abs(eighth) > 40 && eighth % 2) continue;
    const x = (eighth / 8) * perDioptre;
    const height = eighth % 8 === 0 ? 18 : eighth % 4 === 0 ? 14 : eighth % 2 === 0 ? 10 : 6;
    strip.append(shape("line", { x1: x, x2: x, y1: 0, y2: height }));
    if (eighth % 4 === 0) strip.append(shape("text", { x, y: 33 }, [eighth ? signed(eighth / 8, 1) : "0"]));
  }
  const scale = shape("svg", { class: "optics-bench-scale", viewBox: "-150 -12 300 50", "aria-hidden": "true" }, [
    strip, shape("path", { d: "M-6 -12 H6 L0 -1 Z" }),
  ]);
  const value = element("output", { className: "optics-value" });
  const set = (drum) => {
    strip.setAttribute("transform", `translate(${-drum * perDioptre} 0)`);
    value.value = `${signed(drum)} D`;
  };
  return { row: row(element("div", { className: "optics-bench-window" }, [scale]), value), set };
}

function render({ model, el }) {
  const made = model.get("_made");
  const get = (name) => model.get(name);
  let lost = ""; // what to say once there is no kernel any more
  const send = changer(model, (text) => (lost = text));
  const change = (values) => {
    send(values);
    refresh();
  };

  // --- the picture ---------------------------------------------------------------
  const canvas = element("canvas", { role: "img" });
  const picture = new Picture(canvas, made);
  const numbers = element("div", { className: "optics-bench-numbers", "aria-hidden": "true" });
  for (const ring of made.rings) {
    const number = element("span", { textContent: ring });
    number.style.left = `${50 + (50 * ring) / made.field}%`;
    numbers.append(number);
  }
  const words = element("p", { className: "optics-bench-words" });
  const aloud = element("p", { className: "optics-aloud", "aria-live": "polite" });
  const notice = element("p", { className: "optics-notice", role: "status" });
  const say = (text) => {
    if (notice.textContent !== text) notice.textContent = text;
  };

  // --- the controls, in the order of the work -----------------------------------------
  const lens = choice("Lens over the stop", LENSES, (key) => change({ lens: key }));
  const eyepiece = slider("Dial", {
    spoken: "Eyepiece dial, dioptres at the eye",
    min: made.eyepiece_range[0], max: made.eyepiece_range[1], step: 0.25,
    show: (value) => `${signed(value)} D`,
    moved: (value) => change({ eyepiece: value }),
  });
  const [least, most] = made.drum_range;
  const turnDrum = (value) => change({ drum: Math.min(most, Math.max(least, Math.round(value * 100) / 100)) });
  let coarseAt = 0; // the quarter dioptre that the fine slider starts from
  const coarse = slider("Coarse", {
    spoken: "Power drum, coarse", shown: false, min: least, max: most, step: 0.25, show: () => `${signed(get("drum"))} D`,
    moved: (value) => {
      const fineBy = get("drum") - coarseAt;
      coarseAt = value;
      turnDrum(value + fineBy);
    },
  });
  const fine = slider("Fine", {
    spoken: "Power drum, fine", shown: false, min: -0.3, max: 0.3, step: 0.01, show: () => `${signed(get("drum"))} D`,
    moved: (value) => turnDrum(coarseAt + value),
  });
  const scale = drumScale(made.drum_range);
  const turnWheel = (value) => change({ wheel: ((((Math.round(value) - 1) % 180) + 180) % 180) + 1 });
  const wheel = slider("Degrees", {
    spoken: "Axis wheel, degrees", min: 1, max: 180, step: 1, show: degrees, moved: turnWheel,
  });
  const nudges = [-5, -1, 1, 5].map((by) =>
    button((by < 0 ? "-" : "+") + Math.abs(by), () => turnWheel(get("wheel") + by),
      `Wheel ${by < 0 ? "back" : "on"} by ${Math.abs(by)} degrees`));
  // The point over the stop moves against the pair. With the front against the
  // stop the operator faces the other side, so left and right change places.
  const sideways = () => (get("against") === "front" ? 1 : -1);
  const tenth = (value) => Math.round(value * 10) / 10;
  const across = slider("Left - right", {
    spoken: "Pair left or right; distance of the stop from the middle of the bridge",
    min: -60, max: 60, step: 0.5, show: () => `${tenth(Math.abs(get("stage_x_mm"))).toFixed(1)} mm`,
    moved: (value) => change({ stage_x_mm: tenth(sideways() * value) }),
  });
  const upward = slider("Down - up", {
    spoken: "Pair down or up; height of the stop from the datum line",
    min: -20, max: 20, step: 0.5, show: () => `${signed(get("stage_y_mm"), 1)} mm`,
    moved: (value) => change({ stage_y_mm: tenth(-value) }),
  });
  const compensator = slider("Amount", {
    spoken: "Prism compensator, amount in prism dioptres",
    min: 0, max: made.compensator_most, step: 0.25, show: (value) => `${value.toFixed(2)} Δ`,
    moved: (value) => change({ compensator: value }),
  });
  const compensatorBase = slider("Base", {
    spoken: "Prism compensator, base direction in degrees as you see it",
    min: 0, max: 359, step: 1, show: base,
    moved: (value) => change({ compensator_base: value }),
  });
  const side = choice("Side against the stop", SIDES, (key) => change({ against: key }));
  const dot = button("Dot the point over the stop", () =>
    change({ dots: { ...get("dots"), [get("lens")]: [get("stage_x_mm"), get("stage_y_mm")] } }));
  const wipe = button("Wipe off the dots", () => change({ dots: {} }));
  const dotted = element("p", { className: "optics-bench-dotted", role: "status" });

  const root = element("div", { className: "optics-panel optics-bench", role: "group", "aria-label": "Focimeter" }, [
    element("div", { className: "optics-bench-eyepiece" }, [
      element("div", { className: "optics-bench-field" }, [canvas, numbers]), words, notice, aloud,
    ]),
    element("div", { className: "optics-bench-steps" }, [
      step("1", "Lens", [lens.row]),
      step("2", "Eyepiece", [eyepiece.row]),
      step("3", "Power drum", [scale.row, coarse.row, fine.row]),
      step("4", "Axis wheel", [wheel.row, row(...nudges)]),
      step("5", "Stage: move the pair", [
        across.row, upward.row,
        element("p", { className: "optics-hint", textContent:
          "Where the stop meets the pair: from the middle of the bridge, and above (+) or below (-) the datum line." }),
      ]),
      step("6", "Prism compensator", [
        compensator.row, compensatorBase.row,
        element("p", { className: "optics-hint", textContent:
          "For a prism that will not let the crossing come to the middle. Turn the base to where the crossing lies, "
          + "then raise the amount until it stands in the middle. At 0.00 it does nothing." }),
      ]),
      step("7", "Side against the stop", [side.row]),
      step("8", "Dot", [row(dot, wipe), dotted]),
    ]),
  ]);
  keepKeys(root);
  el.replaceChildren(element("div", { className: "optics-room" }, [root]));

  // --- showing how things stand ----------------------------------------------------------
  let frame = 0, speaking = 0;

  const settings = (minus) =>
    `Drum ${signed(get("drum"))} D, wheel ${degrees(get("wheel"))}, eyepiece ${signed(get("eyepiece"))} D, `
      .replaceAll("-", minus) +
    (get("compensator") ? `compensator ${get("compensator").toFixed(2)} base at ${base(get("compensator_base"))}, ` : "") + `${LENSES[get("lens")].toLowerCase()} over the stop, ${get("against")} against it.`;

  // Whether the kernel has answered for the place where the pair now lies.
  const answered = () => {
    const { over } = get("_met");
    return over[0] === get("lens") && over[1] === get("stage_x_mm") && over[2] === get("stage_y_mm")
      && over[3] === get("against");
  };
  const watch = patience(answered,
    () => say(lost || `The notebook is busy or was restarted. If this stays, ${RUN_AGAIN.toLowerCase()}`),
    () => say(lost || get("_met").note));

  function refresh() {
    lens.set(get("lens"));
    side.set(get("against"));
    compensator.set(get("compensator"));
    compensatorBase.set(get("compensator_base"));
    eyepiece.set(get("eyepiece"));
    if (Math.abs(get("drum") - coarseAt) > 0.305) coarseAt = Math.round(get("drum") * 4) / 4;
    coarse.set(coarseAt);
    fine.set(Math.round((get("drum") - coarseAt) * 100) / 100);
    scale.set(get("drum"));
    wheel.set(get("wheel"));
    const [near, far] = get("lens") === "R" ? [-made.stage_far_mm, -made.stage_near_mm] : [made.stage_near_mm, made.stage_far_mm];
    across.input.min = Math.min(sideways() * near, sideways() * far);
    across.input.max = Math.max(sideways() * near, sideways() * far);
    across.set(sideways() * get("stage_x_mm"));
    upward.set(-get("stage_y_mm"));
    dotted.textContent = get("_dotted");
    words.textContent = settings("-");
    numbers.style.filter = `blur(${Math.abs(get("eyepiece") - get("_eye_setting")) * 0.4}px)`;
    clearTimeout(speaking);
    speaking = setTimeout(() => {
      aloud.textContent = settings("minus ");
      canvas.setAttribute("aria-label", `View through the eyepiece. ${settings("minus ")}`);
    }, QUIET_MS);
    watch.look();
    // Only the newest settings are drawn, once a frame.
    frame ||= requestAnimationFrame(() => {
      frame = 0;
      const begin = performance.now();
      const toBase = (get("compensator_base") * Math.PI) / 180;
      picture.draw({
        drum: get("drum"), wheel: get("wheel"), eyepiece: get("eyepiece"), eye: get("_eye_setting"),
        compensator_x: get("compensator") * Math.cos(toBase), compensator_y: get("compensator") * Math.sin(toBase),
      }, get("_met"));
      // What tests and the benchmark watch.
      root.dataset.took = (performance.now() - begin).toFixed(2);
      root.dataset.drawn = String(Number(root.dataset.drawn || 0) + 1);
      root.dataset.place = get("_met").over.join(" ");
    });
  }

  const shown = ["lens", "drum", "wheel", "eyepiece", "stage_x_mm", "stage_y_mm", "against", "compensator", "compensator_base", "_met", "_dotted", "_eye_setting"]
    .map((name) => `change:${name}`).join(" ");
  model.on(shown, refresh);
  const watcher = new ResizeObserver(() => {
    const width = canvas.clientWidth;
    if (!width) return;
    picture.resize(Math.min(made.most_pixels, width * window.devicePixelRatio));
    refresh();
  });
  watcher.observe(canvas);
  refresh();
  return () => {
    model.off(shown, refresh);
    watcher.disconnect();
    cancelAnimationFrame(frame);
    watch.stop();
    clearTimeout(speaking);
  };
}

export default { render };
