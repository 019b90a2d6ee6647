"""What one sees of a pair of spectacles, in plain values: lines, letters, places and sentences.

Positions are those of the view: x to the viewer's right from the middle of the
bridge and y up from the datum line, millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

NEAR_PLACE_MM = 0.75
"""How near a mark of the rule must be to a place to stand on it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bend:
    """How one side of a pair is out of true, as one sees it.

    Parameters
    ----------
    lean_degrees : float
        Lean about the horizontal, as after a twist of the bridge or the temple;
        with a positive lean the temple points up.
    bow_degrees : float
        Lean about the vertical; positive is bent back, away from the front.
    turned_degrees : float
        How far the lens is turned, anticlockwise seen from the front.
    raised_mm : float
        How much higher the side sits than it should.
    """

    lean_degrees: float = 0.0
    bow_degrees: float = 0.0
    turned_degrees: float = 0.0
    raised_mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One line, or one piece of lettering, of a scene.

    Parameters
    ----------
    name : str
        What it is.
    kind : {"rim", "lens", "metal", "pad", "temple", "segment", "engraved", "ink", "dot", "smear"}
        How it is to be drawn.
    points_mm : ndarray, shape (n, 2)
        The line; for lettering its middle alone.
    eye : {"R", "L"}, optional
        Lens that the part is on: nothing of it shows outside that lens.
    text : str
        Lettering.
    height_mm : float
        Height of lettering.
    """

    name: str
    kind: str
    points_mm: NDArray[np.float64]
    eye: str | None = None
    text: str = ""
    height_mm: float = 0.0


def plain(part: Part) -> dict[str, Any]:
    """A part as plain values, for a browser."""
    points = np.round(part.points_mm, 2).tolist()
    return {"kind": part.kind, "points": points, "eye": part.eye or ""} | (
        {"text": part.text, "height": part.height_mm} if part.text else {}
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A place that a rule can be laid to.

    Parameters
    ----------
    name : str
        What it is.
    along : {"x", "y"}
        Whether it is a distance across or a height.
    at_mm : float
        Where.
    eye : {"R", "L"}, optional
        Lens it belongs to.
    """

    name: str
    along: str
    at_mm: float
    eye: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What one sees of a pair.

    Parameters
    ----------
    parts : tuple of Part
        Seen from the front (or, turned over, from the back), what lies behind first.
    from_above : tuple of Part
        The frame seen from above, with what is further from the viewer higher up.
    places : tuple of Place
        Where a rule can be laid to.
    words : str
        The same in sentences.
    turned_over : bool
        Whether the back is towards the viewer.
    """

    parts: tuple[Part, ...]
    from_above: tuple[Part, ...]
    places: tuple[Place, ...]
    words: str
    turned_over: bool = False

    def lens_outline(self, eye: str) -> NDArray[np.float64]:
        """The edge of that eye's lens, closed, millimetres."""
        return next(p.points_mm for p in self.parts if p.kind == "lens" and p.eye == eye)

    def standing_on(self, along: str, at_mm: float, eye: str | None = None) -> str:
        """The place a mark of the rule stands on, or "".

        Parameters
        ----------
        along : {"x", "y"}
            Whether the rule lies across or upright.
        at_mm : float
            Where the mark stands.
        eye : {"R", "L"}, optional
            Lens that an upright rule is held against.
        """
        near = [
            (abs(place.at_mm - at_mm), place.name)
            for place in self.places
            if place.along == along and (along == "x" or eye in (None, place.eye))
        ]
        distance, name = min(near, default=(np.inf, ""))
        return name if distance <= NEAR_PLACE_MM else ""

    def to_plain(self) -> dict[str, Any]:
        """The scene as plain values, for a browser."""
        return {
            "parts": [plain(part) for part in self.parts],
            "above": [plain(part) for part in self.from_above],
            "words": self.words,
            "turned_over": self.turned_over,
        }
