"""A headless Chromium and a real JupyterLab, without the internet.

Tests here carry the marker `browser` and are skipped, with the reason, where
there is no Chromium or no Playwright.
"""

from __future__ import annotations

import base64
import json
import sys
from contextlib import ExitStack
from pathlib import Path

import pytest

HERE = Path(__file__).parent
if str(HERE) not in sys.path:
    sys.path.insert(0, str(HERE))

import real_lab  # noqa: E402


def pytest_collection_modifyitems(items):
    """Mark everything in this folder, and skip it where it cannot run."""
    why = real_lab.why_not()
    for item in items:
        if HERE in item.path.parents:
            item.add_marker(pytest.mark.browser)
            if why:
                item.add_marker(pytest.mark.skip(reason=why))


@pytest.fixture(scope="session")
def chromium():
    """The browser itself, one for all tests."""
    with real_lab.chromium() as browser:
        yield browser


BARE = """<!doctype html><style>body {{ margin: 8px; font-family: sans-serif }} {css}</style><div id="el"></div>"""
# As much of a widget's model as the bench uses.
MODEL = """
class Model {
  constructor(state) { this.state = state; this.heard = []; this.saved = 0; }
  get(name) { return this.state[name]; }
  set(name, value) { this.state[name] = value; }
  save_changes() { this.saved += 1; }
  on(_, heard) { this.heard.push(heard); }
  off(_, heard) { this.heard = this.heard.filter((other) => other !== heard); }
  tell(values) { Object.assign(this.state, values); for (const heard of this.heard) heard(); }
}
"""


@pytest.fixture(scope="session")
def show_bench():
    """Give a function that shows a bench on a bare page, without JupyterLab and without a kernel.

    `window.model` stands for the kernel's side, `window.Picture` draws alone.
    """

    def show(page, bench) -> None:
        state = {name: value for name, value in bench.get_state().items() if name not in ("_esm", "_css")}
        module = bench._esm.replace("export default", "window.bench =") + MODEL
        module += f"Object.assign(window, {{ Picture, readField, metOver }}); window.model = new Model({json.dumps(state, default=str)});"
        module += "window.close_bench = window.bench.render({ model, el: document.getElementById('el') });"
        page.set_content(BARE.format(css=bench._css))
        page.add_script_tag(type="module", content=module)
        page.wait_for_selector(".optics-bench[data-drawn]")

    return show


@pytest.fixture
def page(chromium):
    """A fresh page that fails the test when its scripts do."""
    context = chromium.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.troubles = []
    page.on("pageerror", lambda error: page.troubles.append(str(error)))
    yield page
    context.close()
    assert not page.troubles, page.troubles


# Read off the canvas itself: a screenshot of each move would take most of the time of a reading.
# Controls are moved as a hand does that lets go of them there, and only where one can see and move them.
SEEN = """async ({ controls, largest }) => {
  for (const [name, value] of controls) {
    const named = [...document.querySelectorAll("input")].filter((one) => one.ariaLabel === name);
    if (named.length !== 1) throw new Error(`${named.length} controls are named ${name}`);
    if (named[0].disabled || !named[0].checkVisibility()) throw new Error(`${name} cannot be moved`);
    named[0].value = value;
    for (const heard of ["input", "change"]) named[0].dispatchEvent(new Event(heard, { bubbles: true }));
  }
  if (controls.length) await new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
  const canvas = document.querySelector(".optics-bench canvas");
  const { data, width } = canvas.getContext("2d", { alpha: false }).getImageData(0, 0, canvas.width, canvas.height);
  const by = Math.max(Math.floor(width / largest), 1);
  const size = Math.floor(width / by);
  const light = new Float32Array(size * size);
  for (let y = 0; y < size * by; y++)
    for (let x = 0; x < size * by; x++) {
      const at = 4 * (y * width + x);
      const seen = 0.299 * data[at] + 0.587 * data[at + 1] + 0.114 * data[at + 2];
      light[Math.floor(y / by) * size + Math.floor(x / by)] += seen / (255 * by * by);
    }
  let text = "";
  for (const byte of new Uint8Array(light.buffer)) text += String.fromCharCode(byte);
  return btoa(text);
}"""


@pytest.fixture(scope="session")
def seen():
    """Give a function that takes the picture off the first canvas: brightness, 0 to 1.

    It first puts sliders where it is told, by their names, and waits for the picture;
    neighbours are averaged until the picture is less than twice `largest` pixels wide.
    """
    import numpy as np

    def take(page, controls=(), largest=10_000):
        given = {"controls": [[name, str(value)] for name, value in controls], "largest": largest}
        light = np.frombuffer(base64.b64decode(page.evaluate(SEEN, given)), np.float32)
        size = round(light.size**0.5)
        return light.reshape(size, size).astype(float)

    return take


@pytest.fixture(scope="session")
def start_lab(tmp_path_factory):
    """Give a function that starts JupyterLab in a folder; all are stopped at the end."""
    with ExitStack() as running:

        def start(root: Path, *options: str, **more) -> real_lab.Lab:
            private = tmp_path_factory.mktemp("jupyter")
            return running.enter_context(real_lab.jupyterlab(root, private, *options, **more))

        yield start


@pytest.fixture(scope="session")
def lab(start_lab, tmp_path_factory):
    """A JupyterLab in an empty folder, one for all tests."""
    return start_lab(tmp_path_factory.mktemp("notebooks"))
