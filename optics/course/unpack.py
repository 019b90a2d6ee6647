"""Taking files out of whatever an LMS hands over, without trusting any of it.

Nothing is ever unpacked to the name that stands in an archive: each file's
content is handed on together with its name as text, and the caller files it
under a name of its own. So a name like `../../x` reaches nowhere.
"""

from __future__ import annotations

import io
import unicodedata
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path, PurePosixPath

MOST_BYTES = 200_000_000
"""Largest single file that is looked at."""
MOST_FILES = 20_000
MOST_IN_ALL = 8_000_000_000
DEEPEST = 3
"""Archives within archives."""
NOTEBOOKS = (".ipynb", ".ipynb.txt", ".ipynb.json", ".json")
# A zip has no time of its own before this; some programs write it for "unknown".
NO_TIME = datetime(1980, 1, 1, 0, 0, 0)


@dataclass(slots=True)
class Received:
    """One file as it came.

    Parameters
    ----------
    name : str
        Its path as the sender wrote it, with strokes made forward.
    data : bytes
        Its content; empty where `trouble` says why.
    time : datetime or None
        When it was last changed, as far as the sender says.
    trouble : str
        A sentence where it could not be taken, else "".
    """

    name: str
    data: bytes = b""
    time: datetime | None = None
    trouble: str = ""

    @property
    def is_notebook(self) -> bool:
        """Whether it is named like a notebook."""
        return self.name.lower().endswith(NOTEBOOKS)


@dataclass(slots=True)
class _Allowance:
    files: int
    bytes: int


def _tidy(name: str) -> str:
    """A path as text: forward strokes, composed letters."""
    return unicodedata.normalize("NFC", name.replace("\\", "/")).lstrip("/")


def _is_rubbish(name: str) -> bool:
    """What operating systems and notebooks leave behind, never anybody's work."""
    parts = PurePosixPath(name).parts
    return any(
        part in {"__MACOSX", ".ipynb_checkpoints", "__pycache__", ".DS_Store", "Thumbs.db", "desktop.ini"}
        or part.startswith("._")
        for part in parts
    )


def received(place: Path) -> Iterator[Received]:
    """Every file in an archive or a folder, or the one file itself.

    Parameters
    ----------
    place : Path
        A zip from an LMS, a folder, or a single notebook.

    Yields
    ------
    Received
        One for each file that might be somebody's work.
    """
    allowance = _Allowance(MOST_FILES, MOST_IN_ALL)
    if place.is_dir():
        for path in sorted(path for path in place.rglob("*") if path.is_file() and not path.is_symlink()):
            yield from _file(path, _tidy(path.relative_to(place).as_posix()), allowance)
    else:
        yield from _file(place, _tidy(place.name), allowance)


def _file(path: Path, name: str, allowance: _Allowance) -> Iterator[Received]:
    if _is_rubbish(name):
        return
    if path.suffix.lower() == ".zip":
        with path.open("rb") as file:
            yield from _archive(file, name, allowance, 1)
        return
    time = datetime.fromtimestamp(path.stat().st_mtime).replace(microsecond=0)
    if path.stat().st_size > MOST_BYTES:
        yield Received(name, time=time, trouble=_too_large(name))
        return
    yield Received(name, path.read_bytes(), time)


def _too_large(name: str) -> str:
    return f'"{name}" is larger than {MOST_BYTES // 1_000_000} MB and was not looked at.'


def _archive(file: io.BufferedIOBase, name: str, allowance: _Allowance, depth: int) -> Iterator[Received]:
    if depth > DEEPEST:
        yield Received(name, trouble=f'"{name}" holds archives within archives, more than {DEEPEST} deep.')
        return
    try:
        archive = zipfile.ZipFile(file)
    except (zipfile.BadZipFile, OSError, ValueError):
        yield Received(name, trouble=f'"{name}" is not a zip that can be opened; it may have broken off.')
        return
    prefix = "" if depth == 1 else f"{name}/"
    with archive:
        for entry in archive.infolist():
            inside = prefix + _tidy(_name_of(entry))
            if entry.is_dir() or inside.endswith("/") or _is_rubbish(inside):
                continue
            allowance.files -= 1
            if allowance.files < 0 or allowance.bytes < 0:
                yield Received(
                    name, trouble=f'"{name}" holds more than a class hands in; the rest was not looked at.'
                )
                return
            yield from _entry(archive, entry, inside, allowance, depth)


def _entry(
    archive: zipfile.ZipFile, entry: zipfile.ZipInfo, name: str, allowance: _Allowance, depth: int
) -> Iterator[Received]:
    is_archive = name.lower().endswith(".zip")
    if not is_archive and not name.lower().endswith(NOTEBOOKS):
        # Its content is of no use; that it came is.
        yield Received(name, time=_time_of(entry))
        return
    try:
        # The size an archive claims is not believed; reading stops one byte late.
        with archive.open(entry) as stream:
            data = stream.read(MOST_BYTES + 1)
    except (zipfile.BadZipFile, RuntimeError, NotImplementedError, OSError, EOFError, ValueError) as reason:
        secret = "password" in str(reason) or "encrypted" in str(reason)
        why = "is locked with a password" if secret else "is damaged inside the zip"
        yield Received(name, trouble=f'"{name}" {why} and could not be taken out.')
        return
    except Exception:  # zlib.error and its like, one a compression method
        yield Received(name, trouble=f'"{name}" is damaged inside the zip and could not be taken out.')
        return
    allowance.bytes -= len(data)
    if len(data) > MOST_BYTES:
        yield Received(name, trouble=_too_large(name))
    elif is_archive:
        yield from _archive(io.BytesIO(data), name, allowance, depth + 1)
    else:
        yield Received(name, data, _time_of(entry))


def _name_of(entry: zipfile.ZipInfo) -> str:
    """The entry's name; many programs write UTF-8 without saying so."""
    if entry.flag_bits & 0x800:
        return entry.filename
    try:
        return entry.filename.encode("cp437").decode("utf-8")
    except UnicodeError:
        return entry.filename


def _time_of(entry: zipfile.ZipInfo) -> datetime | None:
    try:
        time = datetime(*entry.date_time)
    except ValueError:
        return None
    return time if time > NO_TIME else None
