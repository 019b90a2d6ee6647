// The stage: a small drawing of the pair over the stop, dragged by hand.

// A plain shape of a lens, millimetres about its middle; the bench does not know the frame.
const RIM = "M-25 -4 C-25 -17 -14 -20 0 -20 C16 -20 26 -16 26 -5 C26 10 16 19 2 19 C-14 19 -25 10 -25 -4 Z";
const RIM_FROM_BRIDGE_MM = 34;

// The pair as it is seen from its front, in millimetres, y down.
function smallPair() {
  const dots = { R: svg("circle", { r: 1.8, class: "optics-stage-dot" }), L: svg("circle", { r: 1.8, class: "optics-stage-dot" }) };
  const letters = { R: svg("text", { y: 15 }, ["R"]), L: svg("text", { y: 15 }, ["L"]) };
  const rims = ["R", "L"].map((eye) => {
    const side = eye === "R" ? -1 : 1;
    return svg("g", { transform: `translate(${side * RIM_FROM_BRIDGE_MM} 0) scale(${side} 1)` }, [svg("path", { d: RIM })]);
  });
  const nose = svg("path", { d: "M-10 -6 C-5 -12 5 -12 10 -6 M-59 -12 h-6 M59 -12 h6" });
  const datum = svg("line", { x1: -70, x2: 70, y1: 0, y2: 0, class: "optics-stage-datum" });
  const pair = svg("g", { class: "optics-stage-pair" }, [...rims, nose, datum, letters.R, letters.L, dots.R, dots.L]);
  const place = (x, y, against, inked) => {
    const mirror = -sideways(against);
    pair.setAttribute("transform", `translate(${-mirror * x} ${y}) scale(${mirror} 1)`);
    for (const eye of ["R", "L"]) {
      // Letters stay upright to the reader when the pair is turned over.
      letters[eye].setAttribute("transform", `translate(${(eye === "R" ? -1 : 1) * RIM_FROM_BRIDGE_MM} 0) scale(${mirror} 1)`);
      dots[eye].style.display = inked[eye] ? "" : "none";
      if (inked[eye]) dots[eye].setAttribute("transform", `translate(${inked[eye][0]} ${-inked[eye][1]})`);
    }
  };
  return { pair, place };
}

const STAGE_WIDE_MM = 120, STAGE_HIGH_MM = 56;

// The drawing that is dragged. Arrow keys and screen readers use the two collars beside it.
function stageDrawing(bench) {
  const { pair, place } = smallPair();
  const stop = [
    svg("circle", { r: bench.made.stop_radius_cm * 10, class: "optics-stage-stop" }),
    svg("path", { d: "M-9 0 h4 M5 0 h4 M0 -9 v4 M0 5 v4", class: "optics-stage-stop" }),
  ];
  const seen = `${-STAGE_WIDE_MM / 2} ${-STAGE_HIGH_MM / 2} ${STAGE_WIDE_MM} ${STAGE_HIGH_MM}`;
  const drawing = svg("svg", { viewBox: seen, "aria-hidden": "true" }, [pair, ...stop]);
  const face = element("div", { className: "optics-stage", title: "Drag the pair over the stop" }, [drawing]);
  onDrag(face, {
    begin: () => ({ lens: bench.get("lens"), x: bench.get("stage_x_mm"), y: bench.get("stage_y_mm"), against: bench.get("against") }),
    move: (from, begun, now) => {
      const scale = STAGE_WIDE_MM / face.clientWidth;
      const to = dragged(from, (now.x - begun.x) * scale, (begun.y - now.y) * scale, bench.made);
      if (to.other) {
        bench.change({ lens: from.lens === "R" ? "L" : "R" });
        return false; // the other lens lies where it was left; the hand takes hold of it anew
      }
      bench.change({ stage_x_mm: to.x, ...(bench.get("height_locked") ? {} : { stage_y_mm: to.y }) });
      return true;
    },
  });
  onWheel(face, (notches) => {
    const from = { lens: bench.get("lens"), x: bench.get("stage_x_mm"), y: bench.get("stage_y_mm"), against: bench.get("against") };
    if (!bench.get("height_locked")) bench.change({ stage_y_mm: dragged(from, 0, notches * 0.5, bench.made).y });
  });
  const show = () => {
    place(bench.get("stage_x_mm"), bench.get("stage_y_mm"), bench.get("against"), bench.get("dots"));
    pair.style.display = bench.get("aside") ? "none" : "";
  };
  return { face, show };
}

function stagePart(bench) {
  const drawing = stageDrawing(bench);
  const turnedOver = () => sideways(bench.get("against"));
  const across = collar(bench, {
    title: "Left, right", name: "Pair left or right; distance of the stop from the middle of the bridge",
    min: -60, max: 60, step: 0.5, page: 5,
    get: () => turnedOver() * bench.get("stage_x_mm"),
    show: () => `${Math.abs(bench.get("stage_x_mm")).toFixed(1)} mm`,
    moved: (value) => {
      const [low, high] = acrossOf(bench.get("lens"), bench.made);
      bench.change({ stage_x_mm: within(turnedOver() * value, low, high) });
    },
    spoken: (word) => `Pair to the ${word === "less" ? "left" : "right"} by half a millimetre`,
  });
  const height = bench.made.stage_height_mm;
  const upward = collar(bench, {
    title: "Down, up", name: "Pair down or up; height of the stop from the datum line",
    min: -height, max: height, step: 0.5, page: 5,
    get: () => -bench.get("stage_y_mm"),
    show: () => `${signed(bench.get("stage_y_mm"), 1)} mm`,
    moved: (value) => bench.change({ stage_y_mm: -value || 0 }),
    spoken: (word) => `Pair ${word === "less" ? "down" : "up"} by half a millimetre`,
  });
  const lock = tick("Lock the height", (on) => bench.change({ height_locked: on }));
  const hint = "The stop meets the pair this far from the middle of the bridge, and above (+) or below (-) the datum line.";
  const el = part("Stage: move the pair", null, [drawing.face, across.line, upward.line, ...(bench.shows("lock") ? [lock.row] : [])]);
  el.title = hint;
  const show = () => {
    drawing.show();
    across.set(turnedOver() * bench.get("stage_x_mm"));
    upward.set(-bench.get("stage_y_mm"));
    upward.line.inert = bench.get("height_locked");
    lock.set(bench.get("height_locked"));
  };
  return { el, show };
}
