"""Pairs for the bench: made from a seed and a brief, never to exactly what was ordered.

A specimen is one object that everybody asks: the instrument, the drawings, the
marks. It holds what the pair *is* (`spectacles`) and what it was *made to*
(`ordered`); the surfacing error between the two is why readings fall between
steps.

The powers follow published distributions of spectacle prescriptions: shares of
myopia, hyperopia and astigmatism from 153 598 records of Irish clinics
(PMC9732486), means and spreads from 6687 South African patients (PMC8569398);
most cylinders are 0.75 or less and half the axes lie near 180 (Clinical
Optometry 2018;10:119-127, whose axis shares add to 104 % and are used here as
rough weights only). All pairs are invented.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields
from hashlib import sha256

import numpy as np

from optics.angles import axis_difference, whole_axis
from optics.errors import OpticsError
from optics.lens import SingleVision
from optics.power import Power
from optics.prescription import Prescription
from optics.prism import Prism
from optics.spectacles import Mounted, Spectacles

__all__ = ["Brief", "Specimen", "make", "seed_from"]

STYLES = ("single vision",)
CYLINDERS = ("none", "some", "always")
AXES = ("any", "oblique")
STEP = 0.25
LARGEST_ERROR = 0.11
"""Surfacing error of a good pair stays inside the usual 0.12 D limit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Brief:
    """What kind of pair is wanted.

    Parameters
    ----------
    style : str
        Lens style; "single vision".
    strongest, weakest : float
        Largest and smallest principal power, dioptres, without sign.
    cylinder : {"none", "some", "always"}
        Whether the lenses have cylinder.
    axes : {"any", "oblique"}
        "oblique" keeps axes at least 20 degrees from horizontal and vertical, so
        that a mirrored or unturned axis shows.
    between_steps : bool
        True to put the powers near the middle between two quarter steps; False
        to keep them close to a step.
    prism : float
        Largest ordered prism, prism dioptres; 0 for none.
    """

    style: str = "single vision"
    strongest: float = 6.0
    weakest: float = 0.0
    cylinder: str = "some"
    axes: str = "any"
    between_steps: bool = False
    prism: float = 0.0

    def __post_init__(self) -> None:
        for name, allowed in (("style", STYLES), ("cylinder", CYLINDERS), ("axes", AXES)):
            value = getattr(self, name)
            if value not in allowed:
                raise OpticsError(
                    f'The {name} of the brief is "{value}".',
                    f"It is one of: {', '.join(allowed)}.",
                    f'Try "{allowed[0]}".',
                )
        if not 0.5 <= self.strongest <= 15:
            raise OpticsError(
                f"The strongest power of the brief is {self.strongest:g} D.",
                "It lies between 0.5 and 15 D.",
                "Try 6.",
            )
        if not 0 <= self.weakest <= self.strongest - 0.5:
            raise OpticsError(
                f"The weakest power of the brief is {self.weakest:g} D.",
                f"It lies between 0 and {self.strongest - 0.5:g} D, half a dioptre below the strongest.",
                "Try 0.",
            )

    @classmethod
    def from_plain(cls, values: dict) -> Brief:
        """A brief from plain values, as read from a file."""
        unknown = set(values) - {field.name for field in fields(cls)}
        if unknown:
            raise OpticsError(
                f"The brief has {', '.join(sorted(unknown))}.",
                f"A brief has {', '.join(field.name for field in fields(cls))}.",
                "Check the spelling.",
            )
        return cls(**values)

    def to_plain(self) -> dict:
        """The brief as plain values, to be written to a file."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Specimen:
    """One pair on the bench.

    Parameters
    ----------
    ordered : tuple of Prescription
        What right and left were made to, minus-cylinder form.
    spectacles : Spectacles
        What the pair is.
    brief : Brief
        What kind of pair was asked for.
    """

    ordered: tuple[Prescription, Prescription]
    spectacles: Spectacles
    brief: Brief

    def power(self, eye: str) -> Power:
        """Back vertex power at the lens's reference point, as it really is."""
        return self.spectacles.mounted(eye).lens.over_stop(0.0, 0.0).power

    def prism(self, eye: str) -> Prism:
        """Prism at the lens's reference point, as it really is."""
        return self.spectacles.mounted(eye).lens.over_stop(0.0, 0.0).prism


def seed_from(*parts: object) -> int:
    """A seed from words and numbers, the same on every machine.

    Examples
    --------
    >>> seed_from("spring", "A", 3) == seed_from("spring", "A", 3)
    True
    """
    return int.from_bytes(sha256("\x1f".join(str(part) for part in parts).encode()).digest()[:8], "big")


def make(brief: Brief, seed: int) -> Specimen:
    """Make one pair.

    Parameters
    ----------
    brief : Brief
        What kind of pair is wanted.
    seed : int
        The same seed and brief always give the same pair.

    Returns
    -------
    Specimen

    Examples
    --------
    >>> pair = make(Brief(), seed=7)
    >>> pair.ordered == make(Brief(), seed=7).ordered
    True
    """
    # The older generator, because its numbers never change between versions of
    # NumPy, and learner and instructor must mean the same pair.
    rng = np.random.RandomState([seed >> 32 & 0xFFFFFFFF, seed & 0xFFFFFFFF])
    right = _ordered(brief, rng, "R")
    # The two eyes of one wearer are alike: most differ by less than a dioptre.
    left = _companion(right, brief, rng)
    lenses = [_mounted(ordered, brief, rng) for ordered in (right, left)]
    return Specimen(
        ordered=(right, left), spectacles=Spectacles(right=lenses[0], left=lenses[1]), brief=brief
    )


def _on_step(value: float) -> float:
    return round(value / STEP) * STEP


def _ordered(brief: Brief, rng: np.random.RandomState, eye: str) -> Prescription:
    while True:
        group = rng.choice(["myopia", "hyperopia", "neither"], p=[0.45, 0.42, 0.13])
        mean, spread = {"myopia": (-1.95, 2.6), "hyperopia": (1.04, 0.9), "neither": (0.0, 0.3)}[str(group)]
        sphere = _on_step(rng.normal(mean, spread))
        cylinder = _cylinder(brief, rng)
        axis = _axis(brief, rng) if cylinder else None
        if _fits(sphere, cylinder, brief):
            return Prescription(
                sphere=sphere, cylinder=cylinder, axis=axis, eye=eye, prism=_prism(brief, rng)
            )


def _companion(first: Prescription, brief: Brief, rng: np.random.RandomState) -> Prescription:
    while True:
        sphere = first.sphere + _on_step(rng.normal(0.0, 0.6))
        cylinder = _cylinder(brief, rng)
        # Axes of a pair often mirror each other about the vertical.
        if not cylinder:
            axis = None
        elif first.axis is not None and rng.random_sample() < 0.6:
            axis = whole_axis(180 - first.axis + rng.normal(0.0, 8.0))
        else:
            axis = _axis(brief, rng)
        if axis is not None and not _axis_fits(axis, brief):
            continue
        if not _fits(sphere, cylinder, brief):
            continue
        # An exchange of the lenses must be visible, so they may not be the same.
        if (sphere, cylinder) == (first.sphere, first.cylinder) and axis == first.axis:
            continue
        return Prescription(sphere=sphere, cylinder=cylinder, axis=axis, eye="L", prism=_prism(brief, rng))


def _fits(sphere: float, cylinder: float, brief: Brief) -> bool:
    sizes = abs(sphere), abs(sphere + cylinder)
    return max(sizes) <= brief.strongest and min(sizes) >= brief.weakest and bool(sphere or cylinder)


def _cylinder(brief: Brief, rng: np.random.RandomState) -> float:
    if brief.cylinder == "none" or (brief.cylinder == "some" and rng.random_sample() < 0.4):
        return 0.0
    smallest = 0.5 if brief.cylinder == "always" else 0.25
    return -float(np.clip(_on_step(smallest + rng.gamma(1.6, 0.45)), smallest, 4.0))


def _axis_fits(axis: int, brief: Brief) -> bool:
    return brief.axes == "any" or min(axis_difference(axis, 180), axis_difference(axis, 90)) >= 20


def _axis(brief: Brief, rng: np.random.RandomState) -> int:
    while True:
        near = rng.choice(["horizontal", "vertical", "oblique"], p=[0.48, 0.14, 0.38])
        spread = {"horizontal": 180 + rng.normal(0, 10), "vertical": 90 + rng.normal(0, 10)}
        axis = whole_axis(spread.get(str(near), rng.uniform(1, 180)))
        if _axis_fits(axis, brief):
            return axis


def _prism(brief: Brief, rng: np.random.RandomState) -> tuple[tuple[float, str], ...]:
    if not brief.prism:
        return ()
    amount = float(rng.randint(2, max(3, int(brief.prism * 2) + 1))) / 2
    return ((amount, str(rng.choice(["in", "out", "up", "down"]))),)


def _surfacing_error(brief: Brief, rng: np.random.RandomState) -> float:
    if brief.between_steps:
        return float(rng.choice([-1.0, 1.0]) * rng.uniform(0.07, LARGEST_ERROR))
    return float(np.clip(rng.normal(0.0, 0.025), -0.05, 0.05))


def _mounted(ordered: Prescription, brief: Brief, rng: np.random.RandomState) -> Mounted:
    first, second = (_surfacing_error(brief, rng) for _ in range(2))
    sphere, cylinder, axis = ordered.sphere, ordered.cylinder, ordered.axis
    if axis is None:
        # A sphere comes out round: no more cylinder than polishing leaves.
        second = first - abs(rng.normal(0.0, 0.01))
        axis = float(rng.uniform(1, 180))
    else:
        axis = axis + float(np.clip(rng.normal(0.0, 0.4), -0.9, 0.9))
    prism = Prism.none()
    for amount, base in ordered.prism:
        prism = prism + Prism.from_base(amount + rng.normal(0.0, 0.05), base, ordered.eye or "R")
    return Mounted(
        lens=SingleVision(
            power=Power.from_sphere_cylinder(sphere + first, cylinder + second - first, axis), prism=prism
        ),
        pd_mm=round(float(np.clip(rng.normal(31.5, 1.4), 27, 36)) * 2) / 2,
        height_mm=round(float(np.clip(rng.normal(1.5, 1.0), -2, 4)) * 2) / 2,
    )
