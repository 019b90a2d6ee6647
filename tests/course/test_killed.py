"""The machine goes off in the middle of gathering, marking or handing back; run again, all is as if it had not."""

import os
import shutil
import signal
import subprocess
import sys
import time
import zipfile

import numpy as np
import pytest
from course_names import FORMS

from optics.course.folder import open_course
from optics.course.gather import ledger
from optics.course.results import results

MOMENTS = 30

RUN = """
import sys
from optics.cli import main
for words in (["gather", "in.zip"], ["mark", "--processes", "2"], ["hand-back"]):
    print(words[0], flush=True)
    if main(words):
        sys.exit(1)
"""


def _start(root):
    # A group of its own, so that the processes that mark go off with it.
    return subprocess.Popen(
        [sys.executable, "-c", RUN],
        cwd=root,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )


def _state(root):
    course = open_course(root)
    files = {
        path.relative_to(root): path.read_bytes()
        for step in ("inbox", "submitted", "feedback")
        for path in sorted((root / step).rglob("*"))
        # A part that was being written is read by nobody, and goes when it is a minute old.
        if path.is_file() and path.name not in ("received.csv", "timestamp.txt") and path.suffix != ".part"
    }
    (back,) = [path for path in sorted((root / "reports").glob("* hand-back"))][-1:]
    zips = {}
    for path in sorted(back.glob("*.zip")):
        with zipfile.ZipFile(path) as archive:
            zips[path.name] = {name: archive.read(name) for name in archive.namelist()}
    rows = sorted(tuple(v for k, v in row.items() if k != "gathered") for row in ledger(course))
    return results(course), files, zips, rows


@pytest.mark.exhaustive
@pytest.mark.skipif(os.name == "nt", reason="Windows ends processes in another way")
def test_killed_at_random_moments_and_run_again(course, tmp_path, text_of):
    with zipfile.ZipFile(course.root / "in.zip", "w") as archive:
        for number in range(6):
            right = {"convert_1": '"+1.00 +1.50 x 080"'} if number % 2 else {}
            for attempt in (1, 2):
                name = f"Ann Learner{number}_{number + 40}_file_/a-{attempt}.ipynb"
                archive.writestr(zipfile.ZipInfo(name, (2026, 3, attempt, 10, 0, 0)), text_of(**right))
        archive.writestr(zipfile.ZipInfo("odd/x.ipynb", (2026, 3, 1, 10, 0, 0)), "broken")
    whole = shutil.copytree(course.root, tmp_path / "whole")
    began = time.monotonic()
    assert _start(whole).wait() == 0
    took = time.monotonic() - began
    expected = _state(whole)
    assert len(expected[0]) > 12 and len(expected[2]) == 7
    rng = np.random.default_rng(11)
    for number in range(MOMENTS):
        root = shutil.copytree(course.root, tmp_path / f"killed{number}")
        running = _start(root)
        time.sleep(float(rng.uniform(0.15, 1.0)) * took)
        try:
            os.killpg(running.pid, signal.SIGKILL)
        except ProcessLookupError:
            pass  # it was done already
        said = running.communicate()[0].decode()
        assert _start(root).wait() == 0
        assert _state(root) == expected, f"killed after {said}"
        assert course.notebook("release", FORMS).is_file()
        shutil.rmtree(root)
