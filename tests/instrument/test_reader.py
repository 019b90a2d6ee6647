"""Closed loop: a reader that sees only pictures must recover the lens."""

import csv
from pathlib import Path

import numpy as np
import pytest

from optics.instrument.focimeter import Settings, eyepiece_view
from optics.instrument.reader import read_lens
from optics.lens.angles import axis_difference, wrapped_axis
from optics.lens.lens import SingleVision
from optics.lens.parsing import parse
from optics.lens.power import Power

SIZE, HALF_WIDTH = 72, 2.5
WITHIN = 0.06
"""Dioptres. Half the power tolerance; errors of ordinary focimeters within 5 D (FO10,
D. Whitney, Focimetry issues, 20/20 magazine; read)."""

CASES = list(csv.DictReader((Path(__file__).parents[1] / "cases" / "instrument_readings.csv").open()))


def read(power, form="minus", x_mm=0.0, y_mm=0.0, **instrument):
    met = SingleVision(power=power).over_stop(x_mm, y_mm)

    def look(drum, wheel):
        return eyepiece_view(Settings(drum=drum, wheel=wheel, **instrument), met, SIZE, HALF_WIDTH)

    return read_lens(look, half_width=HALF_WIDTH, form=form)


def axis_limit(cylinder):
    """ANSI Z80.1-2015, rows T-X1 to T-X5 (quick reference guide item 3; read)."""
    limits = ((0.25, 14), (0.50, 7), (0.75, 5), (1.50, 3))
    return next((degrees for upto, degrees in limits if cylinder <= upto), 2)


def test_recovers_random_lenses_from_pictures_alone(thorough):
    rng = np.random.default_rng(20)
    lenses = 300 if thorough else 30
    missed = []
    for _ in range(lenses):
        sphere, cylinder, axis = rng.uniform(-8, 8), rng.uniform(0, 4), rng.uniform(0.01, 180)
        x_mm, y_mm = rng.uniform(-1, 1, 2)
        found = read(Power.from_sphere_cylinder(sphere, -cylinder, axis), x_mm=x_mm, y_mm=y_mm)
        if (
            abs(found.sphere_lines - sphere) > WITHIN
            or abs(found.cylinder_lines - (sphere - cylinder)) > WITHIN
            # Below 0.12 D no axis tolerance is defined (T-X0).
            or (cylinder >= 0.12 and axis_difference(found.wheel, axis) > axis_limit(cylinder))
        ):
            missed.append((sphere, -cylinder, axis, found.sphere_lines, found.cylinder_lines, found.wheel))
    assert len(missed) <= lenses // 100, missed


@pytest.mark.parametrize("case", CASES, ids=[case["id"] for case in CASES])
def test_published_lenses_read_as_published(case):
    found = read(parse(case["lens"]).power, case["form"])
    assert found.sphere_lines == pytest.approx(float(case["sphere_lines"]), abs=WITHIN)
    assert found.cylinder_lines == pytest.approx(float(case["cylinder_lines"]), abs=WITHIN)
    assert axis_difference(found.wheel, float(case["wheel"])) <= 1


def test_ninety_degrees_out_is_the_plus_cylinder_reading():
    lens = parse("-2.25 -0.75 x 015")
    minus, plus = read(lens.power), read(lens.power, "plus")
    assert (plus.sphere_lines, plus.cylinder_lines) == pytest.approx(
        (minus.cylinder_lines, minus.sphere_lines), abs=0.02
    )
    assert axis_difference(plus.wheel, wrapped_axis(minus.wheel + 90)) < 0.5
    assert plus.power.is_close(minus.power, within=0.02)


@pytest.mark.parametrize(
    ("eyepiece", "shift"),
    [(2.0, +0.125), (-2.0, -0.125), (4.0, +0.25)],
    ids=["FO6", "FO6 other way", "FO6 doubled"],
)
def test_an_eyepiece_left_unset_shifts_every_reading_alike(eyepiece, shift):
    # FO6: 2 D at the eye through a telescope of 4 times is 0.125 D, constant over
    # the scale (calculated there, first order).
    lenses = [(+5.00, -1.00, 40), (0.00, -2.00, 95), (-6.50, -0.75, 170)]
    for lens in lenses:
        power = Power.from_sphere_cylinder(*lens)
        set_well, unset = read(power), read(power, eyepiece=eyepiece)
        assert unset.sphere_lines - set_well.sphere_lines == pytest.approx(shift, abs=0.01)
        assert unset.cylinder_lines - set_well.cylinder_lines == pytest.approx(shift, abs=0.01)
        assert axis_difference(unset.wheel, set_well.wheel) < 0.5


def test_every_look_is_kept_so_that_a_lesson_can_replay_it():
    found = read(parse("+1.00 -1.25 x 100").power)
    steps = list(dict.fromkeys(look.step for look in found.looks))
    assert steps[0] == "look for the lines"
    assert set(steps) == {
        "look for the lines",
        "turn the wheel",
        "drum to the sphere lines",
        "drum to the cylinder lines",
    }
    assert all(look.sharpness > 0 and 0 < look.wheel <= 180 for look in found.looks)
    last = [look for look in found.looks if look.step == "drum to the cylinder lines"][-5:]
    assert min(abs(look.drum - found.cylinder_lines) for look in last) < 0.06


def test_unknown_form_is_the_programmers_error():
    with pytest.raises(ValueError, match="form"):
        read_lens(lambda drum, wheel: np.zeros((8, 8)), half_width=1.0, form="crossed")
