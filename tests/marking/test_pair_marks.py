"""Marks for a whole pair: by skill, by tolerance, and how far off in the trade's own units."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from optics.lens.parsing import parse
from optics.lens.prescription import written
from optics.lens.prism import Prism
from optics.marking.marks import (
    ADD_WITHIN,
    CENTRES_WITHIN_MM,
    HEIGHT_WITHIN_MM,
    PRISM_WITHIN,
    SKILLS,
    Off,
    mark_pair,
)
from optics.marking.read import read_answer
from optics.specimens.briefs import STYLES, Brief, brief_for
from optics.specimens.right_ticket import right_ticket
from optics.specimens.specimen import Specimen, make


@pytest.fixture(scope="module")
def pair():
    """A bifocal with cylinders and prism."""
    return make(Brief(style="bifocal", cylinder="always", axes="oblique", prism=2.0), 11)


@pytest.fixture(scope="module")
def fields(pair):
    return right_ticket(pair)


def missed(fields, pair, **changes):
    return mark_pair(read_answer(fields | changes), pair).marks.missed


def test_a_right_ticket_gets_everything(pair, fields) -> None:
    found = mark_pair(read_answer(fields), pair, points=10.0)
    assert found.all_right and found.marks.total == found.marks.possible == 10.0
    assert set(found.marks.skills) == set(SKILLS)
    assert found.missing == () and found.remarks == ()
    assert found.sentences == (f"Right: {', '.join(SKILLS)}.",)


def changed(line: str, **values) -> str:
    return replace(parse(line), **values).distance


def test_each_skill_is_lost_alone(pair, fields) -> None:
    line = parse(fields["right"])
    across = line.sphere + line.cylinder
    wrong = {
        "sphere": {"right": changed(fields["right"], sphere=line.sphere + 0.5, cylinder=line.cylinder - 0.5)},
        "cylinder": {"right": changed(fields["right"], cylinder=line.cylinder - 0.5)},
        "axis": {"right": changed(fields["right"], axis=(line.axis + 20) % 180)},
        "form": {"right": parse(fields["right"]).transposed().distance},
        "notation": {"right": fields["right"].replace("x 0", "x ") + ("°" if line.axis > 99 else "")},
        "add": {"add_left": "+3.75"},
        "prism": {"prism_right": "4.00 base down"},
        "centres": {"pd_right": "35.5"},
        "heights": {"height_left": "23"},
        "style": {"style": "trifocal"},
    }
    assert set(wrong) == set(SKILLS) and across == line.sphere + line.cylinder
    for skill, change in wrong.items():
        assert missed(fields, pair, **change) == (skill,), skill


def test_one_wrong_lens_of_two_costs_half_the_skill(pair, fields) -> None:
    found = mark_pair(read_answer(fields | {"add_left": "+3.75"}), pair, points=10.0)
    got, of = found.marks.skills["add"]
    assert got == pytest.approx(of / 2)
    assert found.marks.total == pytest.approx(10.0 - of / 2, abs=0.01)


@pytest.mark.parametrize(
    ("skill", "field", "limit"),
    [
        ("heights", "height_right", HEIGHT_WITHIN_MM),
        ("add", "add_right", ADD_WITHIN),
    ],
)
def test_the_limit_decides(skill: str, field: str, limit: float, pair, fields) -> None:
    true = {"height_right": pair.height_mm("R"), "add_right": pair.addition("R")}
    for sign in (-1, 1):
        for inside in (True, False):
            value = true[field] + sign * (limit + (-0.02 if inside else 0.02))
            text = f"{value:+.2f}" if skill == "add" else f"{value:.2f}"
            assert (skill in missed(fields, pair, **{field: text})) != inside


def test_prism_is_held_as_a_vector(pair, fields) -> None:
    ((amount, base),) = pair.ordered[0].prism
    other = {"in": "up", "out": "up", "up": "in", "down": "in"}[base]
    assert missed(fields, pair, prism_right=f"{amount:.2f} base {base} and 0.25 base {other}") == ()
    assert missed(fields, pair, prism_right=f"{amount:.2f} base {base} and 1.00 base {other}") == ("prism",)
    assert PRISM_WITHIN == pytest.approx(0.455)
    # A millimetre each (T-G1), and half of what a rule is read to.
    assert CENTRES_WITHIN_MM == HEIGHT_WITHIN_MM == 1.25


@pytest.mark.parametrize(
    ("lenses", "out", "right"),
    [
        ("R +0.50 DS; L +0.50 DS", 2.4, True),  # 0.12 of a prism dioptre by Prentice's rule
        ("R +0.50 DS; L +0.50 DS", 2.6, False),
        ("R +0.25 -0.25 x 180; L pl", 2.6, False),
        ("R +4.00 DS; L +4.00 DS", -1.23, True),
        ("R +4.00 DS; L +4.00 DS", -1.27, False),
        ("R pl -4.00 x 180; L pl -4.00 x 180", 2.4, True),  # no power across
        ("R pl -4.00 x 090; L pl -4.00 x 090", 1.4, False),
        # As far down as out, along the weak meridian: 3.4 mm of a quarter dioptre, 0.08 of a prism dioptre.
        ("R +4.00 -3.75 x 045; L +4.00 -3.75 x 045", 2.4, True),
        # Little power across, yet no height at which the rings tell nothing: at best 0.17 of a prism dioptre.
        ("R +1.50 -2.75 x 069; L +1.50 -2.75 x 069", 1.3, False),
    ],
)
def test_a_centre_that_the_rings_cannot_tell_is_not_asked_to_the_millimetre(lenses, out, right) -> None:
    """Rings are read to a quarter (common practice); a weak lens shows less a millimetre or two away."""
    pair = make(Brief(lenses=lenses), 1)
    fields = right_ticket(pair) | {"pd_right": f"{pair.pd_mm('R') + out:.2f}"}
    assert ("centres" not in mark_pair(read_answer(fields), pair).marks.missed) is right


@pytest.mark.parametrize(("amount", "harms"), [(0.40, False), (0.60, True), (2.00, True)])
def test_a_base_on_the_other_side_harms_from_half_a_prism_dioptre(pair, fields, amount, harms) -> None:
    """The limit is the course's own: less is what two honest readings of next to nothing may say."""
    ((_, base),) = pair.ordered[0].prism
    other = {"in": "out", "out": "in", "up": "down", "down": "up"}[base]
    found = mark_pair(read_answer(fields | {"prism_right": f"{amount:.2f} base {other}"}), pair, points=10.0)
    assert "prism" in found.marks.missed
    assert bool(found.harms) is harms
    assert (found.marks.share <= 0.5) is harms


def test_how_far_off_is_told_with_its_unit(pair, fields) -> None:
    line = parse(fields["right"])
    wrong = fields | {
        "right": changed(fields["right"], sphere=line.sphere + 1.0, axis=(line.axis + 30) % 180),
        "pd_right": written(pair.pd_mm("R") + 3.0, signed=False),
        "add_left": written(pair.addition("L") + 1.0),
    }
    found = mark_pair(read_answer(wrong), pair)
    by = {(off.eye, off.skill): off for off in found.offs}
    true_sphere = float(pair.power("R").sphere_cylinder()[0])
    assert by["R", "sphere"].amount == pytest.approx(line.sphere + 1.0 - true_sphere)
    assert by["R", "axis"].amount == pytest.approx(30, abs=4) and by["R", "axis"].unit == "degree"
    assert by["R", "centres"].sentence == "R centres: off by +3.0 mm."
    assert by["L", "add"].sentence == "L add: off by +1.00 D."
    assert by["L", "sphere"].right and not by["R", "sphere"].right
    told = " ".join(found.sentences)
    assert "R lens as written, held against the pair: " in told and "more plus" in told
    assert "L lens as written" not in told
    assert found.differences["R"].strength > 0.9 and found.differences["L"].strength < 0.3


def test_a_wrong_sign_on_the_cylinder_is_shown_as_one(pair, fields) -> None:
    line = parse(fields["right"])
    found = mark_pair(
        read_answer(fields | {"right": changed(fields["right"], cylinder=-line.cylinder)}), pair
    )
    off = next(off for off in found.offs if (off.eye, off.skill) == ("R", "cylinder"))
    assert off.amount == pytest.approx(-2 * line.cylinder, abs=0.2) and not off.right
    assert "cylinder" in found.marks.missed and "sphere" not in found.marks.missed


def test_what_is_missing_is_named_and_costs_its_skill(pair, fields) -> None:
    some = {name: text for name, text in fields.items() if name not in ("add_right", "pd_left", "style")}
    found = mark_pair(read_answer(some), pair)
    assert found.missing == ("style", "R add", "L PD")
    assert set(found.marks.missed) == {"style", "add", "centres"}
    assert "Not written yet: R add." in found.sentences


@pytest.mark.parametrize("style", STYLES)
def test_an_empty_ticket_earns_nothing(style: str) -> None:
    pair = make(brief_for(style, 2), 6)
    found = mark_pair(read_answer({}), pair, points=5.0)
    assert found.marks.total == 0.0 and set(found.marks.missed) == set(found.marks.skills)
    assert found.right == () and found.offs == ()
    assert ("heights" in found.marks.skills) == ("add" in found.marks.skills) == (style != "single vision")


def test_an_addition_on_single_vision_is_wrong() -> None:
    pair = make(brief_for("single vision", 2), 6)
    fields = right_ticket(pair)
    assert "add" not in mark_pair(read_answer(fields), pair).marks.skills
    assert missed(fields, pair, add_right="+2.00") == ("add",)


@pytest.mark.parametrize(("amount", "asked"), [(0.20, False), (0.30, True), (0.60, True)])
def test_prism_worth_writing_is_asked_for(monkeypatch, amount, asked) -> None:
    """Shops grind from a quarter prism dioptre, and rings tell a quarter (common practice)."""
    pair = make(brief_for("single vision", 2), 6)
    silent = {name: text for name, text in right_ticket(pair).items() if not name.startswith("prism")}
    monkeypatch.setattr(Specimen, "prism", lambda _, eye: Prism.from_base(amount, "up", eye))
    found = mark_pair(read_answer(silent), pair)
    assert ("prism" in found.marks.skills) is asked
    assert ("R prism" in found.missing) is (amount > PRISM_WITHIN)


def test_prism_where_there_is_none_is_wrong_and_none_is_asked_for() -> None:
    pair = make(brief_for("single vision", 2), 6)
    fields = right_ticket(pair)
    assert "prism" not in mark_pair(read_answer(fields), pair).marks.skills
    assert missed(fields, pair, prism_left="1.00 base in") == ("prism",)
    assert missed(fields, pair, prism_left="none") == ()


def test_thinning_prism_is_right_written_in_both_lenses_or_in_neither() -> None:
    pair = next(
        pair
        for pair in (make(Brief(style="progressive", cylinder="none"), seed) for seed in range(20))
        if pair.thinning("R").amount > 1.0
    )
    fields = right_ticket(pair)
    assert "base down" in fields["prism_right"]
    both = {name: text for name, text in fields.items() if not name.startswith("prism")}
    assert missed(fields, pair) == missed(both, pair) == ()
    assert missed(fields | {"prism_left": "none"}, pair) == ("prism",)


def test_practice_has_no_marks_and_tells_its_skills(pair, fields) -> None:
    found = mark_pair(read_answer(fields | {"style": "trifocal"}), pair)
    assert found.marks.total == found.marks.possible == 0.0
    assert found.marks.missed == ("style",)


def test_loose_writing_is_told(pair, fields) -> None:
    found = mark_pair(read_answer(fields | {"add_right": fields["add_right"] + "0"}), pair)
    assert found.marks.missed == ("notation",)
    assert found.remarks == ("A power has a figure before the point and two behind it: 0.50, not .5.",)


def test_prism_ordered_on_a_thinned_progressive_may_be_written_as_ordered() -> None:
    pair = next(
        pair
        for pair in (make(Brief(style="progressive", cylinder="none", prism=2.0), n) for n in range(20))
        if pair.thinning("R").amount > 1.0
    )
    fields = right_ticket(pair)
    ordered = {
        f"prism_{side}": f"{line.prism[0][0]:.2f} base {line.prism[0][1]}"
        for side, line in zip(("right", "left"), pair.ordered, strict=True)
    }
    assert missed(fields, pair) == missed(fields, pair, **ordered) == ()
    assert missed(fields, pair, prism_right=ordered["prism_right"]) == ("prism",)


def test_a_cylinder_that_is_out_because_the_sphere_is_says_so():
    off = Off(skill="cylinder", eye="R", amount=1.02, unit="dioptre", right=True)
    assert off.sentence == "R cylinder: out by 1.02 D as the sphere is; the second power is right."
    close = Off(skill="cylinder", eye="R", amount=-0.12, unit="dioptre", right=True)
    assert close.sentence == "R cylinder: off by -0.12 D, near enough."


def test_what_each_skill_weighs_on_a_ticket(pair, fields) -> None:
    """Prism weighs as an axis does: wrong by itself it cannot sink a ticket, and is not shrugged off."""
    marks = mark_pair(read_answer(fields), pair, points=20.0).marks.skills
    assert {skill: round(of, 6) for skill, (_, of) in marks.items()} == {
        "sphere": 3.0,
        "cylinder": 3.0,
        "axis": 2.0,
        "form": 1.0,
        "notation": 1.0,
        "add": 3.0,
        "prism": 2.0,
        "centres": 2.0,
        "heights": 2.0,
        "style": 1.0,
    }


@pytest.mark.parametrize("lines", [0, 1], ids=["sphere lines", "cylinder lines"])
def test_an_addition_is_right_by_either_lines(lines: int) -> None:
    """Chapter 10: the same lines at distance and near; with a cylinder they lie apart by an eighth and more."""
    apart = []
    for seed in range(8):
        brief = Brief(style="progressive", strongest=4.0, cylinder="always", even=True)
        pair = make(brief, 500 + seed)
        read = {}
        for eye, side in (("R", "right"), ("L", "left")):
            lens, against = pair.spectacles.mounted(eye).lens, pair.addition_side(eye)
            by_part = []
            for part in ("near", "distance"):
                mean, *astigmatism = lens.over_stop(
                    *pair.lens_point_mm(eye, part), against
                ).read.vector.tolist()
                by_part.append(mean + (1 - 2 * lines) * math.hypot(*astigmatism))
            by_lines = by_part[0] - by_part[1]
            apart.append(abs(by_lines - pair.addition(eye)))
            # Two readings, each a twentieth of a dioptre out, the one up and the other down.
            noisy = by_lines + math.copysign(0.1, by_lines - pair.addition(eye))
            read[f"add_{side}"] = f"{round(noisy * 4) / 4:+.2f}"
        written = right_ticket(pair) | read
        missed = mark_pair(read_answer(written), pair, points=100).marks.missed
        assert "add" not in missed, (seed, written)
    assert max(apart) > 0.1
