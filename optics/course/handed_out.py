"""What was handed out: every pair box ever released, and the stamp that says which one a notebook needs.

A released notebook carries its intake and the fingerprint of its pair box in its
metadata. A submission is marked with that box, whatever has been released since, or it
is refused with a sentence.
"""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from nbformat.notebooknode import NotebookNode

from optics.course.folder import HANDED_OUT, Course, write_whole
from optics.errors import OpticsError
from optics.specimens.sealed import BRIEFS, SEALED, PairBox, open_pairs

STAMP = "optics_workbook"
"""Under this name the stamp stands in a notebook's metadata."""
LONGEST = 200


@dataclass(frozen=True, slots=True)
class Stamp:
    """Where a notebook comes from.

    Parameters
    ----------
    intake : str
        Name of its intake, "" where it carries no stamp.
    pairs : str
        Fingerprint of its pair box, "" where the chapter has none.
    """

    intake: str = ""
    pairs: str = ""


def stamp_of(metadata: Any) -> Stamp:
    """The stamp in a notebook's metadata, which somebody may have altered."""
    plain = metadata.get(STAMP) if isinstance(metadata, dict) else None
    if not isinstance(plain, dict):
        return Stamp()
    intake, pairs = plain.get("intake"), plain.get("pairs")
    pairs = pairs if isinstance(pairs, str) and re.fullmatch(r"[0-9a-f]{12}", pairs) else ""
    intake = intake if isinstance(intake, str) and len(intake) <= LONGEST else ""
    return Stamp(intake.encode("utf-8", "replace").decode(), pairs)


def set_stamp(notebook: NotebookNode, stamp: Stamp) -> None:
    """Put a stamp into a notebook's metadata."""
    if stamp.intake or stamp.pairs:
        notebook.metadata[STAMP] = NotebookNode(intake=stamp.intake, pairs=stamp.pairs)


def stamp_of_box(sealed: str) -> Stamp:
    """The stamp that leads to a sealed pair box."""
    return Stamp(str(json.loads(sealed)["intake"]), hashlib.sha256(sealed.encode()).hexdigest()[:12])


def keep_box(course: Course, chapter: str, sealed: str) -> Stamp:
    """Keep a pair box for good, and give the stamp that leads to it."""
    stamp = stamp_of_box(sealed)
    path = course.root / HANDED_OUT / chapter / stamp.pairs / SEALED
    if not path.is_file():
        write_whole(path, sealed)
    return stamp


def box_of_intake(course: Course, chapter: str, intake: str) -> Stamp:
    """The stamp of a chapter as it was last handed out to an intake."""
    names = [known.name for known in course.intakes()]
    if intake not in names:
        raise OpticsError(
            f'There is no intake "{intake}" in this course.',
            f"Its intakes are: {', '.join(names)}.",
            "Check the name.",
        )
    kept = sorted(
        (course.root / HANDED_OUT / chapter).glob(f"*/{SEALED}"), key=lambda path: path.stat().st_mtime
    )
    fits = [path for path in kept if json.loads(path.read_text("utf-8"))["intake"] == intake]
    return Stamp(intake, fits[-1].parent.name if fits else "")


def box_for(course: Course, chapter: str, stamp: Stamp) -> Path | None:
    """The folder with the pair box that a submission is marked with.

    Returns
    -------
    Path or None
        None where the chapter has no pairs.

    Raises
    ------
    OpticsError
        Where it cannot be told which pairs lay on the learner's bench, or they are not kept.
    """
    kept = sorted(path.parent for path in (course.root / HANDED_OUT / chapter).glob(f"*/{SEALED}"))
    has_pairs = (course.root / "source" / chapter / BRIEFS).is_file()
    # A chapter without pairs has a box only where its points were chosen.
    if not has_pairs and (not kept or (stamp.intake and not stamp.pairs)):
        return None
    if not kept:
        # Released before boxes were kept, when there could be one only.
        kept = [
            path
            for step in ("release", "source")
            if (path := course.step(step, chapter=chapter) / SEALED).is_file()
        ]
        kept = [path.parent for path in kept[:1]]
    elif stamp.pairs:
        kept = [path for path in kept if path.name == stamp.pairs]
    if not kept:
        intake = f'of the intake "{stamp.intake}" ' if stamp.intake else ""
        raise OpticsError(
            f"It was handed out with pairs {intake}that are not kept in this course.",
            "Marked with other pairs, right answers would count as wrong.",
            f"Mark it in the course that released it, or put the folder {HANDED_OUT} of that course back.",
        )
    # Without pairs of its own, an intake that chose no points left no box, and may yet be the one.
    unsaid = not has_pairs and not stamp.intake and len(course.intakes()) > 1
    if len(kept) > 1 or unsaid:
        which = f"of {len(kept)} sets of pairs" if has_pairs else "intake's points"
        raise OpticsError(
            f"It does not say which {which} it was handed out with.",
            "Its stamp was lost on the way, perhaps in another program.",
            "Gather it again with --intake and the name of its intake.",
        )
    open_pairs(kept[0])
    return kept[0]


def person_in(box: PairBox, student: str, typed: str) -> tuple[str, str]:
    """Whose pairs a submission is marked with, and a sentence where the name typed is another.

    The bench drew the pairs by what was typed; a name or number of the class list leads
    to the listed person's pairs, in whichever way it is written.
    """
    own = box.whose(student)
    person = box.whose(typed)
    if not own or person == own:
        return typed, ""
    if not typed.strip():
        return student, ""
    if person:
        return (
            student,
            f"The name typed, \"{typed[:40]}\", is somebody else's; marked with the sender's own pairs.",
        )
    return (
        typed,
        f'The name typed, "{typed[:40]}", is nobody\'s in the class list; the bench drew the pairs by it.',
    )
