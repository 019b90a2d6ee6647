"""What an instructor asks about one learner: the key, and whose pair an answer fits."""

from __future__ import annotations

import ast
from collections import defaultdict
from collections.abc import Iterator, Sequence
from functools import lru_cache
from pathlib import Path

import nbformat

from optics.course.class_list import class_list
from optics.course.folder import Course
from optics.course.handed_out import box_for, person_in, stamp_of
from optics.course.opening import load_notebook
from optics.course.reading import answers_in
from optics.errors import OpticsError
from optics.lens.parsing import parse
from optics.lens.power import Power
from optics.specimens.right_ticket import right_ticket
from optics.specimens.sealed import PairBox, open_pairs
from optics.specimens.specimen import Specimen

CLOSE = 0.19
"""Two powers within this, dioptres of strength, are taken for one reading of the other."""


def _answers(path: Path) -> dict[str, object]:
    cells = nbformat.read(path, as_version=4).cells
    return answers_in(cell.source for cell in cells if cell.cell_type == "code")


def lay_before(course: Course, learner: str, chapter: str) -> tuple[PairBox, str] | None:
    """The pair box of a learner's chapter, and the name by which it gives that learner's pairs."""
    submitted = course.notebook("submitted", chapter, learner)
    path = submitted if submitted.is_file() else course.notebook("release", chapter)
    notebook, _ = load_notebook(path.read_bytes())
    folder = box_for(course, chapter, stamp_of(notebook.metadata))
    if folder is None:
        return None
    box = open_pairs(folder)
    typed = _answers(submitted).get("learner", learner) if submitted.is_file() else learner
    return box, person_in(box, learner, typed if isinstance(typed, str) else learner)[0]


def key(course: Course, learner: str, chapters: Sequence[str] = ()) -> str:
    """The right tickets for the unknown pairs before one learner, by the box they were handed out with."""
    lines = []
    for chapter in course.chosen(chapters, "release"):
        before = lay_before(course, learner, chapter)
        if before is None:
            continue
        box, who = before
        for letter in sorted(box.briefs):
            ticket = right_ticket(box.pair(letter, who))
            told = "; ".join(f"{field} {value}" for field, value in ticket.items() if value)
            lines.append(f'{chapter}, pair {letter}, intake "{box.intake}": {told}')
    return "\n".join(lines) or "These chapters have no unknown pairs."


# --- whose pair it fits ----------------------------------------------------------------------


def _asked(source: str) -> Iterator[tuple[str, str, str]]:
    """Pair, lens and name of the answer of each check of an unknown pair; lens "" for a whole ticket."""
    try:
        tree = ast.parse(source)
    except (SyntaxError, ValueError):
        return
    for node in ast.walk(tree):
        match node:
            case ast.Call(func=ast.Attribute(attr="reading" | "ticket"), args=[ast.Name(id=name), *_]):
                given = {
                    each.arg: each.value.value
                    for each in node.keywords
                    if isinstance(each.value, ast.Constant)
                }
                if isinstance(pair := given.get("pair"), str):
                    yield pair, str(given.get("eye", "")), name


@lru_cache(maxsize=32)
def _asked_in(source: Path, _changed: int) -> tuple[tuple[str, str, str], ...]:
    """What a chapter asks of unknown pairs; checks with marks stand in its source, hidden from learners."""
    cells = nbformat.read(source, as_version=4).cells
    return tuple(asked for cell in cells if "check." in cell.source for asked in _asked(cell.source))


def whose_pair_it_fits(course: Course, learner: str, chapter: str) -> list[str]:
    """A sentence for each pair whose answers fit what lay before another learner, and not before this one.

    It is reported and never punished: there may be a good reason, such as two who shared a screen.
    """
    path = course.notebook("autograded", chapter, learner)
    before = lay_before(course, learner, chapter)
    if before is None or not path.is_file():
        return []
    box, who = before
    answers = _answers(path)
    by_pair: dict[str, dict[str, Power]] = defaultdict(dict)
    source = course.notebook("source", chapter)
    for letter, eye, name in _asked_in(source, source.stat().st_mtime_ns):
        value = answers.get(name)
        parts = {eye: value} if eye else _sides(value)
        for side, text in parts.items():
            try:
                by_pair[letter][side] = parse(str(text)).power
            except OpticsError:
                continue
    said = []
    for letter, read in sorted(by_pair.items()):
        # One lens alone fits another by chance; two do not.
        if len(read) == 2 and letter in box.briefs and not _fits(box.pair(letter, who), read):
            said += _others(course, chapter, box, letter, who, read)
    return said


def _sides(value: object) -> dict[str, object]:
    plain = value if isinstance(value, dict) else {}
    return {eye: plain[side] for eye, side in (("R", "right"), ("L", "left")) if side in plain}


def _fits(pair: Specimen, read: dict[str, Power]) -> bool:
    return all(float((power - pair.power(eye)).strength) <= CLOSE for eye, power in read.items())


def _others(
    course: Course, chapter: str, box: PairBox, letter: str, who: str, read: dict[str, Power]
) -> list[str]:
    own = box.variant(letter, who)
    others = {each.identifier for each in class_list(course)} | set(course.learners("submitted", chapter))
    at: dict[int, list[str]] = defaultdict(list)
    for other in sorted(others):
        at[box.variant(letter, other)].append(other)
    for variant in sorted(set(at) - {own}):
        if _fits(box.pair(letter, at[variant][0]), read):
            whom = ", ".join(at[variant][:3])
            return [
                f"The answers to pair {letter} do not fit the pair that lay there; they fit that of {whom}. "
                "It may be chance and moves no mark: ask."
            ]
    return []
