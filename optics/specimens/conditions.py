"""What is wrong with a pair as it comes in: twisted, bent, smeared.

A condition changes what the instrument meets, by the optics of a lens that leans,
is turned, or carries a film of grease, until the pair is trued and cleaned.

Grease in ripples a fraction of a micrometre high and some millimetres apart has
powers of tenths of a dioptre that change from place to place, so that no two
readings of a smeared lens agree. That is worked out below as for any thin lens;
that a smear also dims the picture is left out.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optics.lens.laid_flat import Body, Shape, Sheet, TwoSurfaces, body_of
from optics.lens.lens import Lens
from optics.lens.prism import nasal
from optics.pair.bent import bent
from optics.pair.spectacles import Spectacles
from optics.specimens.briefs import FRONT_BENT, SMEARED, TEMPLE_TWISTED, Brief
from optics.specimens.random import stream

GREASE_INDEX = 1.47
"""Refractive index of skin grease, about (from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ripple:
    """One even ripple in a film.

    Parameters
    ----------
    height_um : float
        Half of its height, micrometres.
    period_mm : float
        Crest to crest, millimetres.
    towards : float
        Direction across the crests, degrees.
    phase : float
        Where the first crest lies, degrees of a period.
    """

    height_um: float
    period_mm: float
    towards: float
    phase: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Smeared(TwoSurfaces):
    """A lens with a film of grease on its front.

    Parameters
    ----------
    lens : Lens
        The lens under it.
    ripples : tuple of Ripple
        The film.
    """

    lens: Lens
    ripples: tuple[Ripple, ...]

    @property
    def body(self) -> Body:
        """The lens as light meets it."""
        body = body_of(self.lens)
        if body is None:
            raise TypeError("a film lies on a surface, and a lens of one power has none")
        return replace(body, front=_Filmed(body.front, self.ripples, body.index))


@dataclass(frozen=True, slots=True)
class _Filmed(Sheet):
    """A front surface under a film: as much higher in the lens's own index as the film bends light."""

    sheet: Sheet
    ripples: tuple[Ripple, ...]
    index: float

    def shape(self, x_mm: NDArray, y_mm: NDArray) -> Shape:
        z, dz, ddz = self.sheet.shape(x_mm, y_mm)
        z, dz, ddz = z.copy(), dz.copy(), ddz.copy()
        for ripple in self.ripples:
            turn = np.deg2rad(ripple.towards)
            wave = 2.0 * np.pi / ripple.period_mm * np.array([np.cos(turn), np.sin(turn)])
            at = x_mm * wave[0] + y_mm * wave[1] + np.deg2rad(ripple.phase)
            # Sags count towards the eye, and the film stands away from it.
            high = -ripple.height_um / 1000.0 * (GREASE_INDEX - 1.0) / (self.index - 1.0)
            z += high * np.cos(at)
            dz -= high * np.sin(at)[..., None] * wave
            ddz -= high * np.cos(at)[..., None, None] * np.outer(wave, wave)
        return z, dz, ddz

    def added(self, x_mm: NDArray, y_mm: NDArray) -> tuple[NDArray, NDArray]:
        return self.sheet.added(x_mm, y_mm)

    def line(self) -> dict[str, Any] | None:
        return self.sheet.line()


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """One thing that is wrong with a pair, and by how much.

    Parameters
    ----------
    name : {"temple twisted", "front bent", "smeared"}
        What it is.
    eye : {"R", "L"}
        Lens that it touches.
    tilt_degrees, tilt_axis, turned_degrees, off_stop_mm : float
        As `optics.pair.bent.bent` takes them.
    ripples : tuple of Ripple
        The film of a smeared lens.
    """

    name: str
    eye: str
    tilt_degrees: float = 0.0
    tilt_axis: float = 180.0
    turned_degrees: float = 0.0
    off_stop_mm: float = 0.0
    ripples: tuple[Ripple, ...] = ()

    @property
    def mend(self) -> str:
        """What to do about it, as a sentence."""
        side = "right" if self.eye == "R" else "left"
        return {
            TEMPLE_TWISTED: f"The {side} side is twisted: true the frame until both temples lie in one plane.",
            FRONT_BENT: f"The {side} side of the front is bent: true the frame until both lenses lie in one plane.",
            SMEARED: f"The {side} lens is smeared: clean it.",
        }[self.name]

    def put_on(self, pair: Spectacles) -> Spectacles:
        """The pair with this wrong with it."""
        if self.name == SMEARED:
            mounted = pair.mounted(self.eye)
            filmed = replace(mounted, lens=Smeared(lens=mounted.lens, ripples=self.ripples))
            return replace(pair, right=filmed) if nasal(self.eye) > 0 else replace(pair, left=filmed)
        return bent(
            pair,
            self.eye,
            tilt_degrees=self.tilt_degrees,
            tilt_axis=self.tilt_axis,
            turned_degrees=self.turned_degrees,
            off_stop_mm=self.off_stop_mm,
        )


def conditions_of(brief: Brief, seed: int) -> tuple[Condition, ...]:
    """What is wrong with the pair of this brief and seed, and by how much."""
    return tuple(_drawn(name, stream(seed, name)) for name in brief.condition)


def _drawn(name: str, rng: np.random.RandomState) -> Condition:
    eye = "R" if rng.random_sample() < 0.5 else "L"
    if name == SMEARED:
        ripples = tuple(
            Ripple(
                height_um=float(rng.uniform(0.3, 0.6)),
                period_mm=float(rng.uniform(6.0, 10.0)),
                towards=float(rng.uniform(0.0, 180.0)),
                phase=float(rng.uniform(0.0, 360.0)),
            )
            for _ in range(4)
        )
        return Condition(name=name, eye=eye, ripples=ripples)
    way = float(rng.choice([-1.0, 1.0]))
    tilt = way * float(rng.uniform(14.0, 22.0))
    if name == FRONT_BENT:
        return Condition(name=name, eye=eye, tilt_degrees=tilt, tilt_axis=90.0)
    return Condition(
        name=name,
        eye=eye,
        tilt_degrees=tilt,
        # A lens that is twisted out of the plane of the other also turns a little.
        turned_degrees=float(rng.choice([-1.0, 1.0]) * rng.uniform(4.0, 7.0)),
        off_stop_mm=float(rng.uniform(0.5, 1.5)),
    )


def laid_down(
    pair: Spectacles, conditions: tuple[Condition, ...], mended: Collection[str] = ()
) -> Spectacles:
    """The pair as it lies on the stage, with what has not been mended.

    Parameters
    ----------
    pair : Spectacles
        The pair, true and clean.
    conditions : tuple of Condition
        What is wrong with it.
    mended : collection of str
        Names of what has been put right.
    """
    # Grease sticks to the lens, and the frame bends with it: the film goes on first.
    for condition in sorted(conditions, key=lambda each: each.name != SMEARED):
        if condition.name not in mended:
            pair = condition.put_on(pair)
    return pair
