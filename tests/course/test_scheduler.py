"""A class that outgrows a machine: marked by workers of a scheduler, written here, with the same marks."""

import builtins
import json
import os
import re
import signal
import subprocess
import sys
import time
from contextlib import ExitStack
from pathlib import Path

import pytest
from course_names import BENCH, FORMS

from optics.course import scheduler
from optics.course.marking import mark
from optics.course.scheduler import on_scheduler
from optics.errors import OpticsError

ANSWERS = ('"+1.00 +1.50 x 080"', '"+1,00 +1.50 x 80"', '"+2.50 -1.50 x 170"', '""', '"plano"', '"\\ud800"')


@pytest.fixture(scope="module")
def cluster():
    distributed = pytest.importorskip("distributed", reason="needs optics-workbook[cluster]")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, silence_logs=50
    ) as made:
        yield made


def _hand_in(course, fill, submit):
    for number, text in enumerate(ANSWERS):
        submit(course, f"w{number}", FORMS, fill(course, FORMS, convert_1=text, learner=f'"w{number}"'))
        submit(course, f"w{number}", BENCH, fill(course, BENCH, right_a=text, learner=f'"w{number}"'))
    submit(course, "w8", FORMS, "{")
    cut = fill(course, FORMS, convert_1=ANSWERS[0])
    cut.cells = [each for each in cut.cells if not each.id.endswith("-check")]
    submit(course, "w9", FORMS, cut)


def _everything(course, done):
    written = {
        path.relative_to(course.root).as_posix(): path.read_bytes()
        for path in (course.root / "autograded").rglob("*")
        if path.is_file()
    }
    return sorted((each.learner, each.chapter, each.marked, each.notes) for each in done), written


@pytest.mark.thorough
def test_workers_give_the_same_marks_as_one_process_byte_by_byte(
    released_once, cluster, fill, submit, tmp_path
):
    import shutil

    from optics.course.folder import open_course
    from optics.course.results import results

    found = []
    for name, how in (("one", {}), ("many", {"scheduler": cluster.scheduler_address})):
        course = open_course(shutil.copytree(released_once.root, tmp_path / name))
        _hand_in(course, fill, submit)
        found.append((*_everything(course, mark(course, **how)), results(course)))
    assert len(found[0][0]) == 14 and sum(marked for _, _, marked, _ in found[0][0]) == 13
    assert len(found[0][1]) > 26
    assert found[0] == found[1]


@pytest.mark.thorough
def test_what_a_lost_worker_had_in_hand_is_done_by_another(cluster, tmp_path):
    address = cluster.scheduler_address
    seen = {}
    for number, fine, _ in on_scheduler(time.sleep, [(0.3,)] * 8, address, 60.0, tmp_path):
        if not seen:
            os.kill(next(iter(cluster.workers.values())).pid, signal.SIGKILL)
        seen[number] = fine
    assert seen == dict.fromkeys(range(8), True)
    # One that never ends is stopped and named, and the others are done.
    jobs = [(600.0,), (0.1,), ("no number",), (0.1,)]
    said = {
        number: (fine, what) for number, fine, what in on_scheduler(time.sleep, jobs, address, 3.0, tmp_path)
    }
    assert said[0] == (False, "It took more than 3 s, and was stopped.")
    assert said[1][0] and said[3][0]
    assert not said[2][0] and said[2][1].startswith("It could not be marked (")
    with pytest.raises(OpticsError, match="does not see the folder"):
        next(on_scheduler(time.sleep, [(0.1,)], address, 3.0, tmp_path / "elsewhere"))


@pytest.mark.thorough
@pytest.mark.parametrize(("lost", "said"), [(0, "The scheduler at tcp"), (1, "No worker is left at tcp")])
def test_what_goes_away_for_good_is_named_and_what_was_done_is_kept(lost, said, monkeypatch, tmp_path):
    pytest.importorskip("distributed", reason="needs optics-workbook[cluster]")
    monkeypatch.setattr(scheduler, "CONNECT_S", 10.0)
    file, seen = tmp_path / "scheduler.json", []
    words = [sys.executable, "-m"], ["--scheduler-file", str(file), "--no-dashboard"]
    with ExitStack() as after:
        running = []
        for program in (["dask_scheduler", "--port", "0"], ["dask_worker", "--nthreads", "1", "--no-nanny"]):
            running.append(
                subprocess.Popen(
                    [*words[0], f"distributed.cli.{program[0]}", *program[1:], *words[1]],
                    cwd=tmp_path,
                    # The package that is tested, and not a copy that is installed as well.
                    env=os.environ | {"PYTHONPATH": str(Path(scheduler.__file__).parents[2])},
                    stderr=subprocess.DEVNULL,
                )
            )
            after.callback(running[-1].kill)
        while not file.is_file():
            assert running[0].poll() is None
            time.sleep(0.1)
        address = json.loads(file.read_text("utf-8"))["address"]
        with pytest.raises(OpticsError, match=f"{said}.*kept.*goes on where it stopped"):
            for number, fine, _ in on_scheduler(time.sleep, [(0.2,)] * 40, address, 4.0, tmp_path):
                seen.append((number, fine))
                if len(seen) == 3:
                    running[lost].kill()
    assert 3 <= len(seen) < 40 and all(fine for _, fine in seen)


def test_without_the_package_or_a_scheduler_it_says_so(monkeypatch, tmp_path):
    # At once: a client that was begun and failed would hold the program up for a minute, and end in a traceback.
    addresses = (
        "nonsense://here",
        "here",
        "tcp://127.0.0.1",
        "127.0.0.1:1",
        "http://127.0.0.1:1",
        "tcp://[::1",
    )
    for address in addresses if "distributed" in sys.modules or _has_distributed() else ():
        with pytest.raises(OpticsError, match=re.escape(f"No scheduler answers at {address} (")):
            next(on_scheduler(time.sleep, [(0.1,)], address, 3.0, tmp_path))
    whole = builtins.__import__

    def without(name, *rest, **more):
        if name.partition(".")[0] == "distributed":
            raise ModuleNotFoundError(name)
        return whole(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(OpticsError, match="not installed"):
        next(on_scheduler(time.sleep, [(0.1,)], "tcp://127.0.0.1:1", 3.0, tmp_path))


def _has_distributed():
    from importlib.util import find_spec

    return find_spec("distributed") is not None
