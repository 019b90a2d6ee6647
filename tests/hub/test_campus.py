"""A real hub on this machine: each person their own Unix user, and what a learner may not do tried from a notebook.

Needs root, PostgreSQL, and the folder that `OPTICS_HUB` names, made as DEVELOPERS.md (section 9) says.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import socket
import subprocess
import sys
import textwrap
import time
import urllib.error
import urllib.request
import uuid
from pathlib import Path

import pytest
from course_names import FORMS

from optics.course.folder import CONFIGURATION, open_course
from optics.course.learner_side import learner_wheel
from optics.project_files import project_folder

pytestmark = pytest.mark.campus
MADE = Path(os.environ.get("OPTICS_HUB", "/opt/optics-hub"))
NEEDED = [
    MADE / "hub" / "bin" / "jupyterhub",
    MADE / "learn" / "bin" / "jupyterhub-singleuser",
    MADE / "teach" / "bin" / "jupyterhub-singleuser",
    MADE / "proxy" / "node_modules" / ".bin" / "configurable-http-proxy",
]
TUTOR, SECOND = "oh-tutor", "oh-second"
MARA, JOSS, PELL = "oh-mara", "oh-joss", "oh-pell"
RIGHT, WRONG = '"+1.00 +1.50 x 080"', '"+1.00 +1.50 x 170"'


def _root(*command: object) -> None:
    done = subprocess.run([*map(str, command)], capture_output=True, text=True, timeout=240)
    assert not done.returncode, f"{command}: {done.stdout}{done.stderr}"


def _free_ports(number: int) -> list[int]:
    with contextlib.ExitStack() as open_ones:
        found = [open_ones.enter_context(socket.socket()) for _ in range(number)]
        for each in found:
            each.bind(("127.0.0.1", 0))
        return [each.getsockname()[1] for each in found]


class Hub:
    """The running hub, and a notebook for whoever asks."""

    def __init__(self, place: Path, port: int, proxy: int, token: str) -> None:
        self.place, self.port, self.proxy, self.token = place, port, proxy, token
        self.course, self.exchange = place / "course", place / "exchange"
        self.kernels: dict[str, str] = {}

    def ask(self, path: str, method: str = "GET", body: object = None) -> object:
        data = None if body is None else json.dumps(body).encode()
        asked = urllib.request.Request(f"http://127.0.0.1:{self.port}{path}", data, method=method)
        asked.add_header("Authorization", f"token {self.token}")
        asked.add_header("Content-Type", "application/json")
        with urllib.request.urlopen(asked, timeout=60) as answer:
            return json.loads(answer.read() or b"null")

    def spawn(self, *people: str) -> None:
        for who in people:
            self.ask(f"/hub/api/users/{who}", "POST", {})
            self.ask(f"/hub/api/users/{who}/server", "POST", {})
        for who in people:
            self._started(who)

    def _started(self, who: str) -> None:
        for _ in range(90):
            if self.ask(f"/hub/api/users/{who}")["servers"].get("", {}).get("ready"):
                break
            time.sleep(1)
        self.kernels[who] = self.ask(f"/user/{who}/api/kernels", "POST", {})["id"]

    def run(self, who: str, code: str) -> str:
        """Run a cell in that person's notebook and give what it printed."""
        import websocket

        address = f"ws://127.0.0.1:{self.port}/user/{who}/api/kernels/{self.kernels[who]}/channels"
        line = websocket.create_connection(
            address, header=[f"Authorization: token {self.token}"], timeout=240
        )
        number = uuid.uuid4().hex
        header = {"msg_id": number, "msg_type": "execute_request", "username": "", "session": number,
                  "version": "5.3", "date": "2026-03-02T12:00:00Z"}  # fmt: skip
        content = {"code": textwrap.dedent(code), "silent": False, "store_history": False,
                   "user_expressions": {}, "allow_stdin": False, "stop_on_error": True}  # fmt: skip
        line.send(json.dumps({"header": header, "parent_header": {}, "metadata": {}, "content": content,
                              "channel": "shell", "buffers": []}))  # fmt: skip
        printed = ""
        try:
            while True:
                told = json.loads(line.recv())
                if told["parent_header"].get("msg_id") != number:
                    continue
                what = told["content"]
                printed += what.get("text", "") if told["msg_type"] == "stream" else ""
                assert told["msg_type"] != "error", "\n".join(what["traceback"])
                if told["msg_type"] == "status" and what["execution_state"] == "idle":
                    return printed
        finally:
            line.close()

    def command(self, who: str, *words: str) -> str:
        """Run a program from that person's notebook."""
        # Instructors stand in the course, learners at home.
        where = str(self.course) if who in (TUTOR, SECOND) else None
        done = json.loads(
            self.run(
                who,
                f"""
                import json, subprocess
                done = subprocess.run({words!r}, capture_output=True, text=True, cwd={where!r})
                print(json.dumps([done.returncode, done.stdout + done.stderr]))
                """,
            )
        )
        assert done[0] == 0, f"{who}: {words}\n{done[1]}"
        return done[1]


@pytest.fixture(scope="module")
def hub(postgres, sql, write_source):
    missing = [str(path) for path in NEEDED if not path.exists()]
    if missing:
        pytest.skip(f"needs a hub made as DEVELOPERS.md says; there is no {missing[0]}")
    place = Path("/tmp") / f"optics-campus-{os.getpid()}"
    place.mkdir()
    with contextlib.ExitStack() as after:
        after.callback(shutil.rmtree, place, ignore_errors=True)
        yield _made(place, postgres, sql, write_source, after)


def _made(place: Path, postgres, sql, write_source, after: contextlib.ExitStack) -> Hub:
    place.chmod(0o755)
    for group in ("instructors", "learners"):
        _root("groupadd", "-f", group)
    (place / "home").mkdir()
    for who in (TUTOR, SECOND, MARA, JOSS, PELL):
        group = "instructors" if who in (TUTOR, SECOND) else "learners"
        _root("useradd", "-m", "-b", place / "home", "-K", "HOME_MODE=0700", "-G", group, who)
        # A kernel may outlive its server by a moment, and nobody is removed while at work.
        after.callback(_root, "userdel", "-f", who)
        after.callback(subprocess.run, ["pkill", "-KILL", "-u", who], check=False)
    (place / "exchange").mkdir()
    (place / "exchange").chmod(0o1777)
    _root("install", "-d", "-g", "instructors", "-m", "2775", place / "exchange" / "spring")

    # The database is the instructors' group's, whoever of them writes.
    sql("CREATE ROLE instructors", "CREATE DATABASE campus OWNER instructors")
    for who in (TUTOR, SECOND):
        sql(f'CREATE ROLE "{who}" LOGIN IN ROLE instructors', f'ALTER ROLE "{who}" SET role = instructors')

    course = place / "course"
    write_source(course)
    both = f'c.CourseDirectory.course_id = "spring"\nc.Exchange.root = "{place / "exchange"}"\n'
    with (course / CONFIGURATION).open("a", encoding="utf-8") as file:
        file.write(both + "c.CourseDirectory.groupshared = True\n")
        file.write(f'c.CourseDirectory.db_url = "postgresql+psycopg:///campus?host={postgres}"\n')
    _root("chown", "-R", f"{TUTOR}:instructors", course)
    _root("chmod", "-R", "u=rwX,g=rwXs,o=", course)

    # Each side's package, as it stands here.
    _root(sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", place / "wheels", project_folder("notebooks").parent)  # fmt: skip
    name, data = learner_wheel(open_course(course))
    (place / name).write_bytes(data)
    (whole,) = (place / "wheels").glob("*.whl")
    for side, wheel in (("learn", place / name), ("teach", whole)):
        _root(MADE / side / "bin" / "python", "-m", "pip", "install", "-q", "--no-deps", "--force-reinstall", wheel)  # fmt: skip
    shutil.rmtree(place / "wheels")
    _root("chgrp", "instructors", MADE / "teach")
    (MADE / "teach").chmod(0o750)
    settings = MADE / "learn" / "etc" / "jupyter"
    settings.mkdir(parents=True, exist_ok=True)
    (settings / CONFIGURATION).write_text("c = get_config()\n" + both, "utf-8")
    (settings / CONFIGURATION).chmod(0o644)
    for part in ("hub", "learn", "teach", "proxy"):
        (place / part).symlink_to(MADE / part)

    port, proxy, inner = _free_ports(3)
    token = uuid.uuid4().hex
    wrapper = place / "for_test.py"
    wrapper.touch(0o600)
    wrapper.write_text(
        f"""
c = get_config()
load_subconfig({str(project_folder("notebooks") / "jupyterhub_config.py")!r})
c.JupyterHub.bind_url = "http://127.0.0.1:{port}"
c.JupyterHub.hub_port = {inner}
c.ConfigurableHTTPProxy.api_url = "http://127.0.0.1:{proxy}"
c.JupyterHub.services = [{{"name": "test", "api_token": {token!r}}}]
c.JupyterHub.load_roles = [{{"name": "test", "services": ["test"],
    "scopes": ["admin:users", "admin:servers", "access:servers"]}}]
""",
        "utf-8",
    )
    environment = {"PATH": f"{MADE / 'hub' / 'bin'}:/usr/bin:/bin", "OPTICS_HUB": str(place), "OPTICS_COURSE": str(course), "HOME": str(place)}  # fmt: skip
    log = (place / "hub.log").open("w")
    process = subprocess.Popen([NEEDED[0], "-f", wrapper], cwd=place, env=environment, stdout=log, stderr=log)

    def stopped() -> None:
        for who in running.kernels:
            with contextlib.suppress(urllib.error.URLError, OSError):
                running.ask(f"/hub/api/users/{who}/server", "DELETE")
        process.terminate()
        try:
            process.wait(30)
        except subprocess.TimeoutExpired:
            process.kill()

    running = Hub(place, port, proxy, token)
    after.callback(stopped)
    for _ in range(60):
        with contextlib.suppress(urllib.error.URLError, OSError):
            running.ask("/hub/api/")
            break
        assert process.poll() is None, (place / "hub.log").read_text()
        time.sleep(1)
    running.spawn(TUTOR, SECOND, MARA, JOSS, PELL)
    return running


@pytest.fixture(scope="module")
def handed_in(hub):
    """The chapter released by one instructor, fetched, answered and handed in by each learner."""
    hub.command(TUTOR, "python", "-m", "optics", "intake", "Spring", "--course", str(hub.course))
    hub.command(TUTOR, "python", "-m", "optics", "release", "--course", str(hub.course))
    hub.command(TUTOR, "nbgrader", "release_assignment", FORMS)
    for who, answer in ((MARA, RIGHT), (JOSS, WRONG), (PELL, WRONG)):
        hub.command(who, "nbgrader", "fetch_assignment", FORMS)
        hub.run(
            who,
            f"""
            import json, pathlib
            path = pathlib.Path("{FORMS}/{FORMS}.ipynb")
            notebook = json.loads(path.read_text("utf-8"))
            for cell in notebook["cells"]:
                for name, text in (("learner", {who!r}), ("convert_1", {answer!r}[1:-1])):
                    if "".join(cell["source"]).startswith(name + " = "):
                        cell["source"] = name + " = " + repr(text)
            path.write_text(json.dumps(notebook), "utf-8")
            """,
        )
        hub.command(who, "nbgrader", "submit", FORMS)
    return hub


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
    _root("chown", f"{TUTOR}:instructors", hub.exchange / "spring" / "feedback")
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
