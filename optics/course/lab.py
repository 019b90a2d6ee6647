"""Opening JupyterLab, for a learner or for an instructor."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from optics.course.folder import Course
from optics.course.grader import tools_on_path

__all__ = ["open_for_learner", "open_for_teaching"]

PLAIN = Path(__file__).parent / "for_learners"
"""Settings that leave nbgrader's own menus out of a learner's JupyterLab."""


def _open(folder: Path, options: list[str], environment: dict[str, str]) -> int:
    tools_on_path()
    command = [sys.executable, "-m", "jupyterlab", f"--ServerApp.root_dir={folder}", *options]
    try:
        return subprocess.run(command, cwd=folder, env={**os.environ, **environment}, check=False).returncode
    except KeyboardInterrupt:
        # Ctrl-C is the usual way to end it; JupyterLab hears it too and closes by itself.
        return 0


def open_for_learner(folder: Path, start: str = "") -> int:
    """Open JupyterLab on a work folder, without the instructor's menus.

    Parameters
    ----------
    folder : Path
        The work folder.
    start : str
        Notebook to show first, as a path inside the folder with forward strokes.
    """
    paths = os.pathsep.join(filter(None, [str(PLAIN), os.environ.get("JUPYTER_CONFIG_PATH", "")]))
    options = [f"--LabApp.default_url=/lab/tree/{start}"] if start else []
    return _open(folder, options, {"JUPYTER_CONFIG_PATH": paths})


def open_for_teaching(course: Course) -> int:
    """Open JupyterLab on a course, with formgrader in its Nbgrader menu."""
    return _open(course.root, [], {})
