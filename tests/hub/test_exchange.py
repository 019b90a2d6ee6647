"""What is collected from an exchange, without a hub: two users of the machine and what they can put there."""

import logging
import os

import pytest
from nbgrader.coursedir import CourseDirectory
from nbgrader.exchange.default import ExchangeCollect
from traitlets.config import Config

from optics.course.exchange import CollectOwn

pytestmark = [
    pytest.mark.campus,
    pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="gives files to other users"),
]
ONE, OTHER, CHAPTER = "daemon", "nobody", "91-forms"
EARLY, LATE = "2026-03-01 12:00:00.000000 UTC", "2026-03-02 12:00:00.000000 UTC"


def _put(inbound, name, owner, text="own work"):
    import pwd

    folder = inbound / name
    folder.mkdir()
    (folder / f"{CHAPTER}.ipynb").write_text(text)
    for path in (folder, folder / f"{CHAPTER}.ipynb"):
        os.chown(path, pwd.getpwnam(owner).pw_uid, -1)
    return folder


@pytest.fixture
def inbound(tmp_path):
    path = tmp_path / "exchange" / "spring" / "inbound"
    path.mkdir(parents=True)
    (tmp_path / "secret").write_text("the key")
    return path


def _collected(inbound, collector=CollectOwn, **settings):
    root = inbound.parents[2]
    config = Config()
    config.CourseDirectory.root = str(root / "course")
    config.CourseDirectory.db_url = f"sqlite:///{root / 'book.db'}"
    config.CourseDirectory.course_id = "spring"
    config.CourseDirectory.assignment_id = CHAPTER
    config.Exchange.root = str(root / "exchange")
    for name, value in settings.items():
        config.CourseDirectory[name] = value
    collect = collector(coursedir=CourseDirectory(config=config), config=config)
    collect.log = logging.getLogger("collecting")
    collect.update = True
    collect.start()
    found = (root / "course" / "submitted").glob("*/*/*.*")
    return {(path.parts[-3], path.name): path.read_text("latin-1") for path in found if "_" not in path.name}


def test_a_later_submission_under_anothers_name_is_left(inbound):
    _put(inbound, f"{ONE}+{CHAPTER}+{EARLY}+a", ONE)
    _put(inbound, f"{ONE}+{CHAPTER}+{LATE}+b", OTHER, "a bad joke")
    assert _collected(inbound)[ONE, f"{CHAPTER}.ipynb"] == "own work"


@pytest.mark.parametrize("name", [f"x+{CHAPTER}+", f"{OTHER}+{CHAPTER}+no time+z", f"++{CHAPTER}+++"])
def test_a_name_that_is_none_stops_nobody(inbound, name):
    _put(inbound, f"{ONE}+{CHAPTER}+{EARLY}+a", ONE)
    _put(inbound, name, OTHER)
    assert {who for who, _ in _collected(inbound)} == {ONE}
    assert {who for who, _ in _collected(inbound)} == {ONE}


def test_links_second_names_pipes_and_anothers_files_are_left_out(inbound):
    folder = _put(inbound, f"{ONE}+{CHAPTER}+{EARLY}+a", ONE)
    secret = inbound.parents[2] / "secret"
    (folder / "link.txt").symlink_to(secret)
    (folder / "another.txt").write_text("root's")
    os.mkfifo(folder / "pipe.txt")
    own = folder / "second.txt"
    os.link(folder / f"{CHAPTER}.ipynb", inbound.parents[2] / "elsewhere")
    own.write_text("own")
    os.chown(own, folder.stat().st_uid, -1)
    assert {name for _, name in _collected(inbound)} == {"second.txt", "timestamp.txt"}


def test_a_folder_that_is_a_link_is_left(inbound):
    folder = _put(inbound.parents[2], "elsewhere", ONE, "the key")
    link = inbound / f"{ONE}+{CHAPTER}+{EARLY}+a"
    link.symlink_to(folder)
    os.chown(link, folder.stat().st_uid, -1, follow_symlinks=False)
    assert _collected(inbound) == {}


def test_one_too_large_is_left_whole_and_the_next_goes_on(inbound):
    _put(inbound, f"{ONE}+{CHAPTER}+{EARLY}+a", ONE, "x" * 3000)
    _put(inbound, f"{OTHER}+{CHAPTER}+{EARLY}+a", OTHER)
    assert {who for who, _ in _collected(inbound, max_dir_size=2)} == {OTHER}


def test_the_time_and_the_secret_are_not_what_was_sent(inbound):
    folder = _put(inbound, f"{ONE}+{CHAPTER}+{EARLY}+a", ONE)
    for name, text in (("timestamp.txt", b"whenever"), ("submission_secret.txt", b"\xff")):
        (folder / name).write_bytes(text)
        os.chown(folder / name, folder.stat().st_uid, -1)
    for _ in range(2):
        assert _collected(inbound)[ONE, "timestamp.txt"] == "2026-03-01 12:00:00 UTC"
    secret = inbound.parents[2] / "course" / "submitted" / ONE / CHAPTER / "submission_secret.txt"
    assert len(secret.read_text()) == 128


def test_nbgraders_own_takes_what_ours_leaves(inbound):
    """What the collector is for; once this fails, ours may be needed no longer."""
    folder = _put(inbound, f"{ONE}+{CHAPTER}+{EARLY}+a", OTHER)
    (folder / "link.txt").symlink_to(inbound.parents[2] / "secret")
    assert _collected(inbound, ExchangeCollect)[ONE, "link.txt"] == "the key"
