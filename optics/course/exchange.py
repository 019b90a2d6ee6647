"""Collecting from nbgrader's exchange, where every learner may write: what is not theirs stays there."""

from __future__ import annotations

import os
import re
import secrets
import shutil
import stat
from datetime import datetime
from pathlib import Path
from typing import Any

from nbgrader.exchange.default.collect import ExchangeCollect

TIMESTAMP, SECRET = "timestamp.txt", "submission_secret.txt"
# As `nbgrader submit` makes it.
_SECRET = re.compile(rb"[0-9a-f]{128}")


class CollectOwn(ExchangeCollect):
    """Collect what each learner handed in themselves, and only plain files of their own.

    nbgrader's own collector only warns where a folder belongs to somebody else, and copies what a
    link leads to, with the instructor's rights. A name that is none would stop it for the whole class.
    """

    def _path_to_record(self, path: str) -> dict[str, Any]:
        stranger = {"username": "", "filename": os.path.basename(path), "timestamp": datetime(1970, 1, 1)}
        try:
            record = super()._path_to_record(path)
            owner = _name_of(os.lstat(path).st_uid)
        except Exception as reason:  # any name that a learner can think of
            self.log.warning("Left in the exchange: %s (%s)", path, reason)
            return stranger
        if owner != record["username"] or not stat.S_ISDIR(os.lstat(path).st_mode):
            self.log.warning("Left in the exchange: %s is %s's, whatever its name says", path, owner)
            return stranger
        return record

    def init_src(self) -> None:
        """Find each learner's newest submission; a stranger's is none."""
        super().init_src()
        self.src_records: list[dict[str, Any]] = [r for r in self.src_records if r["username"]]

    def do_copy(self, src: str, dest: str, log: object = None) -> None:
        """Copy one submission: plain files of its owner, whole or not at all."""
        record = next(r for r in self.src_records if r["filename"] == os.path.basename(src))
        folder, target = -1, Path(dest)
        try:
            folder = os.open(src, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
            owner = os.fstat(folder).st_uid
            # Looked at again by the open folder: it may have been changed for another since.
            if _name_of(owner) != record["username"]:
                raise PermissionError(f"it is not {record['username']}'s")
            target.mkdir(parents=True)
            self._copy_own(folder, owner, target)
            # What the next collection and the feedback lean on is not left to what came.
            (target / TIMESTAMP).write_text(f"{record['timestamp']} UTC", "utf-8")
            kept = target / SECRET
            if not kept.is_file() or not _SECRET.fullmatch(kept.read_bytes()):
                kept.write_text(secrets.token_hex(64), "utf-8")
        except OSError as reason:
            shutil.rmtree(target, ignore_errors=True)
            self.log.error("Not collected: %s (%s)", src, reason)
        finally:
            if folder >= 0:
                os.close(folder)
        if self.coursedir.groupshared and target.is_dir():
            for path in (target.parent, target, *target.iterdir()):
                if path.stat().st_uid == os.geteuid():
                    path.chmod(0o2770 if path.is_dir() else 0o660)

    def _copy_own(self, folder: int, owner: int, target: Path) -> None:
        """Copy what lies in an open folder; a chapter's folder has none within that counts."""
        room = self.coursedir.max_dir_size * 1000
        for name in sorted(os.listdir(folder)):
            try:
                # Without waiting for the other end, should it be a pipe.
                file = os.open(name, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK, dir_fd=folder)
            except OSError as reason:
                self.log.warning("Left out: %s (%s)", name, reason.strerror)
                continue
            try:
                if not _is_own(file, owner):
                    self.log.warning("Left out: %s is no file of the learner's own", name)
                    continue
                with open(file, "rb", closefd=False) as source:
                    data = source.read(room + 1)
            finally:
                os.close(file)
            room -= len(data)
            if room < 0:
                raise OSError("it is larger than a submission may be")
            (target / name).write_bytes(data)


def _is_own(file: int, owner: int) -> bool:
    found = os.fstat(file)
    # A second name of a file may be a name of somebody else's.
    return stat.S_ISREG(found.st_mode) and found.st_uid == owner and found.st_nlink == 1


def _name_of(user: int) -> str:
    import pwd  # not on Windows, where the exchange does not work either

    try:
        return pwd.getpwuid(user).pw_name
    except KeyError:
        return "nobody known"
