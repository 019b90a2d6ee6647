"""Opening JupyterLab, for a learner or for an instructor."""

from __future__ import annotations

import contextlib
import os
import secrets
import signal
import socket
import subprocess
import sys
from pathlib import Path
from typing import IO, NoReturn

from jupyter_core.paths import jupyter_runtime_dir

from optics.course.folder import Course
from optics.course.grader import tools_on_path

PLAIN = Path(__file__).parent / "for_learners"
"""Settings that leave nbgrader's own menus out of a learner's JupyterLab."""
PATIENCE_S = 15.0
"""Seconds that JupyterLab gets to stop its kernels."""


def _open(folder: Path, options: list[str], environment: dict[str, str], heard: IO[str] | None = None) -> int:
    tools_on_path()
    command = [sys.executable, "-m", "jupyterlab", f"--ServerApp.root_dir={folder}", "-y", *options]
    process = subprocess.Popen(
        command, cwd=folder, env={**os.environ, **environment}, stdout=heard, stderr=heard
    )
    hang_ups = [signal.SIGTERM, *([signal.SIGHUP] if os.name == "posix" else [])]
    before = {number: signal.signal(number, _ended) for number in hang_ups}
    try:
        return process.wait()
    except KeyboardInterrupt:
        # Ctrl-C is the usual way to end it; JupyterLab hears it too, and ends its kernels on the way out.
        with contextlib.suppress(subprocess.TimeoutExpired, KeyboardInterrupt):
            process.wait(PATIENCE_S)
        return 0
    finally:
        _stop(process)
        for number, handler in before.items():
            signal.signal(number, handler)


def _ended(number: int, _frame: object) -> NoReturn:
    """End as a program does that was told to, so that what it has started is stopped first."""
    raise SystemExit(128 + number)


def _stop(process: subprocess.Popen) -> None:
    """Stop JupyterLab, which then stops its kernels; only where it does not hear, by force."""
    with contextlib.suppress(subprocess.TimeoutExpired, KeyboardInterrupt):
        if process.poll() is None:
            process.terminate()
        process.wait(PATIENCE_S)
    if process.poll() is None:
        process.kill()
        process.wait()


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
    options = [f"--ServerApp.port={port}", "--ServerApp.ip=localhost"]
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
