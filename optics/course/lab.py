"""Opening JupyterLab, for a learner or for an instructor."""

from __future__ import annotations

import os
import secrets
import socket
import subprocess
import sys
from pathlib import Path
from typing import IO

from jupyter_core.paths import jupyter_runtime_dir

from optics.course.folder import Course
from optics.course.grader import tools_on_path

__all__ = ["open_for_learner", "open_for_teaching"]

PLAIN = Path(__file__).parent / "for_learners"
"""Settings that leave nbgrader's own menus out of a learner's JupyterLab."""


def _open(folder: Path, options: list[str], environment: dict[str, str], heard: IO[str] | None = None) -> int:
    tools_on_path()
    command = [sys.executable, "-m", "jupyterlab", f"--ServerApp.root_dir={folder}", *options]
    try:
        return subprocess.run(
            command, cwd=folder, env={**os.environ, **environment}, check=False, stdout=heard, stderr=heard
        ).returncode
    except KeyboardInterrupt:
        # Ctrl-C is the usual way to end it; JupyterLab hears it too and closes by itself.
        return 0


def open_for_learner(folder: Path, start: str = "") -> int:
    """Open JupyterLab on a work folder, without the instructor's menus.

    JupyterLab's own messages go to a file: to somebody who has never met a terminal
    they look like an accident.

    Parameters
    ----------
    folder : Path
        The work folder.
    start : str
        Notebook to show first, as a path inside the folder with forward strokes.
    """
    paths = os.pathsep.join(filter(None, [str(PLAIN), os.environ.get("JUPYTER_CONFIG_PATH", "")]))
    port, token = _free_port(), secrets.token_hex(8)
    options = [f"--ServerApp.port={port}", "--ServerApp.ip=localhost", "-y"]
    options += [f"--LabApp.default_url=/lab/tree/{start}"] if start else []
    print(f"It opens in your browser; if it does not, go to http://localhost:{port}/?token={token}")
    print("Save there with Ctrl-S. When you have finished, press Ctrl-C here.", flush=True)
    log = Path(jupyter_runtime_dir()) / "optics-workbook.log"
    log.parent.mkdir(parents=True, exist_ok=True)
    with log.open("w", encoding="utf-8") as heard:
        # The token by the environment: a command line can be read by others on the machine.
        environment = {"JUPYTER_CONFIG_PATH": paths, "JUPYTER_TOKEN": token}
        ended = _open(folder, options, environment, heard)
    if ended:
        print(f"JupyterLab stopped by itself. What it said lies in {log}.", file=sys.stderr)
    return ended


def _free_port() -> int:
    """A port that nobody uses, the usual one where it is free."""
    for wanted in (8888, 0):
        with socket.socket() as tried:
            try:
                tried.bind(("127.0.0.1", wanted))
            except OSError:
                continue
            return tried.getsockname()[1]
    return 8888


def open_for_teaching(course: Course) -> int:
    """Open JupyterLab on a course, with formgrader in its Nbgrader menu."""
    return _open(course.root, [], {})
