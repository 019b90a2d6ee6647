// The ticket: fields in the order a shop writes them, each fault under its row, a power cross beside.

const SIDES = { right: ["R", "Right lens"], left: ["L", "Left lens"] };
// Name, width in letters, what may stand there.
const LENS_FIELDS = {
  sphere: ["Sphere", 7, "-2.25"],
  cylinder: ["Cylinder", 7, "-0.75"],
  axis: ["Axis", 5, "015"],
  add: ["Add", 7, "+2.00"],
  prism: ["Prism and base", 18, "2.00 base in"],
};
const MEASURES = {
  pd: ["PD, mm", 7, "31.5"],
  height: ["Height, mm", 7, "18"],
};
const SHOP = {
  segment: ["Segment and width", 14, "flat-top 28"],
  near_pd: ["Near PD, mm", 7, "60"],
  base_curve: ["Base curve, D", 7, "6.25"],
  frame: ["Eye size and bridge", 9, "52-18"],
  material: ["Material, if known", 14, "plastic 1.50"],
  thinning: ["Thinning prism", 14, "1.50 base down"],
};
const WAIT_MS = 250; // after the last letter, before the ticket is read

function render({ model, el }) {
  const { shop, caution, styles } = model.get("_heads");
  const fields = {}, faults = {}, groups = {}, visited = new Set();
  const saved = element("p", { className: "optics-notice", role: "status" });
  const late = element("p", { className: "optics-notice", role: "status" });
  const lost = () => {
    late.textContent = "The notebook is busy or was restarted. What you typed still stands here. "
      + "If this stays, copy it before you run this cell again.";
  };
  const send = changer(model, lost);
  const same = (one, other) => JSON.stringify(Object.entries(one).sort()) === JSON.stringify(Object.entries(other).sort());
  const watch = patience(() => same(model.get("_answered"), model.get("typed")), lost, () => { late.textContent = ""; });
  const own = `optics-ticket-${Math.random().toString(36).slice(2)}`;
  let waiting = 0;

  function typed() {
    const all = Object.entries(fields).map(([name, { value }]) => [name, value]);
    return Object.fromEntries(all.filter(([, value]) => value !== ""));
  }
  function later() {
    clearTimeout(waiting);
    waiting = setTimeout(now, WAIT_MS);
  }
  function now() {
    clearTimeout(waiting);
    if (!same(typed(), model.get("typed"))) send({ typed: typed() });
    watch.look();
    showFaults();
  }

  function field(name, label, input, group, spoken) {
    input.id = `${own}-${name}`;
    input.setAttribute("aria-label", spoken);
    input.addEventListener("input", later);
    input.addEventListener("focus", showFaults);
    input.addEventListener("blur", () => { visited.add(name); now(); });
    fields[name] = input;
    groups[name] = group;
    faults[name] = element("p", { className: "optics-ticket-fault", id: `${own}-${name}-fault`, role: "status" });
    input.setAttribute("aria-describedby", faults[name].id);
    return element("label", { className: "optics-ticket-field" }, [element("span", { textContent: label }), input]);
  }
  const text = (width, example) => element("input", {
    type: "text", size: width, placeholder: "", autocomplete: "off", spellcheck: false, title: `for example ${example}`,
  });

  const lenses = Object.entries(SIDES).map(([side, [eye, title]]) => {
    const group = element("fieldset", { className: "optics-ticket-lens" });
    const made = (list) => Object.entries(list).map(([what, [label, width, example]]) =>
      field(`${what}_${side}`, label, text(width, example), group, `${title}, ${label}`));
    const line = element("p", { className: "optics-ticket-line" });
    const cross = element("div", { className: "optics-ticket-cross" });
    group.append(
      element("legend", { textContent: title }),
      element("div", { className: "optics-ticket-written" }, [
        element("div", { className: "optics-row" }, made(LENS_FIELDS)),
        element("div", { className: "optics-row" }, made(MEASURES)),
        ...[...Object.keys(LENS_FIELDS), ...Object.keys(MEASURES)].map((what) => faults[`${what}_${side}`]),
        line,
      ]),
      cross,
    );
    return { eye, group, line, cross };
  });

  const choose = element("select", {}, ["", ...styles].map((value) =>
    element("option", { value, textContent: value || "not told yet" })));
  choose.addEventListener("change", now);
  const rest = element("fieldset", { className: "optics-ticket-rest" });
  const remarks = element("textarea", { rows: 2, maxLength: 240, spellcheck: false });
  rest.append(
    element("legend", { textContent: "The pair" }),
    element("div", { className: "optics-row" }, [
      field("style", "Style", choose, rest, "Lens style"),
      field("remarks", "Remarks", remarks, rest, "Remarks"),
    ]),
    element("div", { className: "optics-row" }, Object.entries(SHOP).map(([what, [label, width, example]]) =>
      field(what, label, text(width, example), rest, label))),
    faults.style, ...Object.keys(SHOP).map((what) => faults[what]), faults.remarks,
  );
  fields.remarks.closest("label").classList.add("optics-ticket-wide");

  const name = element("input", { type: "text", size: 20, value: "ticket.pdf", "aria-label": "File name, ending in .pdf, .svg or .png", spellcheck: false });
  const replace = element("input", { type: "checkbox" });
  const save = button("Save the job ticket", () => {
    now();
    try {
      model.send({ save: name.value.trim(), replace: replace.checked });
    } catch {
      lost();
    }
  });
  const root = element("div", { className: "optics-panel optics-ticket", role: "group", "aria-label": "Ticket" }, [
    element("div", { className: "optics-ticket-head" }, [
      element("strong", { textContent: shop }), element("span", { textContent: model.get("_job") && `job ${model.get("_job")}` }),
    ]),
    ...lenses.map(({ group }) => group),
    rest,
    element("div", { className: "optics-row optics-ticket-saving" }, [
      element("label", {}, ["File name ", name]),
      element("label", { className: "optics-option" }, [replace, "Replace a file of that name"]), save,
    ]),
    saved, late,
    element("p", { className: "optics-hint", textContent: caution }),
  ]);
  keepKeys(root);
  el.replaceChildren(element("div", { className: "optics-room" }, [root]));

  // A field is not called wrong while it is being typed in, nor one of the same lens that is still to come.
  function showFaults() {
    const found = model.get("_faults");
    for (const [fieldName, input] of Object.entries(fields)) {
      const inUse = document.activeElement === input;
      const group = groups[fieldName];
      const told = !inUse && (visited.has(fieldName) || !group.contains(document.activeElement));
      const words = told && found[fieldName] ? `${nameOf(fieldName)}: ${found[fieldName]}` : "";
      if (faults[fieldName].textContent !== words) faults[fieldName].textContent = words;
      if (words) input.setAttribute("aria-invalid", "true");
      else input.removeAttribute("aria-invalid");
    }
  }
  const nameOf = (fieldName) => {
    const what = fieldName.split("_")[0];
    return (LENS_FIELDS[what] ?? MEASURES[what] ?? [what[0].toUpperCase() + what.slice(1)])[0];
  };

  function refresh() {
    for (const [fieldName, input] of Object.entries(fields)) {
      const value = model.get("typed")[fieldName] ?? "";
      // What is being typed is never taken back by an answer to what was typed before.
      if (document.activeElement !== input && input.value !== value) input.value = value;
    }
    for (const { eye, line, cross } of lenses) {
      const written = model.get("_lines")[eye];
      line.textContent = written ? `As one line: ${eye} ${written}` : "";
      const html = model.get("_crosses")[eye] ?? "";
      if (cross.dataset.html !== html) {
        cross.dataset.html = html;
        cross.innerHTML = html;
      }
    }
    if (saved.textContent !== model.get("_saved")) saved.textContent = model.get("_saved");
    watch.look();
    showFaults();
    root.dataset.drawn = String(Number(root.dataset.drawn || 0) + 1);
  }

  const shown = "change:typed change:_faults change:_crosses change:_lines change:_saved change:_answered";
  model.on(shown, refresh);
  refresh();
  return () => {
    model.off(shown, refresh);
    clearTimeout(waiting);
    watch.stop();
  };
}

export default { render };
