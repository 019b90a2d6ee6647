"""What a learner writes on the ticket for a whole pair.

Everything is kept as it was typed; what can be read is read, and what cannot is
told in a sentence beside it, so that nothing typed is ever lost.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from optics.errors import OpticsError, shown
from optics.lens.numbers import NUMBER, length_mm, pointed, power_of, tidied
from optics.lens.parsing import parse, parse_prism
from optics.lens.prescription import Prescription, written
from optics.lens.prism import EYES, Prism, nasal
from optics.lens.segment import SHAPES, STRAIGHT_ACROSS
from optics.marking.notation import only_reading
from optics.pair.frame import Frame
from optics.pair.records import LensRecord, PairRecord
from optics.specimens.briefs import BIFOCAL, PROGRESSIVE, SINGLE_VISION, STYLES, TRIFOCAL
from optics.specimens.orders import kind_of

_OF_A_LENS = ("", "add_", "prism_", "pd_", "height_")
SHOP_FIELDS = ("segment", "near_pd", "base_curve", "frame", "material", "thinning")
"""What a shop needs besides to make the pair again; it is told and not marked."""
FIELDS = (
    "style",
    *(f"{what}{side}" for what in _OF_A_LENS for side in ("right", "left")),
    *SHOP_FIELDS,
    "remarks",
)
"""The fields of a ticket: style; for each side the line, addition, prism, PD and height; what a
shop needs besides; remarks."""

_NOTHING = ("none", "no prism", "no add", "0", "0.00", "-")
_NAMES = {
    "sv": SINGLE_VISION,
    "single": SINGLE_VISION,
    "bifocals": BIFOCAL,
    "trifocals": TRIFOCAL,
    "progressives": PROGRESSIVE,
    "varifocal": PROGRESSIVE,
    "varifocals": PROGRESSIVE,
}


_ASKED = {"lines": "", "add": "add_", "prism": "prism_", "pd": "pd_", "heights": "height_"}


def fields_asked(asks: Collection[str]) -> tuple[str, ...]:
    """The fields that belong to what a question asks (`optics.marking.marks.ASKS`).

    Examples
    --------
    >>> fields_asked(("prism", "style"))
    ('style', 'prism_right', 'prism_left')
    """
    wanted = {f"{_ASKED[each]}{side}" for each in asks if each in _ASKED for side in EYES.values()}
    return tuple(name for name in FIELDS if name in wanted or (name == "style" and "style" in asks))


def field_name(name: str) -> str:
    """A field as it is called in a sentence.

    Examples
    --------
    >>> field_name("pd_right"), field_name("left")
    ('right PD', 'left line')
    """
    what, _, side = name.rpartition("_")
    if name in SHOP_FIELDS:
        return {"near_pd": "near PD", "thinning": "thinning prism"}.get(name, name.replace("_", " "))
    words = {"": "line", "add": "addition", "pd": "PD"}.get(what, what)
    return f"{side} {words}" if side in EYES.values() else name


@dataclass(frozen=True, slots=True, kw_only=True)
class LensAnswer:
    """One lens as a learner wrote it; what was not written is left out.

    Parameters
    ----------
    distance : Prescription, optional
        The distance power alone, in the form it was written in.
    add : float, optional
        Dioptres.
    prism : tuple of (float, str or float), optional
        As in `Prescription`; empty where "none" was written.
    pd_mm, height_mm : float, optional
        Millimetres; the height over the lowest point of the lens.
    """

    distance: Prescription | None = None
    add: float | None = None
    prism: tuple[tuple[float, str | float], ...] | None = None
    pd_mm: float | None = None
    height_mm: float | None = None

    @property
    def line(self) -> Prescription | None:
        """The whole line, addition and prism with it; none without a distance power."""
        if self.distance is None:
            return None
        return replace(self.distance, add=self.add, prism=self.prism or (), no_prism=self.prism == ())

    def prism_met(self, eye: str) -> Prism | None:
        """The written prism as a vector; none where nothing was written of it."""
        if self.prism is None:
            return None
        return Prism.of_parts(self.prism, eye)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ticket:
    """A whole pair as a learner wrote it.

    Parameters
    ----------
    right, left : LensAnswer
        The two lenses.
    style : str, optional
        One of `STYLES`.
    segment : (str, float or None), optional
        Shape, one of `optics.lens.segment.SHAPES`, and width, millimetres.
    near_pd_mm : float, optional
        Of both eyes together.
    base_curve : float, optional
        Dioptres, as a lens measure shows it.
    frame_mm : (float, float), optional
        Eye size and bridge.
    material : str
        As far as it is known.
    thinning : float, optional
        Prism base down that only makes a progressive thinner, prism dioptres; 0 where
        "none" was written.
    remarks : str
        Whatever else was written.
    typed : dict of str to str
        Every field as it was typed, to be kept in a file; `read_answer` reads it again.
    refused : dict of str to OpticsError
        Fields that could not be read, and why.
    """

    right: LensAnswer = field(default_factory=LensAnswer)
    left: LensAnswer = field(default_factory=LensAnswer)
    style: str | None = None
    segment: tuple[str, float | None] | None = None
    near_pd_mm: float | None = None
    base_curve: float | None = None
    frame_mm: tuple[float, float] | None = None
    material: str = ""
    thinning: float | None = None
    remarks: str = ""
    typed: dict[str, str] = field(default_factory=dict)
    refused: dict[str, OpticsError] = field(default_factory=dict)

    @property
    def unread(self) -> dict[str, str]:
        """Fields that could not be read, each with a sentence that says why."""
        return {name: str(error) for name, error in self.refused.items()}

    def of(self, eye: str) -> LensAnswer:
        """The lens of that eye, "R" or "L"."""
        return self.right if nasal(eye) > 0 else self.left

    def written(self, eye: str) -> str:
        """The line of that eye as it was typed, addition and prism left where they were."""
        return self.typed.get(EYES[eye], "")

    def record(self) -> PairRecord:
        """The ticket as a pair on paper, to be held against an order.

        Raises
        ------
        OpticsError
            Where one of the lenses has no distance power yet.
        """
        lenses = {}
        for eye in "RL":
            lens = self.of(eye)
            if lens.line is None:
                raise OpticsError(
                    f"The {EYES[eye]} lens has no power on the ticket yet.",
                    "Both lenses are needed to hold a pair against its order.",
                    "Read it and write its line.",
                )
            lenses[EYES[eye]] = LensRecord(
                line=lens.line, prism=lens.prism_met(eye), pd_mm=lens.pd_mm, height_mm=lens.height_mm
            )
        kind = kind_of(self.style or SINGLE_VISION)
        return PairRecord(**lenses, lens=kind, is_kind_read=self.style is not None)


def read_answer(typed: Mapping[str, object], form: str | None = None) -> Ticket:
    """Read a ticket, field by field.

    Parameters
    ----------
    typed : mapping of str to text or number
        Any of `FIELDS`. Addition and prism may stand in the line or in fields of
        their own.
    form : {"minus", "plus"}, optional
        The form asked for, where the ticket is marked: what is refused and has only one
        reading (a comma; see `optics.marking.notation.only_reading`) is then read, and
        stays in `unread`, because it was written so that it may be misread.

    Returns
    -------
    Ticket
        What cannot be read is in `unread`, with its sentence; the rest is read all
        the same.

    Raises
    ------
    ValueError
        For a field that a ticket does not have.

    Examples
    --------
    >>> ticket = read_answer({"style": "bifocal", "right": "+1.00 DS add +2.00", "pd_right": "31,5"})
    >>> print(ticket.right.line)
    R +1.00 DS add +2.00
    >>> ticket.unread["pd_right"]
    'The right PD is "31,5". A length is one number in millimetres, with a decimal point. Write 31.5.'
    """
    unknown = set(typed) - set(FIELDS)
    if unknown:
        raise ValueError(f"a ticket has no field {', '.join(sorted(unknown))}")
    texts = {
        name: value if isinstance(value, str) else "" if value is None else shown(value)
        for name, value in typed.items()
    }
    refused: dict[str, OpticsError] = {}

    def read(name: str, reader: Callable[..., Any], *told: Any) -> Any:
        text = texts.get(name, "").strip()
        if not text:
            return None
        try:
            return reader(text, *told)
        except OpticsError as error:
            refused[name] = error
            mended = pointed(text) if form is not None else None
            return None if mended is None or name in EYES.values() else _tried(reader, mended, *told)

    lenses = {}
    for eye, side in EYES.items():
        line: Prescription | None = read(side, _line, eye)
        if side in refused and form is not None:
            only = only_reading(texts[side], form)
            line = replace(only, eye=eye) if only is not None and only.eye in (None, eye) else None
        add = read(f"add_{side}", _add, side, line)
        prism = read(f"prism_{side}", _prism, side, line)
        if line is not None:
            add = line.add if add is None else add
            said = line.prism or line.no_prism
            prism = line.prism if prism is None and said else prism
        lenses[side] = LensAnswer(
            distance=None if line is None else replace(line, add=None, prism=(), no_prism=False),
            add=add,
            prism=prism,
            pd_mm=read(f"pd_{side}", length_mm, f"{side} PD"),
            height_mm=read(f"height_{side}", length_mm, f"{side} height"),
        )
    return Ticket(
        **lenses,
        style=read("style", _style),
        segment=read("segment", _segment),
        near_pd_mm=read("near_pd", length_mm, "near PD"),
        base_curve=read("base_curve", _unsigned, "base curve"),
        frame_mm=read("frame", _frame),
        material=texts.get("material", "").strip(),
        thinning=read("thinning", _thinning),
        remarks=texts.get("remarks", ""),
        typed=texts,
        refused=refused,
    )


def _tried(reader: Callable[..., Any], text: str, *told: Any) -> Any:
    try:
        return reader(text, *told)
    except OpticsError:
        return None


def _line(text: str, eye: str) -> Prescription:
    line = parse(text)
    if line.eye not in (None, eye):
        raise OpticsError(
            f'The line for {eye} says "{line.eye}".',
            "The right lens stands in the first line, the left in the second.",
            "Move it to its own line, or mend the letter.",
        )
    return replace(line, eye=eye)


def _add(text: str, side: str, line: Prescription | None) -> float | None:
    clean = tidied(text, what="An addition")
    if clean in _NOTHING:
        return None
    number = power_of(re.sub("^add ?", "", clean), f"{side} addition", signed=False)
    add = Prescription(sphere=0.0, add=number).add
    if line is not None and line.add not in (None, add):
        raise OpticsError(
            f"The {side} addition is {written(add or 0.0)} here and {written(line.add or 0.0)} in the line.",
            "A lens has one addition.",
            "Write it once.",
        )
    return add


def _prism(text: str, side: str, line: Prescription | None) -> tuple[tuple[float, str | float], ...]:
    prism = () if tidied(text, what="A prism") in _NOTHING else parse_prism(text)
    if line is not None and (line.prism or line.no_prism) and line.prism != prism:
        raise OpticsError(
            f"The {side} prism is written twice, and not alike.", "A lens has one prism.", "Write it once."
        )
    return prism


def _segment(text: str) -> tuple[str, float | None]:
    found = re.fullmatch(r"([a-z -]+?) ?([0-9]{2}(?:\.[0-9])?)?(?: ?mm)?", tidied(text, what="A segment"))
    shape = found[1].replace(" ", "-") if found else ""
    if not found or shape not in SHAPES or (found[2] is None and shape != STRAIGHT_ACROSS):
        raise OpticsError(
            f"The segment is {shown(text)}.",
            f"It is {', '.join(SHAPES[:-1])} or {SHAPES[-1]}, with its width in millimetres.",
            'Write it like "flat-top 28".',
        )
    return shape, None if found[2] is None else float(found[2])


def _frame(text: str) -> tuple[float, float]:
    frame = Frame.marked(text, lens_height_mm=30.0)
    return frame.lens_width_mm, frame.bridge_mm


def _unsigned(text: str, name: str) -> float:
    return power_of(text, name, signed=False)


def _thinning(text: str) -> float:
    clean = tidied(text, what="A prism")
    if clean in _NOTHING:
        return 0.0
    if re.fullmatch(NUMBER, clean):
        clean += " base down"
    parts = parse_prism(clean)
    if len(parts) != 1 or parts[0][1] != "down":
        raise OpticsError(
            f"The thinning prism is {shown(text)}.",
            "It lies base down, and alike in both lenses.",
            'Write it like "1.50 base down", or none.',
        )
    return float(parts[0][0])


def _style(text: str) -> str:
    name = tidied(text, what="A lens style")
    name = _NAMES.get(name, name)
    if name not in STYLES:
        raise OpticsError(
            f'The lens style is "{text}".', f"It is {', '.join(STYLES[:-1])} or {STYLES[-1]}.", "Name it."
        )
    return name
