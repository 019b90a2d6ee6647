"""A new pair against the one worn before."""

import numpy as np
import pytest

from optics.judging.compare import LOOK_ORDER, compare, power_change
from optics.judging.standards import load
from optics.judging.verify import CAUTION
from optics.lens.parsing import parse_pair
from optics.lens.power import Power
from optics.pair.records import LensRecord, PairRecord

ANSI = load("ANSI Z80.1-2015")


def on_paper(text, kind="single vision", **both):
    right, left = parse_pair(text)
    values = [{name: pair[side] for name, pair in both.items()} for side in (0, 1)]
    return PairRecord(
        right=LensRecord(line=right, **values[0]), left=LensRecord(line=left, **values[1]), lens=kind
    )


def lens(sphere, cylinder=0.0, axis=180.0):
    return Power.from_sphere_cylinder(sphere, cylinder, axis)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ((-2.00,), (-2.00,), "no change"),
        ((-2.00,), (-2.50,), "0.50 D more minus in every meridian"),
        # An ordinary focimeter may be 0.06 D out (FO10): less is not named, more is.
        ((-2.00,), (-2.05,), "no change"),
        ((-2.00,), (-2.10,), "0.10 D more minus in every meridian"),
        ((-2.00, -1.0, 90), (-1.50, -1.0, 90), "0.50 D more plus in every meridian"),
        ((+2.50, -1.50, 170), (+1.00, +1.50, 80), "no change"),
        (
            (-2.00,),
            (-2.00, -0.50, 180),
            "0.25 D more minus on average, and a cylinder of -0.50 x 180 between them",
        ),
        # A 1.00 cylinder turned by 10 degrees leaves 2 sin 10 = 0.35, 40 degrees beyond (calc).
        (
            (-2.00, -1.0, 90),
            (-2.00, -1.0, 100),
            "the same mean power, and a cylinder of -0.35 x 140 between them",
        ),
    ],
)
def test_power_change_in_words(old, new, words):
    assert power_change(lens(*old), lens(*new)) == words


def test_the_same_pair_in_the_other_form_does_not_differ():
    old = on_paper("+2.50 -1.50 x 170 no prism; -3.00 -2.00 x 090 no prism")
    new = on_paper("+1.00 +1.50 x 080 no prism; -5.00 +2.00 x 180 no prism")
    result = compare(ANSI, old, new)
    assert not result.deciding
    assert result.sentence.startswith("Nothing read differs by more than the tolerance. Look at the fit:")


def test_findings_come_in_the_order_in_which_to_look():
    old = on_paper(
        "-2.25 -0.75 x 015 add +2.00; -4.00 DS add +2.00",
        pd_mm=(31, 31.5),
        centre_height_mm=(3, 3),
        height_mm=(18, 18),
        base_curve=(6, 6),
    )
    new = on_paper(
        "-2.50 -0.75 x 025 add +2.25; -4.00 DS add +2.25",
        "progressive",
        pd_mm=(32.5, 32.5),
        centre_height_mm=(3, 1),
        height_mm=(16, 16),
        base_curve=(4, 4),
    )
    result = compare(ANSI, old, new, order=old)
    subjects = [finding.subject for finding in result.findings]
    assert list(dict.fromkeys(subjects)) == list(LOOK_ORDER)
    assert [LOOK_ORDER.index(subject) for subject in subjects] == sorted(
        LOOK_ORDER.index(s) for s in subjects
    )
    assert result.sentence == "The new pair is not what was ordered. Mend that first, then compare again."
    first, *_, advice, caution = result.report.splitlines()
    assert "ANSI Z80.1-2015" in first and advice == result.sentence and caution == CAUTION
    assert "   R axis: old 015, new 025, off by 10°. Beyond the row ANSI Z80.1-2015, axis" in result.report


def test_without_an_order_the_advice_asks_whether_it_was_meant():
    result = compare(ANSI, on_paper("-2.00 DS; -2.00 DS"), on_paper("-2.50 DS; -2.00 DS"))
    assert [(f.subject, f.sentence) for f in result.deciding] == [
        ("power", "R power: 0.50 D more minus in every meridian.")
    ]
    assert result.sentence == (
        "Begin with: power. Ask whether the new order meant it. "
        "Not compared: vertical prism, horizontal prism; read this on both pairs."
    )
    both = compare(ANSI, on_paper("-2.00 DS; -2.00 DS"), on_paper("-2.50 DS; -2.50 DS"))
    assert both.sentence == result.sentence and len(both.deciding) == 2
    (verdict,) = result.deciding[0].deciding
    assert verdict.row.quantity == "sphere"


def test_prism_difference_of_the_two_pairs():
    """Centres 62 apart before and 66 after, -5.00 both: 4 mm of 5 D is 2.00 base in (Prentice)."""
    old, new = on_paper("-5.00 DS; -5.00 DS", pd_mm=(31, 31)), on_paper("-5.00 DS; -5.00 DS", pd_mm=(33, 33))
    result = compare(ANSI, old, new)
    prism = next(f for f in result.findings if f.subject == "horizontal prism")
    assert prism.sentence == "Horizontal prism difference of the pair: changed by 2.00 Δ."
    assert prism.decides
    place = next(f for f in result.findings if f.subject == "centres and heights")
    assert place.sentence == "Centre distance: 62.0 to 66.0 mm, +4.0 mm." and not place.decides


def test_heights_base_curves_and_additions_are_named():
    old = on_paper(
        "-1.00 DS add +1.50; -1.00 DS add +1.50", "multifocal", height_mm=(18, 18), base_curve=(6, 6)
    )
    new = on_paper(
        "-1.00 DS add +1.75; -1.00 DS add +1.50", "multifocal", height_mm=(18, 15), base_curve=(6, 6)
    )
    result = compare(ANSI, old, new)
    told = [finding.sentence for finding in result.findings]
    assert "R addition: +1.50 to +1.75." in told and "L height: 18.0 to 15.0 mm, -3.0 mm." in told
    assert "R base curve: 6.0 to 6.0 D, no change." in told
    assert [finding.sentence[:1] for finding in result.deciding] == ["R", "L"]


def test_a_change_of_power_is_the_same_in_whatever_form_it_is_written():
    rng = np.random.default_rng(2)
    for sphere, cylinder, axis in zip(
        rng.normal(size=20), rng.normal(size=20), rng.uniform(1, 180, 20), strict=True
    ):
        old, new = lens(0.5, -1, 20), lens(sphere, cylinder, axis)
        other = lens(sphere + cylinder, -cylinder, axis + 90)
        assert power_change(old, new) == power_change(old, other)
