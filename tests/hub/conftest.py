"""A PostgreSQL of the test's own: a fresh cluster that listens on a socket and nowhere else."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from running_hub import handed_in, hub  # noqa: F401 (fixtures)

PROGRAMS = sorted(Path("/usr/lib/postgresql").glob("*/bin"))


def as_user(user: str, *command: object, **options) -> subprocess.CompletedProcess:
    """Run a command as a user of this machine, with nothing of our own environment."""
    return subprocess.run(
        ["runuser", "-u", user, "--", *map(str, command)],
        text=True,
        capture_output=True,
        timeout=240,
        cwd="/",
        env={"PATH": os.environ["PATH"]},
        **options,
    )


@pytest.fixture(scope="session")
def postgres(tmp_path_factory):
    """Give the folder of its socket; who one is on the machine is who one is in the database."""
    if os.geteuid() or not PROGRAMS or not shutil.which("runuser"):
        pytest.skip("needs root, and PostgreSQL from the distribution")
    place = Path("/tmp") / f"optics-postgres-{os.getpid()}"
    place.mkdir()
    shutil.chown(place, "postgres", "postgres")
    control = [PROGRAMS[-1] / "pg_ctl", "-D", place / "data", "-w", "-l", place / "log"]
    made = as_user(
        "postgres", PROGRAMS[-1] / "initdb", "-D", place / "data", "--auth=peer", "-E", "UTF8", "--no-sync"
    )
    assert not made.returncode, made.stderr
    started = as_user("postgres", *control, "-o", f"-k {place} -c listen_addresses='' -c fsync=off", "start")
    assert not started.returncode, started.stdout + started.stderr
    yield place
    as_user("postgres", *control, "-m", "immediate", "stop")
    shutil.rmtree(place)


@pytest.fixture(scope="session")
def sql(postgres):
    """Give a function that carries out SQL as the owner of the cluster."""

    def carried_out(*commands: str, database: str = "postgres") -> str:
        asked = [word for command in commands for word in ("-c", command)]
        done = as_user("postgres", "psql", "-h", postgres, "-d", database, "-Atq", *asked)
        assert not done.returncode, done.stderr
        return done.stdout

    return carried_out
