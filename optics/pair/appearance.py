"""A pair as it lies before you, as lines and words: what one sees, and no more.

A drawing and the notebook both show the same `Scene`, so that picture and words
never differ. It holds no power: what is in a lens is read elsewhere.

Positions are those of the view: x to the viewer's right from the middle of the
bridge and y up from the datum line. Seen from the front the wearer's right lens
is on the viewer's left; turned over, everything changes sides.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optics.lens.angles import rotation
from optics.lens.multifocal import Multifocal
from optics.lens.prism import EYES
from optics.lens.progressive import Progressive
from optics.lens.progressive_marks import Mark, ink_marks, marks
from optics.pair import outlines as outline
from optics.pair.charts import LaidChart, chart_with
from optics.pair.frame import Frame
from optics.pair.scene import Bend, Part, Place, Scene
from optics.pair.scene_words import told
from optics.pair.spectacles import Spectacles

LETTERS = 1.5
"""Engraved letters are shown this much larger than they are, so that they can be read."""


def front_scene(
    pair: Spectacles,
    frame: Frame,
    *,
    bends: Mapping[str, Bend] | None = None,
    smeared: Collection[str] = (),
    dots: Mapping[str, tuple[float, float]] | None = None,
    engraving: bool = False,
    ink: bool | Mapping[str, LaidChart] = False,
    turned_over: bool = False,
) -> Scene:
    """What one sees of a pair that lies before one.

    Parameters
    ----------
    pair : Spectacles
        The pair; where it stands bent, give it straight and say how in `bends`.
    frame : Frame
        Its frame.
    bends : mapping of eye to Bend, optional
        How each side is out of true.
    smeared : collection of eyes
        Lenses that are not clean; engraving is not seen on them.
    dots : mapping of eye to (float, float), optional
        Ink dots, pair coordinates, millimetres.
    engraving : bool
        Whether the pair is held so that faint engraving shows.
    ink : bool or mapping of eye to LaidChart
        Whether progressive lenses still carry the ink they came with, or the charts, as they
        lay on each lens, from which it was put back.
    turned_over : bool
        Whether the back is towards the viewer.
    """
    dots = dots or {}
    parts: list[Part] = [Part(name="bridge", kind="metal", points_mm=outline.bridge_mm(frame))]
    above: list[Part] = [Part(name="bridge", kind="metal", points_mm=_bridge_from_above(frame))]
    places = [Place(name="the middle of the bridge", along="x", at_mm=0.0)]
    for eye in "RL":
        bend = (bends or {}).get(eye, Bend())
        side, where = _side(frame, eye, bend)
        inside, seen = _in_lens(pair, eye, bend, engraving and eye not in smeared, ink)
        parts += side + inside
        places += where + seen
        if eye in smeared:
            parts += _smears(frame, eye, bend)
        if eye in dots:
            parts.append(Part(name="dot", kind="dot", points_mm=_circle(*dots[eye], 0.7), eye=eye))
            places += _both(f"the {EYES[eye]} dot", dots[eye], eye)
        above += _from_above(frame, eye, bend)
    order = _FROM_BACK if turned_over else _FROM_FRONT
    parts.sort(key=lambda part: order.index(part.kind))
    if turned_over:
        parts = [replace(part, points_mm=part.points_mm * [-1.0, 1.0]) for part in parts]
        above = [replace(part, points_mm=part.points_mm * [-1.0, -1.0]) for part in above]
        places = [replace(place, at_mm=-place.at_mm) if place.along == "x" else place for place in places]
    words = told(
        {eye: lens_style(pair, eye) for eye in "RL"},
        frame,
        bends=bends or {},
        smeared=smeared,
        dotted=tuple(dots),
        engraving=engraving,
        ink="RL" if ink is True else tuple(ink or ()),
        signs={eye: getattr(_bare(pair, eye), "sign", "") for eye in "RL"},
        turned_over=turned_over,
    )
    return Scene(
        parts=tuple(parts),
        from_above=tuple(above),
        places=tuple(places),
        words=words,
        turned_over=turned_over,
    )


# What lies behind comes first; pads and temples stand at the back.
_ON_LENS = ("lens", "segment", "engraved", "smear", "ink", "dot")
_FROM_FRONT = ("temple", "pad", "metal", "rim", *_ON_LENS)
_FROM_BACK = ("metal", "rim", *_ON_LENS, "pad", "temple")


def _bare(pair: Spectacles, eye: str) -> Any:
    """The lens itself, without a tilt or a turn put on it."""
    lens = pair.mounted(eye).lens
    while hasattr(lens, "lens"):
        lens = lens.lens
    return lens


def lens_style(pair: Spectacles, eye: str) -> str:
    """What kind of lens it is: the shape of its segment, "progressive", or "" for neither.

    A trifocal's shape is followed by "trifocal".
    """
    lens = _bare(pair, eye)
    if isinstance(lens, Multifocal):
        return lens.segment.shape + (" trifocal" if lens.segment.intermediate_mm else "")
    return "progressive" if isinstance(lens, Progressive) else ""


def _circle(x: float, y: float, radius: float, points: int = 37) -> NDArray[np.float64]:
    turn = np.linspace(0.0, 2.0 * np.pi, points)
    return np.stack([x + radius * np.cos(turn), y + radius * np.sin(turn)], -1)


def _both(name: str, at: tuple[float, float], eye: str) -> list[Place]:
    return [Place(name=name, along=along, at_mm=float(v), eye=eye) for along, v in zip("xy", at, strict=True)]


def _bridge_from_above(frame: Frame) -> NDArray[np.float64]:
    half = frame.bridge_mm / 2.0
    x = np.linspace(-half, half, 13)
    arch = -2.0 * (1.0 - (x / half) ** 2)
    return np.vstack([np.stack([x, arch - 1.2], -1), np.stack([x, arch + 1.2], -1)[::-1], [[-half, -1.2]]])


def _side(frame: Frame, eye: str, bend: Bend) -> tuple[list[Part], list[Place]]:
    """Rim, hinge, pad and temple of one side, and the places of its box."""
    up = np.array([0.0, bend.raised_mm])
    edge = outline.lens_outline_mm(frame, eye) + up
    lines = {
        "temple": outline.temple_end_mm(frame, eye, bend.lean_degrees),
        "metal": outline.end_piece_mm(frame, eye),
        "rim": outline.rim_outline_mm(frame, eye),
    }
    whose = f"of the {EYES[eye]} lens"
    parts = [Part(name=f"{EYES[eye]} {kind}", kind=kind, points_mm=line + up) for kind, line in lines.items()]
    parts.append(Part(name=f"{EYES[eye]} pad", kind="pad", points_mm=outline.pad_mm(frame, eye)))
    parts.append(Part(name=f"{EYES[eye]} lens", kind="lens", points_mm=edge, eye=eye))
    inner, outer = sorted((edge[:, 0].min(), edge[:, 0].max()), key=abs)
    return parts, [
        Place(name=f"the nasal edge {whose}", along="x", at_mm=float(inner), eye=eye),
        Place(name=f"the temporal edge {whose}", along="x", at_mm=float(outer), eye=eye),
        Place(name=f"the lowest point {whose}", along="y", at_mm=float(edge[:, 1].min()), eye=eye),
        Place(name=f"the highest point {whose}", along="y", at_mm=float(edge[:, 1].max()), eye=eye),
    ]


def _in_lens(
    pair: Spectacles, eye: str, bend: Bend, engraving: bool, ink: bool | Mapping[str, LaidChart]
) -> tuple[list[Part], list[Place]]:
    """Segment lines or marks of one lens, and the places they give."""
    lens = _bare(pair, eye)
    at = np.array(pair.reference_point_mm(eye)) + np.array([0.0, bend.raised_mm])
    turn = rotation(bend.turned_degrees)

    def placed(points: Any) -> NDArray[np.float64]:
        return np.asarray(points, dtype=float) @ turn.T + at

    whose = f"of the {EYES[eye]} lens"
    parts: list[Part] = []
    places: list[Place] = []
    if isinstance(lens, Multifocal):
        for line in lens.lines_mm():
            parts.append(Part(name="segment line", kind="segment", points_mm=placed(line), eye=eye))
        middle = placed([lens.segment_top])[0]
        upper = "upper line" if lens.segment.intermediate_mm else "line"
        places.append(Place(name=f"the {upper} {whose}", along="y", at_mm=float(middle[1]), eye=eye))
        if lens.segment.intermediate_mm:
            x, y = lens.segment_top
            lower = placed([(x, y + lens.segment.reading_line_mm)])[0, 1]
            places.append(Place(name=f"the lower line {whose}", along="y", at_mm=float(lower), eye=eye))
        if lens.segment.half_line_mm < 30.0:
            for edge in (parts[0].points_mm[:, 0].min(), parts[0].points_mm[:, 0].max()):
                side = "nasal" if abs(edge) < abs(middle[0]) else "temporal"
                name = f"the {side} side of the segment {whose}"
                places.append(Place(name=name, along="x", at_mm=float(edge), eye=eye))
    if isinstance(lens, Progressive):
        for mark, lands in _marks_seen(lens, engraving, ink):
            middle = placed(lands([(mark.x_mm, mark.y_mm)]))[0]
            kind = "engraved" if mark.permanent else "ink"
            parts += [
                replace(part, points_mm=placed(lands(part.points_mm))) for part in mark_parts(mark, kind, eye)
            ]
            if mark.name in _MEASURED_TO:
                places += _both(f"the {mark.name} {whose}", (float(middle[0]), float(middle[1])), eye)
    return parts, places


def _marks_seen(
    lens: Progressive, engraving: bool, ink: bool | Mapping[str, LaidChart]
) -> Iterator[tuple[Mark, Callable[[Any], NDArray[np.float64]]]]:
    """Marks that are seen of a lens, each with what carries its points onto the lens."""
    for mark in marks(lens, ink=ink is True):
        if engraving or not mark.permanent:
            yield mark, np.asarray
    laid = None if isinstance(ink, bool) else ink.get(lens.eye)
    if laid:
        for mark in ink_marks(chart_with(laid.sign).places(lens.eye)):
            yield mark, laid.lands


def mark_parts(mark: Mark, kind: str, eye: str | None = None) -> list[Part]:
    """A mark as lines or lettering, where it stands on its lens or its chart."""
    if mark.text:
        at, high = np.array([[mark.x_mm, mark.y_mm]]), LETTERS * mark.size_mm
        return [Part(name=mark.name, kind=kind, points_mm=at, eye=eye, text=mark.text, height_mm=high)]
    lines = _mark_lines(mark.shape, mark.x_mm, mark.y_mm, mark.size_mm / 2.0)
    return [Part(name=mark.name, kind=kind, points_mm=line, eye=eye) for line in lines]


# The other marks lie straight above or below one of these.
_MEASURED_TO = ("fitting cross", "engraved ring", "near circle")


def _mark_lines(shape: str, x: float, y: float, half: float) -> list[NDArray[np.float64]]:
    if shape in ("ring", "circle", "dot"):
        return [_circle(x, y, half)]
    level = np.array([[x - half, y], [x + half, y]])
    return [level, np.array([[x, y - half], [x, y + half]])] if shape == "cross" else [level]


def _smears(frame: Frame, eye: str, bend: Bend) -> list[Part]:
    """A thumb's mark: wavy strokes across the middle of the lens."""
    x, y = frame.boxing_centre_mm(eye)
    along = np.linspace(-0.30, 0.30, 41) * frame.lens_width_mm
    parts = []
    for row in (-2, -1, 0, 1, 2):
        wave = 1.1 * np.sin(along / 2.2 + row) + row * 3.2 + 0.12 * along + bend.raised_mm
        line = np.stack([x + along * (1.0 - 0.12 * abs(row)), y + wave], -1)
        parts.append(Part(name="smear", kind="smear", points_mm=line, eye=eye))
    return parts


def _from_above(frame: Frame, eye: str, bend: Bend) -> list[Part]:
    lean, bow = bend.lean_degrees, bend.bow_degrees
    return [
        Part(
            name=f"{EYES[eye]} temple",
            kind="temple",
            points_mm=outline.temple_from_above_mm(frame, eye, lean, bow),
        ),
        Part(
            name=f"{EYES[eye]} rim", kind="rim", points_mm=outline.front_from_above_mm(frame, eye, lean, bow)
        ),
    ]
