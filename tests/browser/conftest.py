"""A headless Chromium and a real JupyterLab, without the internet.

Tests here carry the marker `browser` and are skipped, with the reason, where
there is no Chromium or no Playwright.
"""

from __future__ import annotations

import base64
import io
import json
import os
import secrets
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from dataclasses import dataclass
from pathlib import Path

import nbformat
import pytest

HERE = Path(__file__).parent
START_SECONDS = 60


def pytest_collection_modifyitems(items):
    """Mark everything in this folder, and skip it where it cannot run."""
    why = _why_not()
    for item in items:
        if HERE in item.path.parents:
            item.add_marker(pytest.mark.browser)
            if why:
                item.add_marker(pytest.mark.skip(reason=why))


def _chromium() -> str | None:
    named = os.environ.get("CHROMIUM")
    found = (shutil.which(name) for name in (named, "chromium", "chromium-browser", "google-chrome") if name)
    return next((path for path in found if path), None)


def _why_not() -> str:
    if _chromium() is None:
        return "there is no Chromium on this machine (or set CHROMIUM to its path)"
    try:
        import playwright.sync_api  # noqa: F401
    except ImportError:
        return "Playwright is not installed: pip install playwright"
    return ""


@pytest.fixture(scope="session")
def chromium():
    """The browser itself, one for all tests."""
    from playwright.sync_api import sync_playwright

    quiet = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=_chromium(), args=quiet)
        yield browser
        browser.close()


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
        module += f"window.Picture = Picture; window.model = new Model({json.dumps(state, default=str)});"
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


@dataclass
class Lab:
    """A running JupyterLab."""

    url: str
    token: str
    root: Path

    def put(self, name: str, cells: list[str]) -> None:
        """Write a notebook of code cells into its folder."""
        code = [nbformat.v4.new_code_cell(text, id=f"cell-{i}") for i, text in enumerate(cells)]
        kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
        notebook = nbformat.v4.new_notebook(cells=code, metadata={"kernelspec": kernel})
        nbformat.write(notebook, self.root / name)

    def open(self, page, name: str) -> None:
        """Open a notebook of its folder and wait for its kernel."""
        page.goto(f"{self.url}/lab/tree/{name}?token={self.token}&reset")
        page.wait_for_selector(".jp-Notebook .jp-Cell", timeout=START_SECONDS * 1000)
        page.evaluate(
            """async () => {
                const panel = window.jupyterapp.shell.currentWidget;
                await panel.context.ready;
                await panel.sessionContext.ready;
                await panel.sessionContext.session.kernel.info;
            }"""
        )

    def run_all(self, page) -> None:
        """Run the whole notebook, and wait until its kernel rests."""
        page.evaluate("() => window.jupyterapp.commands.execute('notebook:run-all-cells')")

    def restart(self, page) -> None:
        """Restart the kernel, leaving the page as it is."""
        page.evaluate("() => window.jupyterapp.shell.currentWidget.sessionContext.session.kernel.restart()")


@pytest.fixture(scope="session")
def start_lab(tmp_path_factory):
    """Give a function that starts JupyterLab in a folder; all are stopped at the end."""
    running = []

    def start(root: Path, *options: str, settings: dict | None = None) -> Lab:
        private = tmp_path_factory.mktemp("jupyter")
        config = private / "config"
        (config / "labconfig").mkdir(parents=True)
        # JupyterLab asks a news server at its first start.
        off = {"disabledExtensions": {"@jupyterlab/apputils-extension:announcements": True}}
        (config / "labconfig" / "page_config.json").write_text(json.dumps(off))
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        token = secrets.token_hex(16)
        environment = (
            os.environ
            | {
                "JUPYTER_CONFIG_DIR": str(config),
                "JUPYTER_DATA_DIR": str(private / "data"),
                "JUPYTER_RUNTIME_DIR": str(private / "runtime"),
                "JUPYTERLAB_SETTINGS_DIR": str(private / "settings"),
                "JUPYTERLAB_WORKSPACES_DIR": str(private / "workspaces"),
                "IPYTHONDIR": str(private / "ipython"),
                "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ.get('PATH', '')}",
            }
            | (settings or {})
        )
        command = [
            sys.executable,
            "-m",
            "jupyterlab",
            "--no-browser",
            "--allow-root",
            "--ServerApp.ip=127.0.0.1",
        ]
        command += [f"--ServerApp.port={port}", "--ServerApp.port_retries=0", f"--ServerApp.root_dir={root}"]
        command += [f"--IdentityProvider.token={token}", "--LabApp.expose_app_in_browser=True", *options]
        log = (private / "log.txt").open("w")
        process = subprocess.Popen(command, cwd=root, env=environment, stdout=log, stderr=log)
        running.append(process)
        url = f"http://127.0.0.1:{port}"
        give_up = time.monotonic() + START_SECONDS
        while True:
            try:
                urllib.request.urlopen(f"{url}/api/status?token={token}", timeout=2).close()
                return Lab(url, token, root)
            except (urllib.error.URLError, TimeoutError, ConnectionError):
                if process.poll() is not None or time.monotonic() > give_up:
                    pytest.fail(f"JupyterLab did not start:\n{(private / 'log.txt').read_text()[-2000:]}")
                time.sleep(0.2)

    yield start
    for process in running:
        process.terminate()
    for process in running:
        try:
            process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()


@pytest.fixture(scope="session")
def lab(start_lab, tmp_path_factory):
    """A JupyterLab in an empty folder, one for all tests."""
    return start_lab(tmp_path_factory.mktemp("notebooks"))
