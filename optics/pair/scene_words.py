"""A pair as it lies before you, in words: the same for a picture's text and for a screen reader."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Protocol

from optics.lens.prism import EYES
from optics.pair.frame import Frame

LEAST_SEEN_DEGREES = 3.0
"""A lean or a turn smaller than this is not noticed."""
LEAST_SEEN_MM = 1.0

_SEGMENTS = {
    "flat-top": "a segment with a straight top and a round lower edge",
    "round": "a round segment",
    "straight-across": "a line from edge to edge",
    "flat-top trifocal": "a segment with a straight top, and a second line across it",
    "straight-across trifocal": "two lines from edge to edge",
}


class _Bent(Protocol):
    """What is asked of a bend."""

    @property
    def lean_degrees(self) -> float: ...
    @property
    def bow_degrees(self) -> float: ...
    @property
    def turned_degrees(self) -> float: ...
    @property
    def raised_mm(self) -> float: ...


def told(
    styles: Mapping[str, str],
    frame: Frame,
    *,
    bends: Mapping[str, _Bent],
    smeared: Collection[str] = (),
    dotted: Collection[str] = (),
    engraving: bool = False,
    ink: Collection[str] = (),
    signs: Mapping[str, str] | None = None,
    turned_over: bool = False,
) -> str:
    """What one sees of a pair, in sentences.

    Parameters
    ----------
    styles : mapping of eye to str
        As `optics.pair.appearance.lens_style` gives them.
    frame : Frame
        The frame; its measures are marked on it.
    bends, smeared, engraving, turned_over
        As for `optics.pair.appearance.front_scene`.
    dotted, ink : collection of eyes
        Lenses with an ink dot, and with the marks of a progressive in ink.
    signs : mapping of eye to str, optional
        What is engraved under the nasal ring of a progressive.

    Examples
    --------
    >>> frame = Frame(lens_width_mm=52, lens_height_mm=40, bridge_mm=18)
    >>> print(told({"R": "", "L": ""}, frame, bends={}))
    A pair seen from the front, the temples pointing away from you; the wearer's right lens is on your left. The frame is marked 52-18 and lies true. No line is seen in either lens.
    """
    towards, side = ("back", "right") if turned_over else ("front", "left")
    point = "towards you" if turned_over else "away from you"
    # A turn shows only where a line or a mark turns with the lens.
    turn_shows = {
        eye: style in _SEGMENTS
        or (style == "progressive" and (eye in ink or (engraving and eye not in smeared)))
        for eye, style in styles.items()
    }
    said = [
        f"A pair seen from the {towards}, the temples pointing {point}; "
        f"the wearer's right lens is on your {side}.",
        f"The frame is marked {frame.lens_width_mm:g}-{frame.bridge_mm:g}{_true(bends, turn_shows)}",
        _lenses(styles, smeared, engraving, ink, signs or {}),
    ]
    if smeared:
        said.append(f"{_whose(smeared)} smeared.")
    if dotted:
        said.append(f"{_whose(dotted, 'has a dot', 'each have a dot')} in ink.")
    return " ".join(part for part in said if part)


def _whose(eyes: Collection[str], one: str = "is", both: str = "are") -> str:
    if len(eyes) == 2:
        return f"Both lenses {both}"
    return f"The {EYES[next(iter(eyes))]} lens {one}"


def _true(bends: Mapping[str, _Bent], turn_shows: Mapping[str, bool]) -> str:
    faults = []
    for eye in "RL":
        bend = bends.get(eye)
        if bend is None:
            continue
        side = f"the {EYES[eye]} side"
        if abs(bend.lean_degrees) >= LEAST_SEEN_DEGREES:
            way = "up" if bend.lean_degrees > 0 else "down"
            faults.append(f"{side} leans and its temple points {way}")
        if abs(bend.bow_degrees) >= LEAST_SEEN_DEGREES:
            way = "back" if bend.bow_degrees > 0 else "forward"
            faults.append(f"seen from above, {side} is bent {way} and its temple is out of line")
        if abs(bend.raised_mm) >= LEAST_SEEN_MM:
            faults.append(f"{side} sits {'higher' if bend.raised_mm > 0 else 'lower'} than the other")
        if turn_shows[eye] and abs(bend.turned_degrees) >= LEAST_SEEN_DEGREES:
            faults.append(f"what is on the {EYES[eye]} lens slopes")
    return f". It is out of true: {'; '.join(faults)}." if faults else " and lies true."


def _lenses(
    styles: Mapping[str, str],
    smeared: Collection[str],
    engraving: bool,
    ink: Collection[str],
    signs: Mapping[str, str],
) -> str:
    seen = {
        eye: _in_lens(styles[eye], engraving and eye not in smeared, eye in ink, signs.get(eye, ""))
        for eye in "RL"
    }
    if seen["R"] == seen["L"]:
        same = seen["R"]
        if not same:
            return "No line is seen in either lens."
        return f"In each lens: {same}."
    told_of = [
        f"in the {EYES[eye]} lens: {seen[eye] or 'no line is seen'}".replace(": no line", " no line")
        for eye in "RL"
    ]
    return f"{told_of[0][0].upper()}{told_of[0][1:]}; {told_of[1]}."


def _in_lens(style: str, engraving: bool, ink: bool, sign: str) -> str:
    if style in _SEGMENTS:
        return _SEGMENTS[style]
    if style != "progressive":
        return ""
    seen = []
    if engraving:
        seen.append(
            "two small rings are engraved, with the addition under the temporal one and the maker's "
            f"sign {sign} under the nasal one"
        )
    if ink:
        seen.append(
            "fitting cross, distance circle, near circle, prism reference point and level lines stand in ink"
        )
    return ", and ".join(seen)
