"""The right chart, laid as well as a hand can, gives the lens's readings; another does not.

Readings are rays followed through both surfaces over the whole stop.
Limit: 0.12 D on the addition, ANSI Z80.1-2015, quick reference guide (read),
for additions up to +4.00; 0.13 D on power up to 6.50 D, the same, which is the row of
single vision and multifocal lenses and the narrowest there.
"""

from __future__ import annotations

from itertools import permutations, product

import pytest

from optics.errors import OpticsError
from optics.lens.power import Power
from optics.lens.progressive import Progressive
from optics.pair.charts import Chart, LaidChart, chart_with, charts

HAND_MM, HAND_DEGREES = 0.5, 1.0


def lens_of(chart: Chart, eye: str = "R") -> Progressive:
    return Progressive(
        power=Power.from_sphere_cylinder(1.0, -0.5, 90.0),
        addition=2.0,
        eye=eye,
        fitting_cross_mm=chart.fitting_cross_mm,
        corridor_mm=chart.corridor_mm,
        inset_mm=chart.inset_mm,
    )


def addition_at(lens: Progressive, laid: LaidChart) -> float:
    ink = laid.inked(lens.eye)
    near, distance = (lens.over_stop(*ink[part], "front").read.mean for part in ("near", "distance"))
    return float(near - distance)


def test_four_designs_differ_in_where_their_marks_stand() -> None:
    assert len({chart.sign for chart in charts()}) == len(charts()) == 4
    for one, other in permutations(charts(), 2):
        assert one.places("R") != other.places("R")


@pytest.mark.parametrize("eye", ["R", "L"])
def test_the_right_chart_laid_true_inks_the_points_of_the_lens(eye: str) -> None:
    for chart in charts():
        ink, lens = LaidChart(sign=chart.sign).inked(eye), lens_of(chart, eye)
        assert ink["distance"] == lens.distance_reference_point
        assert ink["near"] == lens.near_reference_point
        # Near falls to the nose: to the viewer's right on the wearer's right lens.
        assert (ink["near"][0] > 0) == (eye == "R")


def test_the_right_chart_laid_by_a_hand_reads_within_the_table() -> None:
    for chart in charts():
        lens = lens_of(chart)
        wanted = lens.over_stop(*lens.distance_reference_point).read
        for x, y, turn in product((-HAND_MM, HAND_MM), (-HAND_MM, HAND_MM), (-HAND_DEGREES, HAND_DEGREES)):
            laid = LaidChart(sign=chart.sign, x_mm=x, y_mm=y, turned_degrees=turn)
            found = lens.over_stop(*laid.inked("R")["distance"]).read
            assert found.mean == pytest.approx(wanted.mean, abs=0.13)
            assert addition_at(lens, laid) == pytest.approx(2.0, abs=0.12), (chart.sign, x, y, turn)


def test_a_wrong_chart_puts_the_cross_two_millimetres_out() -> None:
    # Near circles often fall where the addition is whole on another design too, so the
    # addition may read right from a wrong chart; the height of the cross never does.
    for own, other in permutations(charts(), 2):
        cross = LaidChart(sign=other.sign).inked("R")["height"]
        assert abs(cross[1] - lens_of(own).fitting_cross[1]) >= 2.0


def test_the_addition_is_missed_where_the_chart_is_short_or_far_askew() -> None:
    own = lens_of(chart_with("Hb6"))
    assert 2.0 - addition_at(own, LaidChart(sign="Hb8")) > 0.12
    assert 2.0 - addition_at(own, LaidChart(sign="Hb6", turned_degrees=15.0)) > 0.12


def test_an_unknown_sign_is_refused() -> None:
    with pytest.raises(OpticsError, match="Hb2, Hb4, Hb6, Hb8"):
        LaidChart(sign="Hx").inked("R")
