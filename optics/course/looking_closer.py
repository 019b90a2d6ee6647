"""What an instructor asks about one learner: the key, how a pair was read, whose pair an answer fits."""

from __future__ import annotations

import ast
import json
from collections import defaultdict
from collections.abc import Iterator, Sequence
from functools import lru_cache
from html import escape
from pathlib import Path

import nbformat

from optics.course.class_list import class_list
from optics.course.feedback import new_folder
from optics.course.folder import Course, write_whole
from optics.course.gather import ledger
from optics.course.handed_out import box_for, person_in, stamp_of
from optics.course.opening import load_notebook
from optics.course.reading import answers_in
from optics.drawing import describe, style
from optics.drawing.diagram import Diagram
from optics.drawing.eyepiece import draw_eyepiece
from optics.errors import OpticsError
from optics.instrument.trace import Trace, traces_in
from optics.lens.lens import EMPTY
from optics.lens.parsing import parse
from optics.lens.power import Power
from optics.specimens.right_ticket import right_ticket
from optics.specimens.sealed import PairBox, open_pairs
from optics.specimens.specimen import Specimen

__all__ = ["as_it_was_read", "key", "whose_pair_it_fits"]

MOST_PICTURES = 24
CLOSE = 0.19
"""Two powers within this, dioptres of strength, are taken for one reading of the other."""


def _answers(path: Path) -> dict[str, object]:
    cells = nbformat.read(path, as_version=4).cells
    return answers_in(cell.source for cell in cells if cell.cell_type == "code")


def _before(course: Course, learner: str, chapter: str) -> tuple[PairBox, str] | None:
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
        before = _before(course, learner, chapter)
        if before is None:
            continue
        box, who = before
        for letter in sorted(box.briefs):
            ticket = right_ticket(box.pair(letter, who))
            told = "; ".join(f"{field} {value}" for field, value in ticket.items() if value)
            lines.append(f'{chapter}, pair {letter}, intake "{box.intake}": {told}')
    return "\n".join(lines) or "These chapters have no unknown pairs."


# --- as it was read ------------------------------------------------------------------------


def as_it_was_read(course: Course, learner: str, chapter: str) -> Path:
    """Write a page that shows how a learner read the pairs of a chapter, from the moves kept in the notebook.

    It is evidence for the eye, never for marks: a notebook can be edited.

    Returns
    -------
    Path
        The page, under the course's reports.
    """
    (chapter,) = course.chosen([chapter], "release")
    original = _as_it_came(course, learner, chapter)
    kept = traces_in(json.loads(original.read_text("utf-8", "replace"))) if original else ()
    if not kept:
        raise OpticsError(
            f"There are no moves kept in what came from {learner} for {chapter}.",
            "They lie in the outputs of the notebook as it was handed in, unless that was switched off or cleared.",
            "Ask the learner to show you at the bench.",
        )
    before = _before(course, learner, chapter)
    parts = []
    for cell, trace in kept:
        letter = trace.pair.strip()
        pair = before[0].pair(letter, before[1]) if before and letter in before[0].briefs else None
        parts.append(
            f"<h2>{escape(cell)}{f', pair {escape(letter)}' if letter else ''}</h2>{_told(trace, pair)}"
        )
    page = new_folder(course, "as it was read") / f"{learner}-{chapter}.html"
    title = f"{learner}, {chapter}: as it was read"
    write_whole(
        page,
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title>'
        "<style>body { font: 1rem/1.5 system-ui, sans-serif; max-width: 60em; margin: 2em auto; padding: 0 1em; }"
        " figure { display: inline-block; vertical-align: top; width: 15em; margin: 0.5em; }</style></head>"
        f"<body><h1>{escape(title)}</h1><p>From the moves kept in the notebook. A notebook can be edited, "
        f"so this is for looking and talking, and no mark rests on it.</p>{''.join(parts)}</body></html>\n",
    )
    return page


def _as_it_came(course: Course, learner: str, chapter: str) -> Path | None:
    """The file in the inbox that is the one marked, outputs and all; else the submission itself."""
    submitted = course.notebook("submitted", chapter, learner)
    if not submitted.is_file():
        return None
    stands = submitted.read_text("utf-8")
    for row in reversed(ledger(course)):
        path = course.root / row["file"]
        if (row["learner"], row["chapter"]) == (learner, chapter) and path.is_file():
            notebook, _ = load_notebook(path.read_bytes())
            if [c.source for c in notebook.cells] == [c.source for c in nbformat.reads(stands, 4).cells]:
                return path
    return submitted


def _told(trace: Trace, pair: Specimen | None) -> str:
    """The line of the work, and what stood in the eyepiece at each reading."""
    seconds = trace.moves[-1].ms // 1000 if trace.moves else 0
    noted = [place for place, move in enumerate(trace.moves) if move.control == "noted"]
    first = noted[0] if noted else len(trace.moves)
    set_first = any(move.control == "eyepiece" for move in trace.moves[:first])
    said = [
        f"{len(trace.turns)} turns of a control in {seconds // 60} min {seconds % 60} s.",
        f"The eyepiece was {'turned' if set_first else 'not turned'} before the first reading.",
        f"{len(trace.readings)} readings were noted.",
        "" if trace.whole else "There was no more room for the moves after these.",
    ]
    line = " → ".join(
        f"{trace.moves[made - 1].words} ({trace.moves[made - 1].ms // 1000} s)" for made in trace.turns
    )
    pictures = ""
    if pair is not None:
        wanted = (noted or [made for made in trace.turns])[:MOST_PICTURES]
        pictures = "".join(_picture(trace, pair, made) for made in wanted)
    return f"<p>{escape(' '.join(filter(None, said)))}</p><p>{escape(line)}</p>{pictures}"


def _picture(trace: Trace, pair: Specimen, moves: int) -> str:
    stood, settings = trace.after(moves), trace.settings(moves)
    met = EMPTY
    if stood["aside"] != "yes":
        place = (float(stood["stage_x_mm"]), float(stood["stage_y_mm"]))
        met = pair.spectacles.over_stop(str(stood["lens"]), *place, str(stood["against"]))
    figure = style.canvas(2.4, 2.4)
    draw_eyepiece(figure.add_axes((0, 0, 1, 1)), settings, met)
    eye, lines = stood["lens"], trace.moves[moves].value if moves < len(trace.moves) else ""
    words = f"{eye}, {lines} lines noted, drum {style.shown(settings.drum)}, wheel {style.degrees_shown(settings.wheel)}"
    return Diagram(
        figure, describe.eyepiece(settings, met), title="Eyepiece view", caption=words
    )._repr_html_()


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
    before = _before(course, learner, chapter)
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
                f"The answers to pair {letter} do not fit the pair that lay there; they fit that of {whom}."
            ]
    return []
