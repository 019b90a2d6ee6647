// The pad: one press notes a reading. Repeats stand under one another with mean and spread;
// what one set of lines says is never set off against the other: that is the learner's to do.

const LINE_SETS = { sphere: "Sphere lines", cylinder: "Cylinder lines" };

const KEPT = "Your moves go with your answer, for you and your trainer to look at. Nobody marks them.";

function padPart(bench) {
  const note = (lines) => bench.change({
    _readings: [...bench.get("_readings"), {
      eye: bench.get("lens"), against: bench.get("against"), lines, drum: bench.get("drum"), wheel: bench.get("wheel"),
    }],
  });
  // Without a pair there is no lens that a reading would belong to.
  const lines = Object.entries(LINE_SETS).map(([set, words]) => button(words, () => note(set), `Note a reading of the ${words.toLowerCase()}`));
  const list = element("div", { className: "optics-pad-list", tabIndex: 0, role: "region", "aria-label": "Readings noted" });
  const back = button("Strike out the last", () => bench.change({ _readings: bench.get("_readings").slice(0, -1) }));
  const save = button("Save the readings", () => saveText("readings.csv", asTable(bench.get("_readings"))));
  save.title = "A table for your own records, readings.csv, that any spreadsheet opens";
  const el = part("Pad", null, [
    element("div", { className: "optics-bench-line" }, lines),
    list,
    element("div", { className: "optics-bench-line" }, [back, save]),
  ]);
  let drawn = null;
  const show = () => {
    const readings = bench.get("_readings");
    for (const one of lines) one.disabled = bench.get("aside");
    back.disabled = save.disabled = !readings.length;
    if (drawn === readings) return;
    drawn = readings;
    list.replaceChildren(...(readings.length ? repeated(readings).map(notedGroup) : [
      element("p", { className: "optics-hint", textContent: "Lines sharp? One press on their name notes drum and wheel." }),
    ]));
    list.scrollTop = list.scrollHeight;
  };
  return { el, show };
}

// The learner is told of the trace, and can switch it off.
function tracePart(bench) {
  const kept = tick("Keep my moves", (on) => bench.change({ trace_kept: on }));
  const el = element("div", { className: "optics-bench-part" }, [kept.row, element("p", { className: "optics-hint", textContent: KEPT })]);
  return { el, show: () => kept.set(bench.get("trace_kept")) };
}

function notedGroup({ eye, against, lines, drums, wheels, mean, spread }) {
  const title = `${eye}, ${lines} lines${against === "front" ? ", front against the stop" : ""}`;
  const rows = drums.map((drum, i) => element("tr", {}, [
    element("td", { textContent: `${signed(drum)} D` }), element("td", { textContent: `${degrees(wheels[i])}°` }),
  ]));
  const summary = drums.length > 1
    ? [element("p", { textContent: `mean ${signed(mean)} D, spread ${spread.toFixed(2)} D` })] : [];
  return element("div", { className: "optics-pad-group" }, [
    element("table", {}, [element("caption", { textContent: title }), element("tbody", {}, rows)]), ...summary,
  ]);
}

function saveText(name, text) {
  const link = element("a", { href: URL.createObjectURL(new Blob([text], { type: "text/csv" })), download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
}
