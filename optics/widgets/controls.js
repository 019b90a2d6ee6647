// Controls that panels share: native ones, each with its name, its value and its unit.

const PATIENCE_MS = 2000; // before a kernel that does not answer is mentioned
const QUIET_MS = 700; // before something is read out
const RUN_AGAIN = "Run this cell again.";

const signed = (value, digits = 2) => {
  const size = Math.abs(value).toFixed(digits);
  return (Number(size) === 0 ? "" : value < 0 ? "-" : "+") + size;
};

function element(tag, properties = {}, children = []) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (name in made) made[name] = value;
    else made.setAttribute(name, value);
  }
  made.append(...children);
  return made;
}

function shape(tag, attributes = {}, children = []) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  made.append(...children);
  return made;
}

// A slider with its name and its value; `show` writes the value, with its unit, for eye and ear.
// `shown` is false where the eye finds the value elsewhere.
function slider(name, { min, max, step, show, moved, spoken = name, shown = true }) {
  const input = element("input", { type: "range", min, max, step, "aria-label": spoken });
  const value = element("output", { className: "optics-value" });
  const row = element("label", { className: "optics-row" }, [element("span", { textContent: name }), input, value]);
  input.addEventListener("input", () => moved(input.valueAsNumber));
  const set = (number) => {
    if (input.valueAsNumber !== number) input.value = number;
    if (shown) value.value = show(number);
    input.setAttribute("aria-valuetext", show(number));
  };
  return { row, set, input };
}

function choice(name, options, chosen) {
  const group = `${name} ${Math.random()}`; // two panels never share a group
  const inputs = {};
  const labels = Object.entries(options).map(([key, text]) => {
    inputs[key] = element("input", { type: "radio", name: group, value: key });
    inputs[key].addEventListener("change", () => chosen(key));
    return element("label", { className: "optics-option" }, [inputs[key], text]);
  });
  const row = element("div", { className: "optics-row", role: "radiogroup", "aria-label": name }, labels);
  return { row, set: (key) => (inputs[key].checked = true) };
}

// `spoken` where the text alone does not say what it does.
function button(text, pressed, spoken = "") {
  const made = element("button", { type: "button", textContent: text, ...(spoken && { "aria-label": spoken }) });
  made.addEventListener("click", pressed);
  return made;
}

// A tick box for what is so or is not.
function tick(text, changed) {
  const input = element("input", { type: "checkbox" });
  input.addEventListener("change", () => changed(input.checked));
  const row = element("label", { className: "optics-option" }, [input, text]);
  return { row, set: (on) => (input.checked = on) };
}

function row(...children) {
  return element("div", { className: "optics-row" }, children);
}

function step(title, rows) {
  return element("div", { className: "optics-step", role: "group", "aria-label": title }, [
    element("div", { className: "optics-step-title", textContent: title }), ...rows,
  ]);
}

// JupyterLab would take the arrow keys of a slider, and letters, as its own.
function keepKeys(root) {
  root.addEventListener("keydown", (event) => {
    const runsCell = event.shiftKey && event.key === "Enter";
    if (!event.ctrlKey && !event.metaKey && !event.altKey && !runsCell) event.stopPropagation();
  });
}

// Change traits and send them; `lost` is told what to say when there is no kernel any more.
function changer(model, lost) {
  return (values) => {
    for (const [name, value] of Object.entries(values)) model.set(name, value);
    try {
      model.save_changes();
    } catch {
      lost(`This panel has lost its notebook. ${RUN_AGAIN}`);
    }
  };
}

// Watches whether the kernel has answered; `busy` is told once it is late, `rest` once it has.
function patience(answered, busy, rest) {
  let waiting = 0;
  const look = () => {
    clearTimeout(waiting);
    waiting = 0;
    if (answered()) rest();
    else waiting = setTimeout(busy, PATIENCE_MS);
  };
  return { look, stop: () => clearTimeout(waiting) };
}
