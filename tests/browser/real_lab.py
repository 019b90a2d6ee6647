"""Chromium and JupyterLab, started and stopped; used by the tests here and by the benchmark."""

from __future__ import annotations

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
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import nbformat

START_SECONDS = 180
"""Only what hangs is given up, on a slow and busy machine too."""
QUIET = ("--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update")


def chromium_path() -> str | None:
    """Where Chromium is; CHROMIUM in the environment comes first."""
    names = (os.environ.get("CHROMIUM"), "chromium", "chromium-browser", "google-chrome")
    return next((path for path in (shutil.which(name) for name in names if name) if path), None)


def why_not() -> str:
    """Why no browser can be driven here, or nothing."""
    if chromium_path() is None:
        return "there is no Chromium on this machine (or set CHROMIUM to its path)"
    try:
        import playwright.sync_api  # noqa: F401
    except ImportError:
        return "Playwright is not installed: pip install playwright"
    return ""


@contextmanager
def chromium(*flags: str) -> Iterator:
    """Headless Chromium, without the internet."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=[*QUIET, *flags])
        yield browser
        browser.close()


@dataclass
class Lab:
    """A running JupyterLab."""

    url: str
    token: str
    root: Path
    process: subprocess.Popen

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
        """Run the whole notebook, and wait until it has run."""
        page.evaluate("() => window.jupyterapp.commands.execute('notebook:run-all-cells')")

    def run_cell(self, page, number: int) -> None:
        """Run one cell, counted from 0, and wait until it has run."""
        page.evaluate(
            """(number) => {
                window.jupyterapp.shell.currentWidget.content.activeCellIndex = number;
                return window.jupyterapp.commands.execute('notebook:run-cell');
            }""",
            number,
        )

    def restart(self, page) -> None:
        """Restart the kernel, leaving the page as it is."""
        page.evaluate("() => window.jupyterapp.shell.currentWidget.sessionContext.session.kernel.restart()")


@contextmanager
def jupyterlab(
    root: Path, private: Path, *options: str, settings: dict | None = None, program: str = "jupyterlab"
) -> Iterator[Lab]:
    """JupyterLab in the folder `root`, its own files in `private`; stopped at the end.

    Another program, such as "optics" with its options, may be what starts it.
    """
    config = private / "config"
    (config / "labconfig").mkdir(parents=True)
    # JupyterLab asks a news server at its first start.
    off = {"disabledExtensions": {"@jupyterlab/apputils-extension:announcements": True}}
    (config / "labconfig" / "page_config.json").write_text(json.dumps(off))
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    token = secrets.token_hex(16)
    environment = os.environ | {
        "JUPYTER_CONFIG_DIR": str(config),
        "JUPYTER_DATA_DIR": str(private / "data"),
        "JUPYTER_RUNTIME_DIR": str(private / "runtime"),
        "JUPYTERLAB_SETTINGS_DIR": str(private / "settings"),
        "JUPYTERLAB_WORKSPACES_DIR": str(private / "workspaces"),
        "IPYTHONDIR": str(private / "ipython"),
        "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ.get('PATH', '')}",
    }
    server = {"ip": "127.0.0.1", "port": port, "port_retries": 0, "open_browser": False, "allow_root": True}
    plain = {"ServerApp": server | {"root_dir": str(root)}, "IdentityProvider": {"token": token}}
    plain["LabApp"] = {"expose_app_in_browser": True, "open_browser": False}
    for name in ("jupyter_server_config.json", "jupyter_lab_config.json"):
        (config / name).write_text(json.dumps(plain), "utf-8")
    command = [sys.executable, "-m", program, *options]
    log = private / "log.txt"
    with log.open("w") as out:
        process = subprocess.Popen(
            command,
            cwd=root,
            env=environment | (settings or {}),
            stdout=out,
            stderr=out,
            start_new_session=True,
        )
    url = f"http://127.0.0.1:{port}"
    try:
        give_up = time.monotonic() + START_SECONDS
        while not _answers(f"{url}/api/status?token={token}"):
            if process.poll() is not None or time.monotonic() > give_up:
                raise RuntimeError(f"JupyterLab did not start:\n{log.read_text()[-2000:]}")
            time.sleep(0.2)
        yield Lab(url, token, root, process)
    finally:
        # JupyterLab stops its kernels on the way out.
        process.terminate()
        try:
            process.wait(15)
        except subprocess.TimeoutExpired:
            process.kill()


def _answers(address: str) -> bool:
    try:
        urllib.request.urlopen(address, timeout=2).close()
    except (urllib.error.URLError, TimeoutError, ConnectionError):
        return False
    return True
