"""Limits and verdicts against the published tables."""

import csv
from math import asin, degrees
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optics.errors import OpticsError
from optics.judging.many_lenses import passed
from optics.judging.standards import available, load
from optics.judging.verdicts import judge_lens, keys_of, together
from optics.lens.parsing import parse
from optics.lens.power import Power
from optics.lens.prescription import Prescription

CASES = Path(__file__).parents[1] / "cases"
LIMITS = list(csv.DictReader((CASES / "tolerance_limits.csv").open(encoding="utf-8")))
VERDICTS = list(csv.DictReader((CASES / "tolerance_verdicts.csv").open(encoding="utf-8")))

EIGHTH = 0.008
"""A limit printed 0.12 or 0.18 stands for 0.125 or 0.1875."""


@pytest.mark.parametrize("row", LIMITS, ids=lambda row: row["id"])
def test_the_limit_for_an_order(row):
    order = parse(f"{row['sphere']} {row['cylinder']}{' x 180' if float(row['cylinder']) else ''}")
    # -0.10 is written so for "below 0.12"; a ticket would never hold it.
    keys = keys_of(order.sphere, order.cylinder, order.axis or 180, float(row["add"] or 0))
    decided = load(row["table"]).row(row["quantity"], keys, row["lens"])
    if not row["limit"]:
        assert decided is None
        return
    limit = float(row["limit"])
    short = decided.unit == "dioptre" and limit in (0.12, 0.18)
    assert decided.limit(keys) == pytest.approx(limit, abs=EIGHTH if short else 1e-9)
    assert decided.from_memory == row["status"].startswith("mem") or row["id"].startswith("T-I")


@pytest.mark.parametrize("row", VERDICTS, ids=lambda row: row["id"])
def test_verdicts(row):
    standard, order, found = load(row["table"]), parse(row["order"]), parse(row["found"])
    verdicts = judge_lens(standard, order, found, row["lens"])
    failed = [verdict.quantity for verdict in verdicts if verdict.passed is False]
    assert failed == ([row["fails"]] if row["fails"] else [])
    assert any(verdict.passed is not None for verdict in verdicts)
    # The order of transposing and judging does not matter.
    again = judge_lens(standard, order.transposed(), found.transposed(), row["lens"])
    assert [verdict.passed for verdict in again] == [verdict.passed for verdict in verdicts]


@pytest.mark.parametrize("row", VERDICTS, ids=lambda row: row["id"])
def test_arrays_give_the_same_verdicts(row):
    order, found = parse(row["order"]), parse(row["found"])

    def column(line):
        return line.sphere, line.cylinder, line.axis or 180

    standard = load(row["table"])
    result = passed(standard, column(order), column(found), row["lens"])
    failed = row["fails"] if row["fails"] in ("", "axis", "cylinder") else "power"
    failed = "" if row["fails"] == "addition" else failed
    lost = [name for name in ("power", "cylinder", "axis") if not getattr(result, name)]
    # One table has rows for the axis alone: what it does not judge does not pass.
    silent = standard.name.startswith("GB")
    assert lost == (["power", "cylinder"] if silent else []) + ([failed] if failed else [])
    assert bool(result.all) == (not failed and not silent) and bool(result.judged) is (
        bool(failed) or not silent
    )
    each = [v for v in judge_lens(standard, order, found, row["lens"]) if v.quantity != "addition"]
    assert together(each) is (False if failed else None if silent else True)


QUARTERS = st.integers(-80, 80).map(lambda n: n / 8)


@given(
    QUARTERS,
    st.integers(-24, 24).map(lambda n: n / 8),
    st.integers(1, 180),
    st.floats(-0.3, 0.3),
    st.floats(-0.3, 0.3),
    st.integers(-20, 20),
    st.sampled_from(available()),
    st.sampled_from(["single vision", "progressive"]),
)
def test_one_lens_and_an_array_of_lenses_agree(s, c, a, ds, dc, da, name, kind):
    standard = load(name)
    order = Prescription(sphere=s, cylinder=c, axis=a if c else None)
    found = (s + ds, c + dc, (a + da - 1) % 180 + 1.0)
    result = passed(standard, (s, c, a), found, kind)
    # One by one the found lens is a power; its axis loses its meaning with its cylinder.
    verdicts = {v.quantity: v for v in judge_lens(standard, order, Power.from_sphere_cylinder(*found), kind)}
    power = next(verdict for quantity, verdict in verdicts.items() if quantity not in ("cylinder", "axis"))
    assert bool(result.power) is (power.passed is True)
    assert bool(result.cylinder) is (verdicts["cylinder"].passed is True)
    axis = verdicts.get("axis")
    assert bool(result.axis) is (
        axis is None or axis.passed is True or (axis.passed is None and not axis.weighs)
    )
    whole = together(judge_lens(standard, order, Power.from_sphere_cylinder(*found), kind))
    assert bool(result.all) is (whole is True)
    assert bool(result.judged) is (whole is not None)


def test_a_verdict_says_which_row_decided():
    power, cylinder, axis = judge_lens(
        load("ANSI Z80.1-2015"), parse("-1.50 -1.25 x 170"), parse("-1.62 -1.25 x 174"), eye="R"
    )
    assert axis.sentence == (
        "R axis: ordered 170, found 174, off by 4°. Fails by the row ANSI Z80.1-2015, axis "
        "(cylinder above 0.75 up to 1.50): 3°."
    )
    assert power.sentence == (
        "R sphere: ordered -1.50, found -1.62, off by 0.12 D. Passes by the row ANSI Z80.1-2015, sphere "
        "(sphere meridian up to 6.50): 0.13 D."
    )
    assert cylinder.off == 0 and axis.row.source.endswith("item 3")


@pytest.mark.parametrize("kind", ["single vision", "multifocal", "progressive"])
def test_2020_keeps_the_powers_axes_and_additions_of_2015(kind):
    """T-G5 (memory)."""
    for quantity in ("sphere", "cylinder", "axis", "addition"):
        late, early = (load(f"ANSI Z80.1-{year}").rows_for(quantity, kind) for year in (2020, 2015))
        assert [(r.ranges, r.printed, r.unit) for r in late] == [(r.ranges, r.printed, r.unit) for r in early]
        assert all(row.from_memory for row in late) and early


def test_a_percentage_is_worked_out():
    verdict = judge_lens(load("ANSI Z80.1-2015"), parse("-8.00 DS"), parse("-8.15 DS"))[0]
    assert verdict.limit == pytest.approx(0.16) and verdict.sentence.endswith("2 %, here 0.16 D.")


def test_memory_is_said_on_screen():
    verdict = judge_lens(load("ISO 21987:2009"), parse("-1.00 DS"), parse("-1.00 DS"))[0]
    assert verdict.row.from_memory and verdict.sentence.endswith("Status of this row: from memory.")


def test_what_a_table_does_not_hold_is_not_judged():
    verdict = judge_lens(load("GB 13511-1999"), parse("-1.00 DS"), parse("-3.00 DS"))[0]
    assert verdict.passed is None and "not judged: the table has no row for it." in verdict.sentence


def test_an_axis_without_a_cylinder_is_not_judged():
    axis = judge_lens(load("ANSI Z80.1-2015"), parse("+1.00 -0.12 x 090"), parse("+1.00 DS"))[2]
    assert axis.passed is None and "the cylinder decides" in axis.sentence
    assert passed(load("ANSI Z80.1-2015"), (1, -0.125, 90), (1, 0, 180)).axis


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("place", range(6))
def test_what_is_no_number_never_passes(bad, place):
    columns = [np.array([v, v]) for v in (-1.0, -0.5, 90.0, -1.0, -0.5, 90.0)]
    assert passed(load("ANSI Z80.1-2015"), tuple(columns[:3]), tuple(columns[3:])).all.all()
    columns[place][1] = bad
    with pytest.raises(OpticsError, match="no number"):
        passed(load("ANSI Z80.1-2015"), tuple(columns[:3]), tuple(columns[3:]))


@pytest.mark.parametrize(
    ("order", "found"),
    [
        # Each a little beyond its printed limit: 0.13, 0.13, 3 and 2 % of 8.00 (T-A1, T-A2, T-A3, T-X4).
        ((-1.0, 0.0, 180.0), (-1.138, 0.0, 180.0)),
        ((-1.0, -1.0, 90.0), (-1.0, -1.138, 90.0)),
        ((-1.0, -1.0, 90.0), (-1.0, -1.0, 93.005)),
        ((-8.0, 0.0, 180.0), (-8.168, 0.0, 180.0)),
        # Just above an edge the narrower row holds (T-X5): 1.505 has 2 degrees.
        ((-1.0, -1.505, 90.0), (-1.0, -1.505, 92.5)),
    ],
)
def test_the_guard_is_for_floating_point_only(order, found):
    power = Power.from_sphere_cylinder
    assert not passed(load("ANSI Z80.1-2015"), order, found).all
    assert together(judge_lens(load("ANSI Z80.1-2015"), power(*order), power(*found))) is False


def test_progressive_powers_have_no_row_in_iso_21987():
    """The table holds single vision and multifocal powers only (references, section 1.6)."""
    order, found = parse("+0.50 DS"), parse("+1.50 DS")
    assert together(judge_lens(load("ISO 21987:2009"), order, found, "progressive")) is None
    assert together(judge_lens(load("ISO 21987:2009"), order, found)) is False
    power = judge_lens(load("ISO 21987:2009"), order, found, "progressive", "R")[0]
    assert "the table has no row for it on a progressive lens." in power.sentence
    assert not passed(load("ISO 21987:2009"), (0.5, 0, 180), (0.5, 0, 180), "progressive").all


def test_additions_found_or_missed():
    standard = load("ANSI Z80.1-2015")
    unread, unordered = (
        judge_lens(standard, parse(order), parse(found), "multifocal")[-1]
        for order, found in (("+1.00 DS add +2.00", "+1.00 DS"), ("+1.00 DS", "+1.00 DS add +2.00"))
    )
    assert unordered.passed is False
    assert unread.passed is None and "an addition was ordered and none read." in unread.sentence
    lens = judge_lens(standard, parse("+1.00 DS add +2.00"), parse("+1.00 DS").power, "multifocal")
    assert [verdict.quantity for verdict in lens] == ["sphere", "cylinder"]


@pytest.mark.parametrize(
    ("cylinder", "exact", "limit"),
    [(0.25, 13.89, 14), (0.50, 6.89, 7), (0.75, 4.59, 5), (1.00, 3.44, 3), (2.00, 1.72, 2)],
)
def test_the_axis_limits_leave_about_0_12_of_cylinder(cylinder, exact, limit):
    """T-X6: a = asin(0.12 / 2F) (OLA White Paper on ANSI Z80.1-2005, p. 1; formula read, numbers calc)."""
    assert degrees(asin(0.12 / (2 * cylinder))) == pytest.approx(exact, abs=0.005)
    row = load("ANSI Z80.1-2015").row("axis", keys_of(-1.0, -cylinder))
    assert row.printed == limit == round(exact)


@pytest.mark.parametrize(
    ("cylinder", "residual"),
    [(0.25, 0.121), (0.50, 0.122), (0.75, 0.131), (1.50, 0.157), (2.00, 0.140), (3.00, 0.209)],
)
def test_residual_cylinder_at_the_limit(cylinder, residual):
    """T-X7 (calc), here from two powers set against each other."""
    limit = load("ANSI Z80.1-2015").row("axis", keys_of(-1.0, -cylinder)).printed
    lens = Power.from_sphere_cylinder(0, -cylinder, 33)
    assert (lens - lens.rotated(limit)).astigmatism == pytest.approx(residual, abs=0.0005)


@pytest.mark.parametrize("axis", [1, 30, 45, 90, 135, 180])
def test_horizontal_and_vertical_powers_of_an_order(axis):
    """T-GB4 and OM1: S + C sin^2 along the horizontal (360docs.net summary, read); against `Power.along`."""
    keys, power = keys_of(-3.0, -2.0, axis), Power.from_sphere_cylinder(-3.0, -2.0, axis)
    assert keys["horizontal meridian"] == pytest.approx(abs(power.along(180)))
    assert keys["vertical meridian"] == pytest.approx(abs(power.along(90)))


def test_columns_of_lenses():
    """A column of readings against one order, in either form."""
    result = passed(
        load("ANSI Z80.1-2015"),
        (-2.00, -0.50, 90),
        (np.array([-2.00, -2.62, -2.00]), np.array([-0.50, 0.50, -0.75]), np.array([97, 180, 90])),
    )
    assert result.power.tolist() == [True, True, True]
    assert result.cylinder.tolist() == [True, True, False]
    assert result.axis.tolist() == [True, True, True]
    assert result.all.tolist() == [True, True, False]


def test_a_million_are_judged_like_a_few():
    """Long columns are judged in blocks; blocks must not show."""
    rng = np.random.default_rng(5)
    shape = (3, 20_000)
    order = (np.round(rng.normal(0, 3, shape) * 4) / 4, -np.round(rng.exponential(1, shape) * 4) / 4, 90.0)
    found = tuple(column + rng.normal(0, 0.1, shape) for column in order)
    whole = passed(load("ANSI Z80.1-2015"), order, found)
    assert whole.power.shape == whole.cylinder.shape == whole.axis.shape == shape
    assert 0.1 < whole.all.mean() < 0.99
    few = slice(None), slice(9_990, 10_010)
    part = passed(load("ANSI Z80.1-2015"), (order[0][few], order[1][few], 90.0), tuple(v[few] for v in found))
    for one, other in zip(whole, part, strict=True):
        np.testing.assert_array_equal(one[few], other)
