"""The file of one's own progress: small, plain, and never lost.

It is JSON, beside the notebooks, and a learner may delete it. It is written whole or
not at all, and read again before each writing, so that two open notebooks do not undo
each other. A file that cannot be read is set aside under another name and told of;
nothing in it is thrown away.
"""

from __future__ import annotations

import json
import os
import tempfile
from dataclasses import asdict, replace
from pathlib import Path
from typing import NamedTuple

from optics.errors import OpticsError
from optics.progress.progress import Chapter, Entry, Progress

PROGRESS_FILE = "my-progress.json"
WHAT = "My own practice with the focimeter. It is mine: nobody marks it, and I may delete it."
VERSION = 1


class _Found(NamedTuple):
    """What a file holds, what to tell, and whether writing it anew loses anything."""

    progress: Progress
    told: tuple[str, ...]
    safe: bool


def read_progress(path: Path | str = PROGRESS_FILE) -> tuple[Progress, tuple[str, ...]]:
    """Read one's progress.

    Parameters
    ----------
    path : path
        The file.

    Returns
    -------
    Progress
        What could be read; empty where there is no file yet.
    tuple of str
        What there is to tell the learner, such as a damaged file that was set aside.
    """
    found = _read(Path(path))
    return found.progress, found.told


def note(entry: Entry, path: Path | str = PROGRESS_FILE) -> tuple[Progress, tuple[str, ...]]:
    """Add one pair to one's progress, and write it.

    Parameters
    ----------
    entry : Entry
        The pair.
    path : path
        The file; it is made where there is none.

    Returns
    -------
    Progress, tuple of str
        As `read_progress`, with the pair in it.

    Raises
    ------
    OpticsError
        Where the file cannot be written; what it held is untouched.
    """
    path = Path(path)
    found = _safe(path)
    progress = replace(found.progress, entries=(*found.progress.entries, entry))
    _write(path, progress)
    return progress, found.told


def note_chapter(name: str, chapter: Chapter, path: Path | str = PROGRESS_FILE) -> None:
    """Put a chapter's marks into one's progress, in place of earlier ones.

    Parameters
    ----------
    name : str
        The chapter's.
    chapter : Chapter
        Its marks.
    path : path
        As for `note`.

    Raises
    ------
    OpticsError
        As for `note`.
    """
    path = Path(path)
    found = _safe(path)
    _write(path, replace(found.progress, chapters={**found.progress.chapters, name: chapter}))


def _safe(path: Path) -> _Found:
    """What a file holds, where writing it anew loses nothing."""
    found = _read(path)
    if not found.safe:
        raise OpticsError(
            " ".join(found.told),
            "A file is only written anew where nothing in it is lost.",
            "Move it to another folder and try again.",
        )
    return found


def _read(path: Path) -> _Found:
    try:
        text = path.read_bytes()
    except FileNotFoundError:
        return _Found(Progress(), (), True)
    except OSError:
        return _Found(Progress(), (f"Your progress file {path.name} cannot be opened.",), False)
    try:
        inside = json.loads(text)
        version, pairs, chapters = inside["version"], inside["pairs"], inside.get("chapters", {})
        if not isinstance(pairs, list) or not isinstance(chapters, dict):
            raise ValueError("no list of pairs")
    except (ValueError, KeyError, TypeError, RecursionError):
        return _Found(Progress(), *_set_aside(path, "is damaged"))
    if version != VERSION:
        return _Found(Progress(), *_set_aside(path, "is of another version of the workbook"))
    good: list[Entry] = []
    for values in pairs:
        try:
            good.append(Entry.from_plain(values))
        except (ValueError, KeyError, TypeError, AttributeError, OverflowError):
            continue
    marked: dict[str, Chapter] = {}
    for name, values in chapters.items():
        try:
            marked[name] = Chapter.from_plain(values)
        except (ValueError, KeyError, TypeError, AttributeError, OverflowError):
            continue
    progress = Progress(tuple(good), marked)
    bad = len(pairs) - len(good) + len(chapters) - len(marked)
    if not bad:
        return _Found(progress, (), True)
    what = "entry" if bad == 1 else "entries"
    told, safe = _set_aside(path, f"holds {bad} {what} that cannot be read", copy=True)
    if safe:
        _write(path, progress)
    return _Found(progress, told, safe)


def _write(path: Path, progress: Progress) -> None:
    """Write the whole file beside itself, then put it in its place at once."""
    # A seed as text, because a browser cannot hold so large a number.
    pairs = [asdict(entry) | {"seed": str(entry.seed)} for entry in progress.entries]
    chapters = {name: asdict(chapter) for name, chapter in progress.chapters.items()}
    held = {"what": WHAT, "version": VERSION, "pairs": pairs, "chapters": chapters}
    text = json.dumps(held, indent=1)
    name = ""
    try:
        with tempfile.NamedTemporaryFile(
            "w", encoding="utf-8", dir=path.parent, prefix=f".{path.name}.", delete=False
        ) as file:
            name = file.name
            file.write(text + "\n")
            file.flush()
            os.fsync(file.fileno())
        os.replace(name, path)
    except OSError:
        if name:
            Path(name).unlink(missing_ok=True)
        raise OpticsError(
            f"Your progress could not be written to {path.name}.",
            "The folder must be one that you may write in, with room on its disk.",
            "Move the chapter to a folder of your own.",
        ) from None


def _set_aside(path: Path, why: str, copy: bool = False) -> tuple[tuple[str], bool]:
    """Give a file another name that is free, or copy it there; what to tell, and whether it went well."""
    number = 1
    while (aside := path.with_name(f"{path.stem}-set-aside-{number}{path.suffix}")).exists():
        number += 1
    try:
        if copy:
            aside.write_bytes(path.read_bytes())
        else:
            path.rename(aside)
    except OSError:
        left = f"Your progress file {path.name} {why}, and could not be set aside. It was left as it is."
        return (left,), False
    rest = "What could be read is kept." if copy else "A new one is begun."
    told = f"Your progress file {path.name} {why}. It was set aside, whole, as {aside.name}. {rest}"
    return (told,), True
