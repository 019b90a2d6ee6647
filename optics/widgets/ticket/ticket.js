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

const OF_A_LENS = { ...LENS_FIELDS, ...MEASURES };

const same = (one, other) => JSON.stringify(Object.entries(one).sort()) === JSON.stringify(Object.entries(other).sort());

function nameOf(field) {
  const what = field.replace(/_(right|left)$/, "");
  return (OF_A_LENS[what] ?? SHOP[what] ?? [what[0].toUpperCase() + what.slice(1)])[0];
}

function textField(width, example) {
  return element("input", { type: "text", size: width, placeholder: "", autocomplete: "off", spellcheck: false, title: `for example ${example}` });
}

// What the parts share: the fields by name, what was typed in them, and how it is sent.
function ticketOf(model) {
  const late = element("p", { className: "optics-notice", role: "status" });
  const ticket = { model, late, fields: {}, faults: {}, groups: {}, visited: new Set(), own: `optics-ticket-${Math.random().toString(36).slice(2)}` };
  ticket.lost = () => {
    late.textContent = "The notebook is busy or was restarted. What you typed still stands here. "
      + "If this stays, copy it before you run this cell again.";
  };
  const send = changer(model, ticket.lost);
  ticket.watch = patience(() => same(model.get("_answered"), model.get("typed")), ticket.lost, () => { late.textContent = ""; });
  let waiting = 0;
  const typed = () => {
    const all = Object.entries(ticket.fields).map(([name, { value }]) => [name, value]);
    return Object.fromEntries(all.filter(([, value]) => value !== ""));
  };
  ticket.now = () => {
    clearTimeout(waiting);
    if (!same(typed(), model.get("typed"))) send({ typed: typed() });
    ticket.watch.look();
    showFaults(ticket);
  };
  ticket.later = () => {
    clearTimeout(waiting);
    waiting = setTimeout(ticket.now, WAIT_MS);
  };
  ticket.stop = () => {
    clearTimeout(waiting);
    ticket.watch.stop();
  };
  return ticket;
}

// One field with its label; its fault stands elsewhere, under its row.
function field(ticket, name, label, input, group, spoken) {
  input.id = `${ticket.own}-${name}`;
  input.setAttribute("aria-label", spoken);
  input.addEventListener("input", ticket.later);
  input.addEventListener("focus", () => showFaults(ticket));
  input.addEventListener("blur", () => {
    ticket.visited.add(name);
    ticket.now();
  });
  ticket.fields[name] = input;
  ticket.groups[name] = group;
  ticket.faults[name] = element("p", { className: "optics-ticket-fault", id: `${ticket.own}-${name}-fault`, role: "status" });
  input.setAttribute("aria-describedby", ticket.faults[name].id);
  return element("label", { className: "optics-ticket-field" }, [element("span", { textContent: label }), input]);
}

// A field is not called wrong while it is being typed in, nor one of the same lens that is still to come.
function showFaults({ model, fields, faults, groups, visited }) {
  const found = model.get("_faults");
  for (const [name, input] of Object.entries(fields)) {
    const inUse = document.activeElement === input;
    const told = !inUse && (visited.has(name) || !groups[name].contains(document.activeElement));
    const words = told && found[name] ? `${nameOf(name)}: ${found[name]}` : "";
    if (faults[name].textContent !== words) faults[name].textContent = words;
    if (words) input.setAttribute("aria-invalid", "true");
    else input.removeAttribute("aria-invalid");
  }
}

function lensPart(ticket, side, [eye, title]) {
  const group = element("fieldset", { className: "optics-ticket-lens" });
  const made = (list) => element("div", { className: "optics-row" }, Object.entries(list).map(([what, [label, width, example]]) =>
    field(ticket, `${what}_${side}`, label, textField(width, example), group, `${title}, ${label}`)));
  const rows = [made(LENS_FIELDS), made(MEASURES)];
  const line = element("p", { className: "optics-ticket-line" });
  const cross = element("div", { className: "optics-ticket-cross" });
  const faults = Object.keys(OF_A_LENS).map((what) => ticket.faults[`${what}_${side}`]);
  group.append(
    element("legend", { textContent: title }),
    element("div", { className: "optics-ticket-written" }, [...rows, ...faults, line]),
    cross,
  );
  const show = () => {
    const written = ticket.model.get("_lines")[eye];
    line.textContent = written ? `As one line: ${eye} ${written}` : "";
    const html = ticket.model.get("_crosses")[eye] ?? "";
    if (cross.dataset.html === html) return;
    cross.dataset.html = html;
    cross.innerHTML = html;
  };
  return { el: group, show };
}

function pairPart(ticket, styles) {
  const choose = element("select", {}, ["", ...styles].map((value) =>
    element("option", { value, textContent: value || "not told yet" })));
  choose.addEventListener("change", ticket.now);
  const group = element("fieldset", { className: "optics-ticket-rest" });
  const remarks = element("textarea", { rows: 2, maxLength: 240, spellcheck: false });
  const told = [
    field(ticket, "style", "Style", choose, group, "Lens style"),
    field(ticket, "remarks", "Remarks", remarks, group, "Remarks"),
  ];
  told[1].classList.add("optics-ticket-wide");
  const shop = Object.entries(SHOP).map(([what, [label, width, example]]) =>
    field(ticket, what, label, textField(width, example), group, label));
  group.append(
    element("legend", { textContent: "The pair" }),
    element("div", { className: "optics-row" }, told),
    element("div", { className: "optics-row" }, shop),
    ...["style", ...Object.keys(SHOP), "remarks"].map((what) => ticket.faults[what]),
  );
  return { el: group, show: () => {} };
}

function savingPart({ model, now, lost }) {
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
  const saved = element("p", { className: "optics-notice", role: "status" });
  const el = element("div", {}, [
    element("div", { className: "optics-row optics-ticket-saving" }, [
      element("label", {}, ["File name ", name]),
      element("label", { className: "optics-option" }, [replace, "Replace a file of that name"]), save,
    ]),
    saved,
  ]);
  const show = () => {
    if (saved.textContent !== model.get("_saved")) saved.textContent = model.get("_saved");
  };
  return { el, show };
}

// What is being typed is never taken back by an answer to what was typed before.
function showTyped({ model, fields }) {
  for (const [name, input] of Object.entries(fields)) {
    const value = model.get("typed")[name] ?? "";
    if (document.activeElement !== input && input.value !== value) input.value = value;
  }
}

function render({ model, el }) {
  const { shop, caution, styles } = model.get("_heads");
  const ticket = ticketOf(model);
  const lenses = Object.entries(SIDES).map(([side, named]) => lensPart(ticket, side, named));
  const parts = [...lenses, pairPart(ticket, styles), savingPart(ticket)];
  const root = element("div", { className: "optics-panel optics-ticket", role: "group", "aria-label": "Ticket" }, [
    element("div", { className: "optics-ticket-head" }, [
      element("strong", { textContent: shop }), element("span", { textContent: model.get("_job") && `job ${model.get("_job")}` }),
    ]),
    ...parts.map((one) => one.el),
    ticket.late,
    element("p", { className: "optics-hint", textContent: caution }),
  ]);
  keepKeys(root);
  el.replaceChildren(element("div", { className: "optics-room" }, [root]));
  const refresh = () => {
    showTyped(ticket);
    for (const one of parts) one.show();
    ticket.watch.look();
    showFaults(ticket);
    root.dataset.drawn = String(Number(root.dataset.drawn || 0) + 1);
  };
  const shown = "change:typed change:_faults change:_crosses change:_lines change:_saved change:_answered";
  model.on(shown, refresh);
  refresh();
  return () => {
    model.off(shown, refresh);
    ticket.stop();
  };
}

export default { render };
