"""A headless Chromium and a real JupyterLab, without the internet.

Tests here carry the marker `browser` and are skipped, with the reason, where
there is no Chromium or no Playwright.
"""

from __future__ import annotations

import base64
import io
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


@pytest.fixture(scope="session")
def seen():
    """Give a function that takes the picture off the first canvas: brightness, 0 to 1."""
    import numpy as np
    from PIL import Image

    def take(page):
        url = page.evaluate("() => document.querySelector('.optics-bench canvas').toDataURL()")
        image = Image.open(io.BytesIO(base64.b64decode(url.split(",")[1]))).convert("L")
        return np.asarray(image) / 255.0

    return take


@pytest.fixture(scope="session")
def start_lab(tmp_path_factory):
    """Give a function that starts JupyterLab in a folder; all are stopped at the end."""
    with ExitStack() as running:

        def start(root: Path, *options: str, settings: dict | None = None) -> real_lab.Lab:
            private = tmp_path_factory.mktemp("jupyter")
            return running.enter_context(real_lab.jupyterlab(root, private, *options, settings=settings))

        yield start


@pytest.fixture(scope="session")
def lab(start_lab, tmp_path_factory):
    """A JupyterLab in an empty folder, one for all tests."""
    return start_lab(tmp_path_factory.mktemp("notebooks"))
