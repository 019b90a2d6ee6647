"""A real hub on this machine, a notebook for each of its people, and a chapter handed in by each learner.

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


def as_root(*command: object) -> None:
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
        self.address = f"http://127.0.0.1:{port}"

    def ask(self, path: str, method: str = "GET", body: object = None) -> object:
        data = None if body is None else json.dumps(body).encode()
        asked = urllib.request.Request(f"{self.address}{path}", data, method=method)
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


@pytest.fixture(scope="session")
def hub(postgres, sql, write_source):
    missing = [str(path) for path in NEEDED if not path.exists()]
    if missing:
        pytest.skip(f"needs a hub made as DEVELOPERS.md says; there is no {missing[0]}")
    python = MADE / "learn" / "bin" / "python"
    ran = subprocess.run(["runuser", "-u", "nobody", "--", python, "-c", ""], capture_output=True, cwd="/")
    assert not ran.returncode, f"{python} is none that everybody may run: make it with /usr/bin/python3"
    place = Path("/tmp") / f"optics-campus-{os.getpid()}"
    place.mkdir()
    with contextlib.ExitStack() as after:
        after.callback(shutil.rmtree, place, ignore_errors=True)
        yield _made(place, postgres, sql, write_source, after)


def _made(place: Path, postgres, sql, write_source, after: contextlib.ExitStack) -> Hub:
    place.chmod(0o755)
    for group in ("instructors", "learners"):
        as_root("groupadd", "-f", group)
    (place / "home").mkdir()
    for who in (TUTOR, SECOND, MARA, JOSS, PELL):
        group = "instructors" if who in (TUTOR, SECOND) else "learners"
        as_root("useradd", "-m", "-b", place / "home", "-K", "HOME_MODE=0700", "-G", group, who)
        # A kernel may outlive its server by a moment, and nobody is removed while at work.
        after.callback(as_root, "userdel", "-f", who)
        after.callback(subprocess.run, ["pkill", "-KILL", "-u", who], check=False)
    (place / "exchange").mkdir()
    (place / "exchange").chmod(0o1777)
    as_root("install", "-d", "-g", "instructors", "-m", "2775", place / "exchange" / "spring")

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
    as_root("chown", "-R", f"{TUTOR}:instructors", course)
    as_root("chmod", "-R", "u=rwX,g=rwXs,o=", course)

    # Each side's package, as it stands here.
    as_root(sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", place / "wheels", project_folder("notebooks").parent)  # fmt: skip
    name, data = learner_wheel(open_course(course))
    (place / name).write_bytes(data)
    (whole,) = (place / "wheels").glob("*.whl")
    for side, wheel in (("learn", place / name), ("teach", whole)):
        as_root(MADE / side / "bin" / "python", "-m", "pip", "install", "-q", "--no-deps", "--force-reinstall", wheel)  # fmt: skip
    shutil.rmtree(place / "wheels")
    as_root("chgrp", "instructors", MADE / "teach")
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


@pytest.fixture(scope="session")
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
                if cell["id"] == "why":
                    cell["source"] = "The powers change places, says {who}."
                for name, text in (("learner", {who!r}), ("convert_1", {answer!r}[1:-1])):
                    if "".join(cell["source"]).startswith(name + " = "):
                        cell["source"] = name + " = " + repr(text)
            path.write_text(json.dumps(notebook), "utf-8")
            """,
        )
        hub.command(who, "nbgrader", "submit", FORMS)
    return hub
