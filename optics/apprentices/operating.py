"""Reading a lens of a pair by hand and eye at the simulated instrument.

The operator is given the pair and the controls, never the power: what is read
comes from pictures in the eyepiece, and a wrong habit of the hands is done with
the hands. Readings scatter as `optics.instrument.repeats` proposes; whoever is in doubt
reads again.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from optics.instrument.focimeter import EYEPIECE_RANGE, Settings, eyepiece_view, reticle_view
from optics.instrument.reader import Reading, read_lens
from optics.instrument.repeats import INSTRUMENT_DEVIATION, axis_deviation
from optics.lens.angles import wrapped_axis
from optics.lens.lens import BACK, FRONT, OverStop
from optics.lens.power import Power
from optics.lens.prism import OTHER_EYE, Prism
from optics.specimens.specimen import Specimen

HAND_HABITS = ("axis 90 out", "axis mirrored", "eyepiece not set", "lenses exchanged")
"""Habits that are done at the instrument; the others happen while writing."""

READINGS = 3
WILD = 2.0
"""A reading this many standard deviations out is noticed and taken again."""
PICTURE, HALF_WIDTH = 96, 2.5
"""A small picture of the middle of the field is enough for the reader."""


EYE, FOUND_AT = -4.0, 4.0
"""Eyepiece dial at which the reticle is sharp to an operator, and where the last one left it, dioptres at the eye."""


def see(power: Power, eyepiece: float, eye: float, form: str = "minus", zero_error: float = 0.0) -> Reading:
    """Read what lies over the stop from its pictures alone, the crossing in the middle."""
    return _seen(tuple(float(value) for value in power.vector), eyepiece, eye, form, zero_error)


@lru_cache(maxsize=4096)
def _seen(power: tuple[float, ...], eyepiece: float, eye: float, form: str, zero_error: float) -> Reading:
    # Kept, because many learners of a class meet the same variant of a pair.
    met = OverStop(Power(np.array(power)), Prism.none())

    def look(drum: float, wheel: float) -> np.ndarray:
        settings = Settings(drum=drum, wheel=wheel, eyepiece=eyepiece, eye=eye, zero_error=zero_error)
        return eyepiece_view(settings, met, size=PICTURE, half_width=HALF_WIDTH)

    return read_lens(look, half_width=HALF_WIDTH, form=form)


def find_eyepiece(eye: float) -> float:
    """Turn the eyepiece in from plus, and stop where the reticle is sharpest."""
    dials = np.arange(EYEPIECE_RANGE[1], EYEPIECE_RANGE[0] - 0.1, -0.25)
    views = (reticle_view(Settings(eyepiece=dial, eye=eye), size=2 * PICTURE) for dial in dials)
    return float(dials[np.argmax([np.sum(view**2) for view in views])])


def scatter(rng: np.random.Generator, deviation: float = INSTRUMENT_DEVIATION) -> float:
    """How far one reading falls beside another."""
    while abs(draw := rng.normal()) > WILD:
        pass
    return float(draw * deviation)


def read_power(
    pair: Specimen,
    eye: str,
    rng: np.random.Generator,
    habit: str | None = None,
    form: str = "minus",
) -> Power:
    """Read one lens several times over and take the middle.

    Parameters
    ----------
    pair : Specimen
        The pair on the bench.
    eye : {"R", "L"}
        The lens asked for.
    rng : numpy.random.Generator
        The operator's unsteadiness.
    habit : str, optional
        One of `HAND_HABITS`, done with the hands.
    form : {"minus", "plus"}
        Whether the sphere lines are taken at the more plus or the more minus power.

    Returns
    -------
    Power
        The mean of the readings.
    """
    laid = OTHER_EYE[eye] if habit == "lenses exchanged" else eye
    against = FRONT if habit == "axis mirrored" else BACK
    place = pair.lens_point_mm(laid, "distance")
    assert place is not None, "every lens has a place for distance"
    met = pair.spectacles.mounted(laid).lens.over_stop(*place, against)
    # Ordered prism is taken out with the compensator: the crossing stands in the middle.
    seen = see(met.power, FOUND_AT if habit == "eyepiece not set" else EYE, EYE, form)
    deviation = axis_deviation(seen.cylinder)
    drums, wheels = [], []
    for again in range(2):
        for _ in range(READINGS):
            drums.append(
                [
                    line + scatter(rng, INSTRUMENT_DEVIATION)
                    for line in (seen.sphere_lines, seen.cylinder_lines)
                ]
            )
            wheels.append(seen.wheel + scatter(rng, deviation))
        if not again and np.ptp(wheels) <= deviation and np.ptp(drums, axis=0).max() <= INSTRUMENT_DEVIATION:
            break
    sphere_lines, cylinder_lines = np.mean(drums, axis=0)
    wheel = float(np.mean(wheels))
    if habit == "axis 90 out":
        # The powers are noted, and then the wheel where the *other* lines look unbroken.
        wheel += 90.0
    return Power.from_line_readings(sphere_lines, cylinder_lines, wrapped_axis(wheel))
