"""Facts of the instrument that the optics must give: travel, range, gap, sag, eyepiece."""

import csv
from pathlib import Path

import pytest
from sympy import Rational
from sympy.physics.optics.gaussopt import FreeSpace, ThinLens

from optics.instrument.focimeter import Settings
from optics.instrument.standard_lens import strongest_plus, target_travel_mm
from optics.lens.lens import SingleVision
from optics.lens.power import Power
from optics.lens.surface import sagitta_mm
from optics.lens.tilt import Tilted

CASES = Path(__file__).parents[1] / "cases"
ROWS = list(csv.DictReader((CASES / "instrument.csv").open(encoding="utf-8")))


def off_stop(power, gap_mm):
    lens = SingleVision(power=Power.from_sphere_cylinder(power))
    return Tilted(lens=lens, off_stop_mm=gap_mm).over_stop(0, 0).power.mean


QUANTITIES = {
    "travel": target_travel_mm,
    "end of the scale": lambda power, length: strongest_plus(length),
    "lens off the stop": off_stop,
    "sag into the stop": lambda power, length: sagitta_mm(power, 1.5, length),
}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["id"])
def test_instrument_figures(row):
    power = float(row["power"]) if row["power"] else None
    found = QUANTITIES[row["quantity"]](power, float(row["length_mm"]))
    assert found == pytest.approx(float(row["value"]), abs=float(row["within"]))


def test_fo5_the_sag_into_the_stop_is_negligible():
    # 0.096 mm on a +10 D lens: about 0.01 D.
    assert off_stop(10.0, 0.096) - 10.0 == pytest.approx(0.01, abs=0.0005)


@pytest.mark.parametrize("power", [-12.0, -3.0, 0.5, 7.0, 15.0])
def test_newton_against_a_traced_standard_lens(power):
    """SymPy sends light from the moved target through the standard lens to the stop at its focus."""
    focal = Rational(1, 20)
    before = focal - Rational(target_travel_mm(power, 50.0)) / 1000
    system = FreeSpace(focal) * ThinLens(focal) * FreeSpace(before)
    # Light from an axial point leaves at slope D u and height B u: diverging by D/B.
    assert float(system.D / system.B) == pytest.approx(power, abs=1e-9)


def test_fo6_an_unset_eyepiece_shifts_the_reading():
    """Two dioptres at the eye through a fourfold telescope: 0.125 D, to the first order.

    The telescope is traced backwards from the eye: light that diverges by 2 D at the
    exit pupil corresponds to what vergence at the objective?
    """
    objective, eyepiece = Rational(16, 100), Rational(4, 100)
    # The stop is the objective; its image in the eyepiece is where the eye stands.
    tube = objective + eyepiece
    relief = eyepiece * tube / (tube - eyepiece)
    system = FreeSpace(relief) * ThinLens(eyepiece) * FreeSpace(tube) * ThinLens(objective)
    assert float(system.B) == pytest.approx(0.0, abs=1e-12)
    at_eye = -2.0
    # With B = 0: vergence out = (D vergence in - C)/A, taking slopes as minus vergence times height.
    at_objective = (at_eye * float(system.A) + float(system.C)) / float(system.D)
    assert abs(at_objective) == pytest.approx(0.125, abs=1e-9)
    assert abs(Settings(eyepiece=2.0).eyepiece_error) == pytest.approx(abs(at_objective))


def test_an_eyepiece_too_far_out_makes_the_drum_stand_too_high():
    """Traced forwards: which light into the telescope leaves the eyepiece parallel?

    The drum at P sends light of vergence minus P to the stop, so light that comes apart
    there by v belongs to a drum that stands v too high.
    """
    objective, eyepiece = Rational(16, 100), Rational(4, 100)
    for dial in (Rational(2), Rational(-2)):
        # Out by the dial's dioptres times the square of its focal length (Newton).
        tube = objective + eyepiece + dial * eyepiece**2
        system = ThinLens(eyepiece) * FreeSpace(tube) * ThinLens(objective)
        # A ray from an axial point, height 1 and slope minus vergence, leaves with slope 0.
        vergence = float(system.C / system.D)
        too_high = -Settings(eyepiece=float(dial)).eyepiece_error
        assert too_high == pytest.approx(-vergence, rel=0.05)
        assert (too_high > 0) == (dial > 0)
