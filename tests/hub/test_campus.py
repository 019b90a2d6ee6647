"""What a learner may not do on a hub, tried from a notebook, and the way of a chapter there and back."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from course_names import FORMS
from running_hub import JOSS, MADE, MARA, PELL, RIGHT, SECOND, TUTOR, Hub, as_root

from optics.course.folder import CONFIGURATION

pytestmark = pytest.mark.campus


def _tried(hub: Hub, who: str, attempts: dict[str, str]) -> dict[str, str]:
    """What each attempt came to in that person's notebook: the name of the refusal, or "done"."""
    return json.loads(
        hub.run(
            who,
            f"""
            import json, os, pathlib, subprocess, sys, urllib.request
            def asked(address, token=None):
                request = urllib.request.Request(address)
                if token:
                    request.add_header("Authorization", "token " + token)
                return urllib.request.urlopen(request, timeout=30).read()
            def database(user=None, *more):
                words = ["psql", "-h", {str(_socket(hub))!r}, "-d", "campus", "-Atc", "SELECT count(*) FROM student"]
                done = subprocess.run(words + (["-U", user] if user else []), capture_output=True, text=True)
                if done.returncode:
                    raise RuntimeError(done.stderr)
            TOKEN = os.environ["JUPYTERHUB_API_TOKEN"]
            came = {{}}
            for name, attempt in {attempts!r}.items():
                try:
                    exec(attempt)
                    came[name] = "done"
                except Exception as reason:
                    came[name] = type(reason).__name__ + ": " + str(reason)
            print(json.dumps(came))
            """,
        )
    )


def _socket(hub: Hub) -> str:
    return (hub.course / CONFIGURATION).read_text("utf-8").rpartition("host=")[2].strip().strip('"')


def _readings(hub: Hub, other: str) -> dict[str, str]:
    """What belongs to the instructors or to another learner, and how one would read it."""
    course, exchange = hub.course, hub.exchange / "spring"
    (site,) = (MADE / "teach").glob("lib/python3*/site-packages")
    there = {
        "the course": f"os.listdir({str(course)!r})",
        "the intake's secret": f"open({str(course / 'intake.json')!r}).read()",
        "a solved source": f"open({str(course / 'source' / FORMS / f'{FORMS}.ipynb')!r}).read()",
        "the pairs' keys": f"os.listdir({str(course / 'handed-out')!r})",
        "the submissions' list": f"os.listdir({str(exchange / 'inbound')!r})",
        "the feedback's list": f"os.listdir({str(exchange / 'feedback')!r})",
        "what marks": f"open({str(site / 'optics' / 'course' / 'marking.py')!r}).read()",
    }
    assert all(Path(line.split("'")[1]).exists() for name, line in there.items() if "feedback" not in name)
    home = hub.place / "home" / other / FORMS / f"{FORMS}.ipynb"
    assert home.is_file()
    return there | {"another's notebook": f"open({str(home)!r}).read()"}


def test_a_learner_reads_nothing_of_the_course_nor_of_others(handed_in):
    hub = handed_in
    (hub.exchange / "spring" / "feedback").mkdir(exist_ok=True)
    as_root("chown", f"{TUTOR}:instructors", hub.exchange / "spring" / "feedback")
    (hub.exchange / "spring" / "feedback").chmod(0o2771)
    for who, other in ((MARA, JOSS), (JOSS, MARA)):
        came = _tried(hub, who, _readings(hub, other))
        assert len(came) == 8
        for name, end in came.items():
            assert end.startswith("PermissionError"), f"{who}, {name}: {end}"
    # The same lines are no empty ones: an instructor reads all but the learner's home.
    came = _tried(hub, SECOND, _readings(hub, MARA))
    assert came.pop("another's notebook").startswith("PermissionError")
    assert set(came.values()) == {"done"}, came


def test_a_learner_has_no_way_into_the_database_the_hub_or_another_server(handed_in):
    hub, base = handed_in, f"http://127.0.0.1:{handed_in.port}"
    pids = [
        entry.name for entry in Path("/proc").iterdir() if entry.name.isdigit() and entry.owner() == TUTOR
    ]
    assert pids
    attempts = {
        "database": ("database()", f'role "{MARA}" does not exist'),
        "database as the tutor": (f"database({TUTOR!r})", "Peer authentication failed"),
        "what the hub keeps": (
            f"open({str(hub.place / 'state' / 'jupyterhub.sqlite')!r}).read()",
            "PermissionError",
        ),
        "the hub's cookie key": (
            f"open({str(hub.place / 'state' / 'cookie_secret')!r}).read()",
            "PermissionError",
        ),
        "another's server": (f"asked('{base}/user/{JOSS}/api/contents', TOKEN)", "403"),
        "the tutor's server": (f"asked('{base}/user/{TUTOR}/api/contents', TOKEN)", "403"),
        "the tutor's server, as nobody": (f"asked('{base}/user/{TUTOR}/api/contents')", "403"),
        "everybody on the hub": (f"asked('{base}/hub/api/users', TOKEN)", "403"),
        "the proxy": (f"asked('http://127.0.0.1:{hub.proxy}/api/routes')", "403"),
        "the tutor's tokens": (f"open('/proc/{pids[0]}/environ').read()", "PermissionError"),
        "the solver": ("import optics.course.solving", "No module named"),
        "a released chapter": (
            f"open({str(hub.exchange / 'spring' / 'outbound' / FORMS / 'new')!r}, 'w')",
            "PermissionError",
        ),
        "a course of one's own in its place": (
            f"os.rename({str(hub.exchange / 'spring')!r}, {str(hub.exchange / 'away')!r})",
            "Operation not permitted",
        ),
    }
    came = _tried(hub, MARA, {name: attempt for name, (attempt, _) in attempts.items()})
    for name, (_, refusal) in attempts.items():
        assert refusal in came[name], f"{name}: {came[name]}"
    own = _tried(hub, MARA, {"own server": f"asked('{base}/user/{MARA}/api/contents', TOKEN)"})
    assert own == {"own server": "done"}
    assert _tried(hub, SECOND, {"database": "database()", "the solver": "import optics.course.solving"}) == {
        "database": "done",
        "the solver": "done",
    }


def test_what_is_collected_is_each_learners_own_and_only_they_get_it_back(handed_in):
    hub = handed_in
    inbound, mine = hub.exchange / "spring" / "inbound", f"{FORMS}/{FORMS}.ipynb"
    # Joss hands in under Mara's name, later than she did; Pell hands in links, a pipe and names that are none.
    hub.run(
        JOSS,
        f"""
        import os, shutil
        shutil.copytree({FORMS!r}, "{inbound}/{MARA}+{FORMS}+2099-01-01 00:00:00.000000 UTC+x")
        """,
    )
    hub.run(
        PELL,
        f"""
        import os
        new = "{inbound}/{PELL}+{FORMS}+2098-01-01 00:00:00.000000 UTC+x"
        os.mkdir(new, 0o777); os.chmod(new, 0o777)
        os.symlink("{hub.course}/source/{mine}", new + "/{FORMS}.ipynb")
        os.symlink("{hub.course}/intake.json", new + "/picture.png")
        os.mkfifo(new + "/pipe.ipynb")
        open(new + "/timestamp.txt", "w").write("whenever")
        open(new + "/submission_secret.txt", "wb").write(b"\\xff")
        os.symlink("{hub.course}/source/{FORMS}", "{inbound}/{PELL}+{FORMS}+2099-01-01 00:00:00.000000 UTC+y")
        os.mkdir("{inbound}/{PELL}+{FORMS}+no time at all+z")
        os.mkdir("{inbound}/x+{FORMS}+")
        """,
    )
    said = hub.command(SECOND, "nbgrader", "collect", FORMS)
    assert f"is {JOSS}'s, whatever its name says" in said and "Left out: picture.png" in said
    submitted = hub.course / "submitted"
    assert {path.name for path in submitted.iterdir()} == {MARA, JOSS, PELL}
    assert RIGHT[1:-1] in (submitted / MARA / mine).read_text("utf-8")
    assert {path.name for path in (submitted / PELL / FORMS).iterdir()} == {
        "timestamp.txt",
        "submission_secret.txt",
    }
    # Nothing that was left stops the next collection.
    hub.command(SECOND, "nbgrader", "collect", FORMS, "--update")

    hub.command(SECOND, "python", "-m", "optics", "mark", "--course", str(hub.course))
    marks = hub.run(
        TUTOR,
        f"""
        import json
        from optics.course.folder import open_course
        from optics.course.results import results
        found = results(open_course({str(hub.course)!r}))
        print(json.dumps({{r.learner: r.mark for r in found if r.question.startswith("convert")}}))
        """,
    )
    marks = json.loads(marks)
    assert marks[MARA] == 5 and marks[JOSS] < 5 and PELL not in marks

    hub.command(TUTOR, "python", "-m", "optics", "hand-back", "--course", str(hub.course))
    hub.command(TUTOR, "nbgrader", "release_feedback", FORMS)
    pages = {}
    for who in (MARA, JOSS, PELL):
        hub.command(who, "nbgrader", "fetch_feedback", FORMS)
        pages[who] = hub.run(
            who,
            f"""
            import pathlib
            found = sorted(pathlib.Path({FORMS!r}).glob("feedback/*/*.html"))
            print(len(found), *(page.read_text("utf-8") for page in found))
            """,
        )
    assert pages[MARA].startswith("1 ") and MARA in pages[MARA] and JOSS not in pages[MARA]
    assert pages[JOSS].startswith("1 ") and JOSS in pages[JOSS] and MARA not in pages[JOSS]
    assert pages[PELL].strip() == "0"
