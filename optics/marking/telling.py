"""How a check speaks to the learner, and to the instructor's report.

A check shows words in a frame and keeps, beside them, the same result as data
for the class report. In a notebook it is displayed; when an instructor marks
without running notebooks, the same bundles are collected instead.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field, replace
from html import escape
from typing import Any

from optics.instrument.trace import TRACE_MIME
from optics.marking.marks import Marks, Off, of_a_sphere

MARKS_MIME = "application/vnd.optics.marks+json"

_collected: ContextVar[tuple[list[dict[str, Any]], float] | None] = ContextVar("collected", default=None)

NO_NAME = "No name yet"
"""The state of an answer that cannot be marked, because the name decides what is right."""

# State in words and by the line at the side, never by colour alone.
_FRAMES = {
    "Right": ("✓", "solid", "#009E73"),
    "Not yet": ("…", "dashed", "#D55E00"),
    "Not answered yet": ("○", "dotted", "#777777"),
    NO_NAME: ("○", "dotted", "#777777"),
    "Recorded": ("▪", "solid", "#0072B2"),
    "Marked": ("▪", "solid", "#0072B2"),
    "For your information": ("▪", "solid", "#0072B2"),
}


_NOTHING = (
    "<style>.jp-OutputArea-executeResult:has(.optics-mark) { display: none; }</style>"
    '<span class="optics-mark"></span>'
)


class Mark(float):
    """A mark, the value of a check cell.

    nbgrader reads it as a plain number. A learner would only be puzzled by "0.0"
    under a reply that has said everything, so a notebook shows nothing for it, nor
    an empty row with the cell's number.
    """

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> dict[str, str]:
        return {"text/plain": repr(self), "text/html": _NOTHING}


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """What a check has to say.

    Parameters
    ----------
    state : {"Right", "Not yet", "Not answered yet", "No name yet", "Recorded", "Marked", "For your information"}
        The headline.
    sentences : tuple of str
        What is right, what is not, where to look next.
    marks : Marks, optional
        What was earned.
    slips : tuple of str
        Names of the habits that explain a wrong answer.
    either : tuple of tuple of str
        Where the numbers cannot tell, the habits of each explanation, `slips` first.
    trace : dict, optional
        How the instrument was worked before this answer; see `optics.instrument.trace`.
    notation : tuple of str
        Of the sentences those on how it was written, which are told before hand-in as well.
    taken : bool
        Whether the answer could be taken as one; what cannot be read may be mended at once.
    where : {"", "bench", "paper"}
        Whether it was read or worked out, if that is known.
    offs : tuple of Off
        How far off what was written is, where it was read of a pair. Kept only with marks, which
        are given after hand-in: before that they would give the pair away.
    """

    state: str
    sentences: tuple[str, ...] = ()
    marks: Marks | None = None
    slips: tuple[str, ...] = field(default=())
    either: tuple[tuple[str, ...], ...] = ()
    trace: dict[str, Any] | None = None
    notation: tuple[str, ...] = ()
    taken: bool = True
    where: str = ""
    offs: tuple[Off, ...] = ()

    @property
    def plain(self) -> str:
        """The reply as plain text."""
        lines = [f"{self.state}.", *self.sentences]
        if self.marks is not None and self.marks.counts:
            lines.append(f"{_marks(self.marks)}.")
            lines += [self.marks.note] if self.marks.note else []
        return " ".join(lines)

    @property
    def html(self) -> str:
        """The reply as a framed paragraph."""
        sign, dash, colour = _FRAMES[self.state]
        body = "".join(f"<br>{escape(sentence)}" for sentence in self.sentences)
        marks = (
            f"<br><small>{_marks(self.marks)}. {escape(self.marks.note)}</small>"
            if self.marks is not None and self.marks.counts
            else ""
        )
        return (
            f'<div role="status" style="border-left:4px {dash} {colour};padding:2px 10px;max-width:46em">'
            f'<span aria-hidden="true">{sign}</span> <strong>{self.state}.</strong>{body}{marks}</div>'
        )

    @property
    def bundle(self) -> dict[str, Any]:
        """The reply in every form a notebook may want."""
        data: dict[str, Any] = {"state": self.state, "slips": list(self.slips)}
        if not self.taken:
            data["taken"] = False
        if self.where:
            data["where"] = self.where
        if self.slips:
            data["told"] = list(self.sentences)
        if len(self.either) > 1:
            data["either"] = [list(names) for names in self.either]
        if self.marks is not None:
            data["counts"] = self.marks.counts
            data["missed"] = list(self.marks.missed)
            if self.offs and self.marks.counts:
                data["offs"] = [[off.eye, off.skill, round(off.amount, 3)] for off in self.offs]
            if self.marks.harm:
                data["at most"] = self.marks.at_most
            data["skills"] = {
                skill: [round(got, 3), round(of, 3)] for skill, (got, of) in self.marks.skills.items()
            }
        carried = {TRACE_MIME: self.trace} if self.trace else {}
        return {"text/plain": self.plain, "text/html": self.html, MARKS_MIME: data, **carried}


def last_word(cell: Mapping[str, Any]) -> dict[str, Any] | None:
    """What the check of a notebook's cell said last, as data: the hidden one, which gives the marks."""
    said = (output.get("data", {}).get(MARKS_MIME) for output in cell.get("outputs", ()))
    found = [data for data in said if isinstance(data, dict) and data.get("skills")]
    return found[-1] if found else None


def skills_told(said: Mapping[str, Any]) -> dict[str, tuple[float, float]]:
    """Marks got and possible by the skill that they show, of a check's last word.

    Those for the cylinder of a sphere only say that none was invented, and go with the sphere's.

    Examples
    --------
    >>> skills_told({"skills": {"sphere": [2, 3], "cylinder": [3, 3], "notation": [1, 1]}})
    {'sphere': (5.0, 6.0), 'notation': (1.0, 1.0)}
    """
    found = {str(skill): (float(got), float(of)) for skill, (got, of) in said.get("skills", {}).items()}
    if of_a_sphere(found):
        got, of = found.pop("cylinder")
        found["sphere"] = (found["sphere"][0] + got, found["sphere"][1] + of)
    return found


def _marks(marks: Marks) -> str:
    return f"Marks: {amount(marks.total)} of {amount(marks.possible)}"


def amount(value: float) -> str:
    """Marks or points as they are told: one decimal, and none where it is 0.

    Examples
    --------
    >>> amount(12.8571), amount(19.9997)
    ('12.9', '20')
    """
    return f"{value:.1f}".removesuffix(".0")


def so_far(rights: Mapping[str, bool | str | None]) -> str:
    """How practice stands, by the names of its check cells.

    None where nothing was answered, and `NO_NAME` where no name was typed.

    Examples
    --------
    >>> so_far({"recall-1-check": True, "my-zero-check": False, "drum-check": None})
    'Practice: 1 of 3 right. Not right yet: my zero. Not answered yet: drum.'
    """
    return f"Practice: {sum(it is True for it in rights.values())} of {len(rights)} right.{not_yet(rights)}"


def not_yet(rights: Mapping[str, bool | str | None]) -> str:
    """The questions that are not right yet, not answered or without a name, in a sentence each; nothing for none."""
    told = ""
    for words, state in (
        ("Not right yet", False),
        ("Not answered yet", None),
        (f"{NO_NAME}, so not marked", NO_NAME),
    ):
        names = [name.removesuffix("-check").replace("-", " ") for name, it in rights.items() if it == state]
        told += f" {words}: {', '.join(names)}." if names else ""
    if NO_NAME in rights.values():
        told += " Type your name in the cell at the top, run that cell, and save before you ask again."
    return told


LATER = "What counts is marked by your instructor, after you hand in."


@contextmanager
def collecting(weight: float = 1.0) -> Iterator[list[dict[str, Any]]]:
    """Collect what checks say instead of displaying it, marks told times a weight.

    Yields
    ------
    list of dict
        One MIME bundle for each reply, in order.
    """
    said: list[dict[str, Any]] = []
    token = _collected.set((said, weight))
    try:
        yield said
    finally:
        _collected.reset(token)


def _before_hand_in(reply: Reply) -> Reply:
    """What the learner's own notebook shows: of what is marked, only that it can be read."""
    counts = reply.marks is not None and reply.marks.counts
    if not counts or not reply.taken or reply.state not in ("Right", "Not yet"):
        return replace(reply, marks=None) if counts else reply
    sentences = ("Your answer can be read. It is marked after you hand in.", *reply.notation)
    return Reply(state="Recorded", sentences=sentences)


def tell(reply: Reply) -> Mark:
    """Show a reply and give its marks as a plain number.

    In a notebook a marked question is answered after hand-in, practice at once.

    Returns
    -------
    Mark
        The marks, because the last value of a check cell *is* its mark.
    """
    if (collected := _collected.get()) is not None:
        said, weight = collected
        marks = reply.marks.times(weight) if reply.marks is not None else None
        said.append(replace(reply, marks=marks).bundle)
    else:
        from IPython.display import display

        display(_before_hand_in(reply).bundle, raw=True)
    return Mark(reply.marks.total if reply.marks is not None else 0.0)
