"""A reader that sees only the picture: it finds a lens's power as a person does.

It turns the drum and the wheel, looks, and judges nothing but how sharp the
lines are. It never meets the lens. If it can recover the power, so can a person;
if it cannot, the picture does not hold what a person needs.

How sharp a line set is, is read from its profile: the brightness across the
lines, added up along them. A set that lies in line, sharp and unbroken has a
steep profile; blur flattens it and so do dashes that slant. For the sphere lines
at wheel w the spread is |R n| with n along w, and

    |R n|^2 = (F_along(w) - P)^2 + T(w)^2

where T is the power's slanting part (its torsion), zero on a principal meridian.
So the steepness peaks evenly about P = F_along(w) as the drum turns, and about
the principal meridian as the wheel turns: both peaks are found between the steps
of the search from a few points on either side.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from optics.lens.angles import wrapped_axis
from optics.lens.power import Power

SEARCH_FROM, SEARCH_TO = 14.0, -14.0
"""Where the first search with the drum starts and ends, dioptres."""
FINEST_LINE, COARSEST_LINE = 6.0, 1.0
"""Range of detail that is judged, lines per prism dioptre."""

_FREQUENCIES = np.linspace(COARSEST_LINE, FINEST_LINE, 21)


@dataclass(frozen=True, slots=True)
class Look:
    """One look through the eyepiece.

    Parameters
    ----------
    step : str
        What the reader is doing, in bench words.
    drum, wheel : float
        Where the instrument stood, dioptres and degrees.
    lines : {"sphere", "cylinder"}
        Which lines were watched.
    sharpness : float
        How sharp they were; no unit, larger is sharper.
    """

    step: str
    drum: float
    wheel: float
    lines: str
    sharpness: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What the reader read.

    Parameters
    ----------
    sphere_lines, cylinder_lines : float
        Drum where each set was sharp, dioptres.
    wheel : float
        Axis wheel, degrees.
    looks : tuple of Look
        Every look, in order, so that a lesson can show how it went.
    """

    sphere_lines: float
    cylinder_lines: float
    wheel: float
    looks: tuple[Look, ...] = ()

    @property
    def cylinder(self) -> float:
        """Cylinder lines minus sphere lines, dioptres."""
        return self.cylinder_lines - self.sphere_lines

    @property
    def power(self) -> Power:
        """The power that was read."""
        return Power.from_sphere_cylinder(self.sphere_lines, self.cylinder, self.wheel)


def sharpness(picture: NDArray[np.float64], meridian: float, half_width: float) -> float:
    """How sharp the lines are that run across a meridian.

    Parameters
    ----------
    picture : ndarray, shape (n, n)
        Brightness in the eyepiece, row 0 at the top.
    meridian : float
        Degrees. The wheel's own for the sphere lines, 90 more for the cylinder
        lines.
    half_width : float
        From the middle to the edge of the picture, prism dioptres.

    Returns
    -------
    float
        Steepness of the profile across the lines, no unit.
    """
    steps, rim = _window(picture.shape[0], half_width)
    # The profile is wanted as its waves, and a wave across the picture is a wave
    # down times a wave along: two thin tables instead of a turned picture.
    turn = np.deg2rad(meridian)
    waves = 2j * np.pi * np.outer(_FREQUENCIES, steps)
    seen = np.sum((np.exp(np.sin(turn) * waves) @ (picture**2 * rim)) * np.exp(-np.cos(turn) * waves), axis=1)
    return float(np.sum((_FREQUENCIES * np.abs(seen)) ** 2)) / picture.size**2


@lru_cache(maxsize=4)
def _window(size: int, half_width: float) -> tuple[NDArray, NDArray]:
    """Places along the picture, and a fading towards its rim so that the edge counts for nothing."""
    steps = (np.arange(size) - size / 2 + 0.5) * (2.0 * half_width / size)
    inside = np.clip(1.0 - np.hypot(steps[:, None], steps[None, :]) / half_width, 0.0, 1.0)
    return steps, np.sin(np.pi / 2 * inside) ** 2


def _top(places: NDArray, values: Sequence[float]) -> float:
    """Where a peak stands, from the five points around the highest."""
    heights = np.log(values)
    start = int(np.clip(np.argmax(heights) - 2, 0, max(len(places) - 5, 0)))
    near = slice(start, start + 5)
    x = np.asarray(places, dtype=float)[near]
    bend, slope, _ = np.polyfit(x - x.mean(), heights[near], 2)
    if bend >= 0:
        return float(places[int(np.argmax(heights))])
    return float(x.mean() + np.clip(-slope / (2 * bend), x.min() - x.mean(), x.max() - x.mean()))


class _Hands:
    """One person's hands on the drum and the wheel, one eye at the eyepiece."""

    def __init__(self, look: Callable[[float, float], NDArray], half_width: float) -> None:
        self.look = look
        self.half_width = half_width
        self.looks: list[Look] = []
        self.standing: tuple[float, float] | None = None

    def see(self, step: str, drum: float, wheel: float, lines: str) -> float:
        wheel = wrapped_axis(wheel)
        if self.standing != (drum, wheel):
            self.standing, self.picture = (drum, wheel), self.look(drum, wheel)
        meridian = wheel if lines == "sphere" else wheel + 90.0
        seen = sharpness(self.picture, meridian, self.half_width)
        self.looks.append(Look(step, drum, wheel, lines, seen))
        return seen

    def turn_drum(
        self, step: str, wheel: float, lines: str, middle: float, reach: float, count: int
    ) -> float:
        """Turn the drum through a range, from plus to minus; where the lines were sharpest."""
        places = np.linspace(middle + reach, middle - reach, count)
        return _top(places, [self.see(step, drum, wheel, lines) for drum in places])

    def turn_wheel(self, drum: float, middle: float, reach: float) -> float:
        """Turn the wheel to and fro; where the sphere lines were sharp and unbroken."""
        places = np.linspace(middle - reach, middle + reach, 7)
        return _top(places, [self.see("turn the wheel", drum, wheel, "sphere") for wheel in places])

    def turn_wheel_round(self, drum: float) -> tuple[float, float]:
        """Turn the wheel through its whole scale; where the sphere lines were best, and by how much."""
        places = np.arange(15.0, 181.0, 15.0)
        heights = np.log([self.see("turn the wheel", drum, wheel, "sphere") for wheel in places])
        # Evenly about the principal meridian, and the same again after half a turn.
        wave = np.mean(heights * np.exp(2j * np.deg2rad(places)))
        return float(np.rad2deg(np.angle(wave)) / 2.0), float(abs(wave))

    def drum_to(self, lines: str, wheel: float, start: float) -> float:
        """The drum where one set is sharp, first roughly and then closely."""
        step = f"drum to the {lines} lines"
        rough = self.turn_drum(step, wheel, lines, start, 0.5, 9)
        return self.turn_drum(step, wheel, lines, rough, 0.12, 5)


def read_lens(look: Callable[[float, float], NDArray], *, half_width: float, form: str = "minus") -> Reading:
    """Read a lens from pictures alone.

    Parameters
    ----------
    look : callable
        `look(drum, wheel)` gives the picture in the eyepiece at these settings
        (dioptres, degrees), for example from `eyepiece_view`. A small one will do:
        96 pixels across 5 prism dioptres. The crossing stands within about one
        prism dioptre of the middle, as after dotting.
    half_width : float
        From the middle to the edge of those pictures, prism dioptres.
    form : {"minus", "plus"}
        Which way the wheel is left: with the sphere lines on the more plus power
        (minus-cylinder form) or on the more minus power.

    Returns
    -------
    Reading
        Both drum readings, the wheel, and every look on the way.

    Examples
    --------
    >>> from optics.instrument.focimeter import Settings, eyepiece_view
    >>> from optics.lens.lens import SingleVision
    >>> met = SingleVision(power=Power.from_sphere_cylinder(-2.25, -0.75, 15)).over_stop(0, 0)
    >>> def look(drum, wheel):
    ...     return eyepiece_view(Settings(drum=drum, wheel=wheel), met, size=96, half_width=2.5)
    >>> found = read_lens(look, half_width=2.5)
    >>> f"{found.sphere_lines:+.1f} {found.cylinder_lines:+.1f} {found.wheel:03.0f}"
    '-2.2 -3.0 015'
    """
    if form not in ("minus", "plus"):
        raise ValueError(f'form is "minus" or "plus", not {form!r}')
    hands = _Hands(look, half_width)
    drum, wheel = _find_the_lines(hands)
    sphere_lines = hands.drum_to("sphere", wheel, drum)
    cylinder_lines = _other_lines(hands, wheel, sphere_lines)
    if (cylinder_lines > sphere_lines) == (form == "minus"):
        wheel, sphere_lines, cylinder_lines = wheel + 90.0, cylinder_lines, sphere_lines
    for _ in range(2):
        wheel = _closer_wheel(hands, wheel, sphere_lines, cylinder_lines)
        sphere_lines = hands.turn_drum("drum to the sphere lines", wheel, "sphere", sphere_lines, 0.12, 5)
    cylinder_lines = hands.drum_to("cylinder", wheel, cylinder_lines)
    return Reading(
        sphere_lines=sphere_lines,
        cylinder_lines=cylinder_lines,
        wheel=wrapped_axis(wheel),
        looks=tuple(hands.looks),
    )


def _find_the_lines(hands: _Hands) -> tuple[float, float]:
    """Roughly where some lines come sharp: drum and wheel."""
    step = "look for the lines"
    sweep = np.arange(SEARCH_FROM, SEARCH_TO - 0.5, -1.0)
    seen = [hands.see(step, drum, 180.0, lines) for drum in sweep for lines in ("sphere", "cylinder")]
    drum = float(sweep[int(np.argmax(seen)) // 2])
    # Half way between the two powers of a lens every wheel position looks alike,
    # so look from both sides.
    sides = [(near, *hands.turn_wheel_round(near)) for near in (drum + 0.75, drum - 0.75)]
    near, wheel, _ = max(sides, key=lambda side: side[2])
    return hands.turn_drum(step, wheel, "sphere", near, 1.5, 13), wheel


def _closer_wheel(hands: _Hands, wheel: float, sphere_lines: float, cylinder_lines: float) -> float:
    """The wheel again, now that both powers are roughly known."""
    cylinder = cylinder_lines - sphere_lines
    if abs(cylinder) < 0.5:
        # A weak cylinder hardly breaks a sharp line. A little out of focus, on
        # the side away from the other power, the wheel tells more.
        return hands.turn_wheel_round(sphere_lines - np.copysign(0.25, cylinder))[0]
    # The stronger the cylinder, the less the wheel may stray before the lines break.
    return hands.turn_wheel(sphere_lines, wheel, float(np.rad2deg(np.arcsin(min(0.3 / abs(cylinder), 1.0)))))


def _other_lines(hands: _Hands, wheel: float, sphere_lines: float) -> float:
    """The drum for the cylinder lines, wherever it may be."""
    places = np.arange(6.0, -6.1, -0.5) + sphere_lines
    seen = [hands.see("drum to the cylinder lines", drum, wheel, "cylinder") for drum in places]
    return hands.drum_to("cylinder", wheel, float(places[int(np.argmax(seen))]))
