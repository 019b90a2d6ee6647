"""What explains a ticket: asked of noisy hands, worked out by hand, and with records of moves."""

from __future__ import annotations

import importlib.util
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from time import process_time

import numpy as np
import pytest

from optics.instrument.trace import _START, MOST_LETTERS, TRAY, Trace, trace_from
from optics.judging.settling import columns
from optics.lens.multifocal import Multifocal
from optics.lens.parsing import parse
from optics.lens.power import Power
from optics.lens.prism import Prism, prism_at
from optics.lens.progressive import Progressive
from optics.marking.diagnosis import BareLenses, Diagnosis, _smaller_first, diagnose
from optics.marking.explanations import Explanation
from optics.marking.habits import CATALOGUE, slip
from optics.marking.leads_to import Truth, effects
from optics.marking.moves import evidence
from optics.marking.read import read_answer
from optics.marking.settled import NOISE, STEP, as_taught
from optics.pair.charts import charts
from optics.pair.frame import Frame
from optics.pair.records import LensRecord, PairRecord
from optics.pair.spectacles import Mounted, Spectacles
from optics.specimens.briefs import STYLES, Brief, brief_for
from optics.specimens.conditions import Condition
from optics.specimens.right_ticket import right_ticket
from optics.specimens.specimen import Specimen, make

_spec = importlib.util.spec_from_file_location("noisy_hands", Path(__file__).with_name("noisy_hands.py"))
hands = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(hands)
hands.PAIRS = 5

MANY = 25
LEAST_NAMED, MOST_STRANGERS = 0.75, 0.2
"""Tickets of a kind and style; the full figures are printed by `noisy_hands.py`."""


def names(found: Diagnosis) -> list[set[str]]:
    return [{entry.name for entry in each.slips} for each in found.ties]


# --- noisy hands, never filtered ------------------------------------------------------------


@pytest.mark.parametrize("style", STYLES)
def test_honest_hands_are_not_accused(style: str) -> None:
    accused = [hands.explained(*hands.at_work((), style, seed)) for seed in range(2 * MANY)]
    assert len(accused) == 2 * MANY and sum(map(bool, accused)) <= 2


@pytest.mark.parametrize("style", STYLES)
def test_a_habit_that_loses_marks_is_named(style: str) -> None:
    asked = right = 0
    for habits, seed in hands.tickets(style, MANY, "one", 7):
        found = hands.explained(*hands.at_work(habits, style, seed))
        if found is not None:
            asked, right = asked + 1, right + hands.named(found, habits)
    assert asked >= MANY / 2 and right >= LEAST_NAMED * asked, (right, asked)


@pytest.mark.parametrize(("habit", "least"), [("wrong chart", 0.75), ("askew chart", 0.5)])
def test_ink_in_the_wrong_place_is_told_where_it_shows(habit: str, least: float) -> None:
    found = [hands.explained(*hands.at_work((habit,), "progressive", seed)) for seed in range(MANY)]
    asked = [each for each in found if each is not None]
    right = sum(hands.named(each, (habit,)) for each in asked)
    assert len(asked) >= MANY / 2 and right >= least * len(asked), (right, len(asked))


def test_the_right_chart_laid_true_is_no_habit() -> None:
    pair = hands.pair_of("progressive", 1)
    truth, sign = Truth(pair, "minus", "bench"), pair.spectacles.right.lens.sign
    assert not truth.parts.can(f"chart {sign} 0 0 0")
    others = [each for each in hands.DESIGNS if each != sign]
    assert len(others) == 3 and all(truth.parts.can(f"chart {each} 0 0 0") for each in others)
    assert not Truth(hands.pair_of("bifocal", 1), "minus", "bench").parts.can(f"chart {sign} 0 0 0")


def test_what_no_catalogue_holds_is_seldom_called_something_else() -> None:
    said = [
        bool(hands.explained(*hands.at_work(habits, style, seed)))
        for style in STYLES[:2]
        for habits, seed in hands.tickets(style, MANY, "outside", 7)
    ]
    assert len(said) == 2 * MANY and sum(said) <= MOST_STRANGERS * len(said), sum(said)


def test_right_tickets_have_no_slip_in_either_form() -> None:
    for style in STYLES:
        for form in ("minus", "plus"):
            pair = hands.pair_of(style, 3)
            assert not diagnose(read_answer(right_ticket(pair, form)), pair, form)


def test_nothing_is_said_where_nothing_explains_it() -> None:
    said = []
    for number in range(12):
        pair = hands.pair_of(STYLES[number % 2], number)
        fields = right_ticket(pair)
        if number % 3 == 0:
            line = parse(fields["right"])
            fields["right"] = replace(line, sphere=line.sphere + 4.375).distance
        elif number % 3 == 1:
            fields["pd_left"] = "41"
        else:
            fields["right"] = "+13.75 -5.25 x 077"
        said += names(diagnose(read_answer(fields), pair))[:1]
    # An odd answer may by chance be what some habit leads to.
    assert len(said) <= 1, said


def test_what_was_not_written_is_passed_over() -> None:
    pair = specimen(thin(-2.25, -0.75, 15), thin(-1.50, -1.25, 160, "L"))
    found = diagnose(read_answer({"right": "-2.25 -0.75 x 105", "left": "-1.50 -1.25 x 070"}), pair)
    assert found.names == ("axis 90 out",)
    assert not diagnose(read_answer({}), pair)


def test_one_value_far_out_does_not_veto_the_rest() -> None:
    pair = specimen(thin(-2.25, -0.75, 15), thin(-1.50, -1.25, 160, "L"))
    fields = {"right": "-2.25 -0.75 x 105", "left": "-1.50 -1.25 x 070", "pd_right": "38", "pd_left": "32"}
    assert diagnose(read_answer(fields), pair).names == ("axis 90 out",)


# --- records of moves -------------------------------------------------------------------------


def trace(eyepiece: float = 0.0, eye: float = 0.0, moves: tuple = ()) -> Trace:
    kept = Trace(
        start=dict.fromkeys([each for each in _START if each not in TRAY], 0.0)
        | {"lens": "R", "against": "back", "aside": "no", "eyepiece": eyepiece, "wheel": 180.0},
        eye=eye,
    )
    for control, value in (*moves, ("drum", -2.0), ("noted", "sphere")):
        kept.note(control, value, 1000 * (len(kept.moves) + 1))
    return kept


def test_a_record_of_moves_is_evidence() -> None:
    pair = specimen(thin(-2.25), thin(-1.25, eye="L"))
    ticket = read_answer({"right": "-2.75 DS", "left": "-1.75 DS"})
    untouched = diagnose(ticket, pair, trace=trace(eyepiece=-5.0, eye=3.0))
    assert untouched.names == ("eyepiece not set",)
    assert "The eyepiece was not touched." in untouched.seen
    set_well = diagnose(ticket, pair, trace=trace(eyepiece=-5.0, eye=3.0, moves=(("eyepiece", 3.0),)))
    assert set_well.names == ("drum counted the wrong way",)
    assert "The eyepiece was not touched." not in set_well.seen


@pytest.mark.parametrize("damaged", [{}, {"moves": 3}, {"moves": "d1,9999999;"}, [1], "x", 7], ids=str)
def test_a_damaged_record_is_left_aside(damaged: object) -> None:
    pair = specimen(thin(-2.25), thin(-1.25, eye="L"))
    ticket = read_answer({"right": "-2.75 DS", "left": "-1.75 DS"})
    assert diagnose(ticket, pair, trace=damaged) == diagnose(ticket, pair)


def test_a_reading_that_was_struck_out_counts_against_nobody() -> None:
    """Who finds the eyepiece unset, strikes the reading out, sets it and reads again has set it."""
    pair = specimen(thin(-2.25), thin(-1.25, eye="L"))
    ticket = read_answer({"right": "-2.75 DS", "left": "-1.75 DS"})
    again = (
        ("drum", -2.75),
        ("drum", -2.0),
        ("noted", "sphere"),
        ("struck", "last"),
        ("eyepiece", 3.0),
        ("drum", 1.0),
    )
    found = diagnose(ticket, pair, trace=trace(eyepiece=-5.0, eye=3.0, moves=again))
    assert found.names == ("drum counted the wrong way",)
    assert not {"The eyepiece was not set at every reading.", "Each reading was taken once."} & {*found.seen}
    assert "A reading was come to from the minus side." not in found.seen
    kept = (*again[:3], ("drum", 1.0))
    found = diagnose(ticket, pair, trace=trace(eyepiece=-5.0, eye=3.0, moves=kept))
    assert "A reading was come to from the minus side." in found.seen and found.names == ("eyepiece not set",)


def test_of_a_record_that_ran_full_nobody_knows_what_came_after() -> None:
    pair = specimen(thin(-2.25), thin(-1.25, eye="L"))
    ticket = read_answer({"right": "-2.75 DS", "left": "-1.75 DS"})
    kept = trace()
    nothing_done = {
        "The eyepiece was not touched.",
        "The drum was not looked at without a lens.",
        "Each reading was taken once.",
    }
    assert nothing_done <= {*diagnose(ticket, pair, trace=kept).seen}
    kept.whole = False
    assert not nothing_done & {*diagnose(ticket, pair, trace=kept).seen}


def test_a_pair_that_lay_aside_when_the_record_began_is_seen_aside() -> None:
    pair = specimen(thin(-2.25), thin(-1.25, eye="L"))
    kept = trace(moves=(("drum", 0.25), ("drum", 0.0), ("aside", "no")))
    kept.start["aside"] = "yes"
    found = diagnose(read_answer({"right": "-2.75 DS", "left": "-1.75 DS"}), pair, trace=kept)
    assert "The drum was not looked at without a lens." not in found.seen


def test_the_front_of_a_bifocal_lies_on_the_stop_for_its_addition_alone() -> None:
    lenses = [Multifocal(power=sphere(-2.25), addition=2.0, eye=eye, centre_thickness_mm=0.0) for eye in "RL"]
    ticket = read_answer({"right": "-2.75 DS", "left": "-2.75 DS", "add_right": "+2.00", "add_left": "+2.00"})
    front = (("against", "front"), ("drum", -2.0), ("noted", "sphere"), ("drum", 0.0), ("noted", "sphere"))
    said = "A lens was read with its front on the stop."
    addition = trace(moves=(("drum", -2.0), ("noted", "sphere"), *front, ("against", "back")))
    assert said not in diagnose(ticket, specimen(*lenses), trace=addition).seen
    # Where the addition alone was noted nobody knows how the line was read; its second lines tell.
    assert said not in diagnose(ticket, specimen(*lenses), trace=trace(moves=front)).seen
    second = trace(moves=(*front, ("drum", -2.5), ("noted", "cylinder")))
    assert said in diagnose(ticket, specimen(*lenses), trace=second).seen
    bare = BareLenses({eye: sphere(-2.25) for eye in "RL"})
    assert said in diagnose(ticket, bare, trace=addition).seen


def test_what_is_noted_without_a_lens_is_no_reading_of_one() -> None:
    pair = specimen(thin(-2.25), thin(-1.25, eye="L"))
    ticket = read_answer({"right": "-2.75 DS", "left": "-1.75 DS"})
    # Zero is found from minus with the front down and the eyepiece out; both lenses are read as they should be.
    zero = (("aside", "yes"), ("against", "front"), ("drum", -1.0), ("drum", 0.0), ("noted", "sphere"))
    well = (("aside", "no"), ("against", "back"), ("eyepiece", 3.0), ("drum", 1.0))
    kept = trace(eyepiece=-5.0, eye=3.0, moves=(*zero, *well))
    assert not diagnose(ticket, pair, trace=kept).seen
    lens = trace(eyepiece=-5.0, eye=3.0, moves=(*zero[1:], *well))
    assert len(diagnose(ticket, pair, trace=lens).seen) >= 3


def test_the_wheel_turned_back_is_told_of_one_lens_in_one_place_alone() -> None:
    pair = specimen(thin(-2.25, -0.75, 15), thin(-1.25, -0.75, 15, "L"))
    ticket = read_answer({"right": "-2.25 -0.75 x 105", "left": "-1.25 -0.75 x 105"})
    said = "The wheel was turned by about 90 between the two readings."
    first, then = (("wheel", 105.0), ("noted", "cylinder")), (("wheel", 15.0), ("drum", -2.0))
    assert said in diagnose(ticket, pair, trace=trace(moves=(*first, *then))).seen
    for between in (("lens", "L"), ("against", "front"), ("stage_y_mm", -10.0), ("aside", "yes")):
        assert said not in diagnose(ticket, pair, trace=trace(moves=(*first, between, *then))).seen


def test_the_line_may_be_of_any_reading_of_its_lens() -> None:
    """Set late, after the lines and before the additions: the dial stood out when the power was read."""
    # What the dial led to is by chance what the other lens has.
    lenses = [
        Multifocal(power=sphere(far), addition=2.0, eye=eye) for far, eye in ((-2.25, "R"), (-2.75, "L"))
    ]
    ticket = read_answer({"right": "-2.75 DS", "left": "-2.75 DS", "add_right": "+2.00", "add_left": "+2.00"})
    late = (
        ("drum", -2.75),
        ("noted", "sphere"),
        ("eyepiece", 3.0),
        ("against", "front"),
        ("noted", "sphere"),
    )
    rest = (("lens", "L"), ("against", "back"))
    found = diagnose(ticket, specimen(*lenses), trace=trace(eyepiece=-5.0, eye=3.0, moves=(*late, *rest)))
    assert found.names == ("eyepiece not set",) and found.ranked[0].eyes == "R"


def test_a_lens_of_which_nothing_was_noted_is_not_held_to_be_read_rightly() -> None:
    pair = specimen(thin(-2.25), thin(-1.25, eye="L"))
    ticket = read_answer({"right": "-2.75 DS", "left": "-1.75 DS"})
    set_well = (("eyepiece", 3.0), ("drum", 1.0))
    both = (*set_well, ("noted", "sphere"), ("lens", "L"))
    one, two = (trace(eyepiece=-5.0, eye=3.0, moves=moves) for moves in (set_well, both))
    belief = [
        sum(
            each.posterior
            for each in diagnose(ticket, pair, trace=kept).ranked
            if each.slips == (slip("eyepiece not set"),)
        )
        for kept in (None, one, two)
    ]
    assert belief[0] == pytest.approx(belief[1], rel=0.01) and belief[2] < belief[1] / 5


def test_of_a_record_switched_on_late_nobody_knows_what_came_before() -> None:
    pair = specimen(thin(-2.25), thin(-1.25, eye="L"))
    ticket = read_answer({"right": "-2.75 DS", "left": "-1.75 DS"})
    kept = trace()
    kept.late = True
    kept = trace_from(json.loads(json.dumps(kept.bundle)))
    assert not diagnose(ticket, pair, trace=kept).seen


def test_a_chart_is_seen_where_nothing_was_noted() -> None:
    pair = make(replace(brief_for("progressive", 2), faulty=0.0, condition=()), 985_000)
    sign = pair.spectacles.right.lens.sign
    other = next(each.sign for each in charts() if each.sign != sign)
    said = "A lens was inked from a chart with another sign than its own."
    for laid, tells in ((other, True), (sign, False), ("", False)):
        kept = trace(moves=(("chart", laid), ("inked", "R"), ("inked", "L")))
        kept.moves = kept.moves[:-2]
        kept.start |= {"chart": "", "chart_under": "R"} | dict.fromkeys(TRAY[2:], 0.0)
        assert (diagnose(read_answer(right_ticket(pair)), pair, trace=kept).seen == (said,)) == tells


def test_a_record_full_of_readings_is_walked_once() -> None:
    """Made up to the last letter; asked afresh at each of its readings it costs hundreds of times what reading it does."""
    pair, full = specimen(thin(-2.25), thin(-1.25, eye="L")), trace().bundle
    full["moves"] = "n0,0;" * (MOST_LETTERS // 5)

    def costs(work: Callable) -> float:
        began = process_time()
        work()
        return process_time() - began

    reading = min(costs(lambda: trace_from(full)) for _ in range(3))
    assert min(costs(lambda: evidence(full, pair)) for _ in range(3)) < 30 * reading


def test_a_record_alone_accuses_nobody() -> None:
    pair = specimen(thin(-2.25), thin(-1.25, eye="L"))
    ticket = read_answer({"right": "-2.25 DS", "left": "-1.25 DS"})
    assert not diagnose(ticket, pair, trace=trace(eyepiece=-5.0, eye=3.0))


# --- worked out by hand ---------------------------------------------------------------------

FRAME = Frame(lens_width_mm=52, lens_height_mm=40, bridge_mm=18)


def specimen(right, left, pds=(32.0, 32.0), heights=(0.0, 0.0), conditions=()) -> Specimen:
    """A pair with these lenses, made exactly to what they are."""
    mounted = [
        Mounted(lens=lens, pd_mm=pd, height_mm=height)
        for lens, pd, height in zip((right, left), pds, heights, strict=True)
    ]
    plano = LensRecord(line=parse("pl DS"), pd_mm=32.0, centre_height_mm=0.0)
    return Specimen(
        order=PairRecord(right=plano, left=plano),
        spectacles=Spectacles(right=mounted[0], left=mounted[1]),
        frame=FRAME,
        brief=Brief(),
        conditions=conditions,
    )


def sphere(power: float) -> Power:
    return Power.from_sphere_cylinder(power)


def thin(
    sphere_power: float, cylinder: float = 0.0, axis: float = 90.0, eye: str = "R", **more
) -> Multifocal:
    """A bifocal of no thickness, add +2.00."""
    power = Power.from_sphere_cylinder(sphere_power, cylinder, axis)
    return Multifocal(power=power, addition=2.0, eye=eye, centre_thickness_mm=0.0, **more)


def led_to(pair: Specimen, channel: str, eye: str, read: str = "", write: str = ""):
    """What a way of reading or writing leads to, before it is settled."""
    truth = Truth(pair, "minus", "bench")
    number = effects("bench")[channel, eye][0].index((read, write))
    if channel == "line":
        return truth._power(eye, read)
    return truth.values(channel, eye)[number, 0]


def test_a_front_addition_read_from_the_back_of_a_thick_plus_lens() -> None:
    # +6.00 on a +9.00 front, 6 mm thick in 1.5, add +2.50: back vertex power of the near
    # part less that of the distance part is 11.50/(1 - 0.004 x 11.50) - 9/(1 - 0.004 x 9).
    by_hand = 11.5 / (1 - 0.004 * 11.5) - 9.0 / (1 - 0.004 * 9.0)
    lenses = [
        Multifocal.made_to(
            power=sphere(6.0),
            addition=2.5,
            eye=eye,
            front_curve=9.0,
            centre_thickness_mm=6.0,
            index=1.5,
            top_mm=-1.0,  # near the middle, for which the closed form holds
        )
        for eye in "RL"
    ]
    pair = specimen(*lenses)
    assert led_to(pair, "add", "R") == pytest.approx(2.5, abs=0.01)
    assert led_to(pair, "add", "R", "other side") == pytest.approx(by_hand, abs=0.05)
    assert by_hand == pytest.approx(2.72, abs=0.005)


def test_near_total_is_distance_and_addition_together() -> None:
    pair = specimen(thin(1.0), thin(1.0, eye="L"))
    assert led_to(pair, "add", "R", write="total") == pytest.approx(3.0, abs=0.02)
    assert led_to(pair, "add", "R", write="half") == pytest.approx(1.0, abs=0.02)


def test_prism_in_the_middle_of_the_rim_is_prentices() -> None:
    # Boxing centres stand 35 mm from the middle, the optical centres 32: 3 mm out on -4.00
    # is 1.2 prism dioptres base out.
    pair = specimen(thin(-4.0), thin(-4.0, eye="L"))
    for eye in "RL":
        met = Prism(led_to(pair, "prism", eye, "centre"))
        assert met.bases(eye, 0.01)[0] == (pytest.approx(1.2, abs=0.02), "out")
        assert (met - prism_at(sphere(-4.0), -3.0 if eye == "R" else 3.0, 0.0)).amount < 0.02


def test_a_progressive_read_at_the_prism_reference_point_has_some_of_the_addition_in_it() -> None:
    pair = specimen(*(Progressive(power=sphere(-1.0), addition=2.5, eye=eye) for eye in "RL"))
    for eye in "RL":
        right, read = led_to(pair, "line", eye), led_to(pair, "line", eye, "reference")
        gained = (read.sphere + read.cylinder / 2) - (right.sphere + right.cylinder / 2)
        assert 0.15 < gained < 0.6
        # What distance gains, the addition loses.
        lost = led_to(pair, "add", eye) - led_to(pair, "add", eye, "from reference")
        assert lost == pytest.approx(gained, abs=0.06)
    # Three millimetres beside the line of sight there is astigmatism as well.
    assert led_to(pair, "line", "R", "centre").cylinder < -0.1


def test_a_base_reversed() -> None:
    lenses = [
        Multifocal(
            power=sphere(0.5),
            addition=2.0,
            eye=eye,
            prism=Prism.from_base(2.0, "in", eye) + Prism.from_base(1.0, "up", eye),
            centre_thickness_mm=0.0,
        )
        for eye in "RL"
    ]
    pair = specimen(*lenses)
    for write, told in {
        "across": "2.00 base out and 1.00 base up",
        "all": "2.00 base out and 1.00 base down",
        "upside": "2.00 base in and 1.00 base down",
        # Base in before both eyes adds up; base up before both is no more than none.
        "all here": "4.00 base in",
    }.items():
        for eye in "RL":
            assert Prism(led_to(pair, "prism", eye, write=write)).written(eye) == told


def test_exchanged_lenses_keep_the_side_on_which_their_prism_lies() -> None:
    # Base in of a right lens points to the viewer's right; written for the left it is out.
    lenses = [
        Multifocal(
            power=sphere(1.0 if eye == "R" else 2.0),
            addition=2.0,
            eye=eye,
            prism=Prism.from_base(2.0, "in" if eye == "R" else "up", eye),
            centre_thickness_mm=0.0,
        )
        for eye in "RL"
    ]
    pair = specimen(*lenses, pds=(31.0, 33.0))
    assert led_to(pair, "line", "L", "laid").sphere == pytest.approx(1.0, abs=0.003)
    assert Prism(led_to(pair, "prism", "L", "laid")).written("L") == "2.00 base out"
    assert [led_to(pair, "pd", eye, write="laid") for eye in "RL"] == [33.0, 31.0]


def test_a_front_bent_by_15_degrees_shows_martins_cylinder() -> None:
    # +6.00 tilted 15 degrees about the vertical: cylinder 6.13 tan2 15 = +0.44 x 090 (Martin).
    bent = Condition(name="front bent", eye="R", tilt_degrees=15.0, tilt_axis=90.0)
    pair = specimen(thin(6.0), thin(6.0, eye="L"), conditions=(bent,))
    line = led_to(pair, "line", "R", "bent")
    assert line.cylinder == pytest.approx(-0.44, abs=0.02)
    # Read a millimetre above the optical centre, which turns so weak a cylinder a little.
    assert line.axis == pytest.approx(180.0, abs=4.0)
    assert line.sphere + line.cylinder == pytest.approx(6.0 * (1 + 0.067 / 3), abs=0.02)
    assert led_to(pair, "line", "L", "bent").cylinder == pytest.approx(0.0, abs=0.01)


def test_a_lens_turned_in_its_rim_shows_its_axis_turned() -> None:
    twisted = Condition(name="temple twisted", eye="L", turned_degrees=6.0)
    pair = specimen(thin(-1.0, -2.0, 20), thin(-1.0, -2.0, 20, "L"), conditions=(twisted,))
    axes = [led_to(pair, "line", eye, "bent").axis for eye in "RL"]
    assert axes == [pytest.approx(20.0, abs=0.01), pytest.approx(26.0, abs=0.01)]


def test_lengths_measured_wrongly() -> None:
    pair = specimen(thin(1.0), thin(1.5, eye="L"), pds=(31.5, 32.5))
    assert [led_to(pair, "pd", eye, write="tenth") for eye in "RL"] == pytest.approx([3.15, 3.25])
    assert led_to(pair, "pd", "R", write="whole") == pytest.approx(64.0)
    # Segment tops stand 4 mm below the datum line of a lens 40 mm high, the reference point on it.
    by_hand = {"": 16.0, "tenth": 1.6, "datum": 4.0, "reference": 20.0, "upper rim": 24.0}
    found = {write: led_to(pair, "height", "R", write=write) for write in by_hand}
    assert found == pytest.approx(by_hand)


def test_a_shift_of_its_own_size_and_a_habit_of_fixed_size_are_told_together() -> None:
    pair = specimen(thin(-2.25), thin(-1.25, eye="L"))
    found = names(diagnose(read_answer({"right": "-2.75 DS", "left": "-1.75 DS"}), pair))
    assert {"drum counted the wrong way"} in found


def test_digits_change_places_on_what_the_hand_read_not_on_what_is_true() -> None:
    # The true axes are 20 and 160, which would become 002 and 106; read as 23 and 163 they are written so.
    pair = specimen(thin(-2.25, -0.75, 20), thin(-1.50, -1.25, 160, "L"))
    found = diagnose(read_answer({"right": "-2.25 -0.75 x 032", "left": "-1.50 -1.25 x 136"}), pair)
    assert found.names == ("digits of the axis exchanged",)


def test_a_height_from_the_datum_line_has_the_error_of_a_rule() -> None:
    # Segment tops 4 mm below the middle line of 40 mm: 16 from the rim, 4 from the line.
    pair = specimen(thin(1.0), thin(1.5, eye="L"))
    ticket = {"right": "+1.00 DS", "left": "+1.50 DS", "height_right": "5.0", "height_left": "3.1"}
    assert diagnose(read_answer(ticket), pair).names == ("height from the datum line",)


def test_no_axis_is_copied_from_a_lens_that_has_none() -> None:
    # The last bits of a sphere's power have an axis, and it is the one that was written.
    sphere = Power.from_sphere_cylinder(1.0, -1e-9, 120)
    pair = BareLenses({"R": Power.from_sphere_cylinder(-2.0, -0.75, 30), "L": sphere})
    found = diagnose(read_answer({"right": "-2.00 -0.75 x 120", "left": "+1.00 DS"}), pair)
    assert names(found) == [{"axis 90 out"}]


def test_a_cylinder_overlooked_between_its_two_readings_is_one_habit() -> None:
    # Where both sets of lines are least blurred: -4.50 and -6.50 meet at -5.50.
    pair = specimen(thin(-4.5, -2.0, 20), thin(-3.25, -1.0, 160, "L"))
    found = diagnose(read_answer({"right": "-5.50 DS", "left": "-3.25 -1.00 x 160"}), pair)
    assert found.names == ("cylinder overlooked",)


def test_what_is_copied_is_what_was_written_of_the_other_lens() -> None:
    # The left lens was read a step off in its cylinder, and the right one has that very line.
    pair = specimen(thin(-1.0, -0.75, 8), thin(-0.75, -1.0, 2, "L"))
    copied = diagnose(read_answer({"right": "-0.75 -1.25 x 005", "left": "-0.75 -1.25 x 005"}), pair)
    assert copied.names == ("line copied from the other lens",)
    each_its_own = diagnose(read_answer({"right": "-0.75 -1.25 x 008", "left": "-1.00 -0.75 x 004"}), pair)
    assert not any("copied" in name for each in names(each_its_own) for name in each)


def test_nothing_is_copied_from_a_lens_that_copied_it() -> None:
    # Both lines are the same and neither lens has such an axis: it came from neither.
    pair = specimen(thin(-1.0, -0.75, 8), thin(-0.75, -1.0, 2, "L"))
    for each in names(
        diagnose(read_answer({"right": "-0.75 -1.00 x 050", "left": "-0.75 -1.00 x 050"}), pair)
    ):
        assert len([name for name in each if "copied" in name]) < 2, each


def test_lines_alone_in_each_others_boxes_are_an_exchange() -> None:
    pair = specimen(
        thin(-2.25, -0.75, 15, prism=Prism.from_base(2.0, "in", "R")), thin(-1.5, -1.25, 160, "L")
    )
    ticket = {"right": "-1.50 -1.25 x 160", "left": "-2.25 -0.75 x 015"}
    ticket |= {"prism_right": "2.00 base in", "prism_left": "no prism"}
    assert diagnose(read_answer(ticket), pair).names == ("lenses exchanged",)


def test_thinning_prism_is_left_out_in_both_lenses_or_it_is_overlooked_in_one() -> None:
    lenses = [Progressive(power=sphere(-1.0), addition=2.5, eye=eye, thinning=1.67) for eye in "RL"]
    pair = specimen(*lenses)
    right = right_ticket(pair)
    assert right["prism_right"] == right["prism_left"] == "1.75 base down"
    one = diagnose(read_answer(right | {"prism_left": "no prism"}), pair)
    assert one.names == ("prism overlooked",) and one.ranked[0].eyes == "L"
    assert not diagnose(read_answer(right | {"prism_left": "no prism", "prism_right": "no prism"}), pair)


@pytest.mark.parametrize(
    ("sphere_power", "cylinder"), [(-2.0, -0.03), (0.5, -0.2), (-1.13, -0.31), (3.4, -1.12)]
)
def test_lines_are_settled_as_often_as_noisy_readings_are(sphere_power: float, cylinder: float) -> None:
    first, second = np.random.default_rng(3).normal(
        [[sphere_power], [sphere_power + cylinder]], NOISE, (2, 20_000)
    )
    first, second = np.maximum(first, second), np.minimum(first, second)
    line = columns(Power.from_sphere_cylinder(first, second - first, 90.0))
    near, nearest = np.arange(-1, 2), np.round(np.array([sphere_power, sphere_power + cylinder]) / STEP)
    up, down = (np.round(each[..., 0] / STEP)[:, None] for each in (line.higher, line.lower))
    counted = (up == np.repeat(nearest[0] + near, 3)) & (down == np.tile(nearest[1] + near, 3))
    shares = as_taught(np.array([sphere_power]), np.array([sphere_power + cylinder]))[0]
    assert shares == pytest.approx(counted.mean(axis=0), abs=0.03)


def test_the_smaller_of_two_accounts_leads() -> None:
    one, two = CATALOGUE[:2]
    ranked = [Explanation((one, two), 0.5), Explanation((two,), 0.3), Explanation((one,), 0.05)]
    assert [each.slips for each in _smaller_first(ranked)] == [(two,), (one, two), (one,)]
    assert _smaller_first(ranked[::2])[0].slips == (one, two)


def test_half_of_a_cylinder_may_be_put_on_a_step_again() -> None:
    pair = specimen(thin(-0.75, -1.25, 4), thin(1.0, -1.75, 172, "L"))
    found = diagnose(read_answer({"right": "-0.75 -0.50 x 004", "left": "+1.00 -1.00 x 172"}), pair)
    assert found.names == ("half the cylinder",)


@pytest.mark.parametrize(
    ("lens", "wrote", "habit"),
    [
        # First reading +2.25 taken for -2.25, the second stays +1.50: cylinder 3.75, the more plus power first.
        ((2.25, -0.75, 15), "+1.50 -3.75 x 105", "drum read across zero"),
        # Second reading -4.00 taken for +4.00 beside -3.00.
        ((-3.0, -1.0, 82), "+4.00 -7.00 x 172", "drum read across zero"),
        # A quarter past 2 is taken for a quarter before it, at the first reading; -3.00 stays.
        ((-2.25, -0.75, 15), "-1.75 -1.25 x 015", "drum counted the wrong way"),
        # Second reading +3.75 for +2.75: the cylinder is weaker than a dioptre, and +3.75 is then the first.
        ((3.0, -0.25, 72), "+3.75 -0.75 x 162", "a whole dioptre out"),
    ],
)
def test_one_of_the_two_drum_readings_is_wrong(lens: tuple, wrote: str, habit: str) -> None:
    pair = specimen(thin(*lens), thin(-1.5, -0.5, 160, "L"))
    assert {habit} in names(diagnose(read_answer({"right": wrote, "left": "-1.50 -0.50 x 160"}), pair))


def test_each_lens_may_show_a_habit_in_its_own_way() -> None:
    # Ten too many in the right lens, ten too few in the left.
    pair = specimen(thin(-2.25, -1.5, 116), thin(-1.50, -1.5, 59, "L"))
    found = diagnose(read_answer({"right": "-2.25 -1.50 x 126", "left": "-1.50 -1.50 x 049"}), pair)
    assert found.names == ("axis 10 out",) and found.ranked[0].eyes == "RL"


@pytest.mark.parametrize(
    ("right", "left"),
    [("-2.25 -2.00 x 040", "-1.50 -2.00 x 130"), ("-2.00 -2.00 x 036", "-2.00 -2.00 x 126")],
)
def test_what_stands_on_round_numbers_is_told(right: str, left: str) -> None:
    # The axes are 36 and 126; or the spheres are -2.25 and -1.75, put on the whole dioptre.
    pair = specimen(thin(-2.25, -2.0, 36), thin(-1.50 if "130" in left else -1.75, -2.0, 126, "L"))
    assert {"put on round numbers"} in names(diagnose(read_answer({"right": right, "left": left}), pair))


def test_a_number_that_is_round_by_itself_accuses_nobody() -> None:
    pair = specimen(thin(-2.0, -2.0, 180), thin(-3.0, -2.0, 90, "L"), pds=(32.0, 32.0))
    ticket = {"right": "-2.00 -2.00 x 180", "left": "-3.00 -2.00 x 090", "pd_right": "38", "pd_left": "32"}
    assert not any("put on round numbers" in each for each in names(diagnose(read_answer(ticket), pair)))


def test_a_sphere_without_a_sign_has_lost_it_and_one_with_a_plus_was_misread() -> None:
    pair = specimen(thin(-2.25, -0.75, 15), thin(-1.50, -1.25, 160, "L"))
    for typed, first in (
        ("2.25 -0.75 x 015", "minus sign left out"),
        ("+2.25 -0.75 x 015", "drum read across zero"),
    ):
        found = diagnose(read_answer({"right": typed, "left": "-1.50 -1.25 x 160"}, "minus"), pair)
        assert found.names == (first,), typed


def test_no_minus_is_left_out_of_a_plus_in_either_form() -> None:
    plus = specimen(thin(2.25), thin(1.5, eye="L"))
    for form in ("minus", "plus"):
        found = diagnose(read_answer({"right": "-2.25 DS", "left": "+1.50 DS"}, form), plus, form)
        assert not any("minus sign left out" in each for each in names(found)), form
    minus = specimen(thin(-2.25), thin(-1.5, eye="L"))
    found = diagnose(read_answer({"right": "2.25 DS", "left": "-1.50 DS"}, "plus"), minus, "plus")
    assert found.names == ("minus sign left out",)


@pytest.mark.parametrize(("right", "left"), [("pl DS", "pl DS"), ("-3.00 -1.50 x 180", "-3.25 -1.75 x 180")])
def test_what_is_put_down_without_a_look_is_no_copy(right: str, left: str) -> None:
    pair = specimen(thin(-3.0, -1.5, 20), thin(-3.25, -1.75, 151, "L"))
    found = diagnose(read_answer({"right": right, "left": left}), pair)
    assert not any("copied" in name for each in names(found) for name in each)


def test_a_cylinder_may_be_copied_alone() -> None:
    pair = specimen(thin(-3.0, -0.5, 20), thin(-1.25, -2.25, 151, "L"))
    found = diagnose(read_answer({"right": "-3.00 -2.25 x 020", "left": "-1.25 -2.25 x 151"}), pair)
    assert found.names == ("cylinder copied from the other lens",)


@pytest.mark.parametrize(
    ("field", "wrote", "habit"),
    [
        ("pd_right", "64", "whole distance for one eye"),
        ("pd_right", "16", "half of each distance"),
        ("height_left", "24", "height from the upper rim"),
        ("add_left", "+3.00", "near total written as add"),
    ],
)
def test_a_length_or_an_addition_may_be_wrong_in_one_eye(field: str, wrote: str, habit: str) -> None:
    # Segment tops stand 16 over the lowest point of lenses 40 high; +1.00 with an addition of 2.00 is +3.00.
    pair = specimen(thin(1.0), thin(1.0, eye="L"))
    right = {"right": "+1.00 DS", "left": "+1.00 DS", "pd_right": "32", "pd_left": "32"}
    right |= {"height_right": "16", "height_left": "16", "add_right": "+2.00", "add_left": "+2.00"}
    assert not diagnose(read_answer(right), pair)
    found = diagnose(read_answer(right | {field: wrote}), pair)
    assert (
        found.names == (habit,) and found.ranked[0].eyes == {"right": "R", "left": "L"}[field.split("_")[1]]
    )


def test_thinning_prism_stays_where_the_other_base_is_reversed() -> None:
    lenses = [
        Progressive(
            power=sphere(-1.0), addition=2.5, eye=eye, thinning=1.67, prism=Prism.from_base(2.0, "in", eye)
        )
        for eye in "RL"
    ]
    pair = specimen(*lenses)
    right = right_ticket(pair)
    assert right["prism_left"] == "2.00 base in and 1.75 base down"
    wrong = {"prism_left": "2.00 base out and 1.75 base down"}
    assert diagnose(read_answer(right | wrong), pair).names == ("base reversed in one eye",)
    both = {"prism_right": "1.75 base down", "prism_left": "4.00 base in and 1.75 base down"}
    assert {"prism all in one lens"} in names(diagnose(read_answer(right | both), pair))


def test_a_habit_that_cost_nothing_is_not_told() -> None:
    one, two = CATALOGUE[0], next(entry for entry in CATALOGUE if entry.spoils == {"add"})
    found = Diagnosis(ranked=(Explanation((one,), 0.5), Explanation((two,), 0.3)))
    assert found.about(["axis"]).slips == (one,)
    assert not found.about(["style"])
    # What is left was not likely while the other was there, and has not become likely by its going.
    prism = next(entry for entry in CATALOGUE if entry.spoils == {"prism"})
    assert not Diagnosis(ranked=(Explanation((prism,), 0.5), Explanation((two,), 0.3))).about(["add"])


def test_a_cylinder_written_of_a_sphere_costs_the_sphere() -> None:
    entry = next(each for each in CATALOGUE if each.name == "second power as cylinder")
    assert Diagnosis(ranked=(Explanation((entry,), 0.9),)).about(["sphere"]).slips == (entry,)


def test_a_second_reading_that_cost_the_cylinder_alone_is_told() -> None:
    # The sphere is right where the second reading alone was counted the wrong way.
    entry = next(each for each in CATALOGUE if each.name == "drum counted the wrong way")
    assert Diagnosis(ranked=(Explanation((entry,), 0.9),)).about(["cylinder"]).slips == (entry,)


def test_ways_that_fit_as_well_are_named_together_however_rare() -> None:
    one, two, three = CATALOGUE[:3]
    first, rare = Explanation((one,), 0.8, fit=-4.0), Explanation((two,), 0.05, fit=-4.5)
    worse = Explanation((three,), 0.05, fit=-9.0)
    assert [each.slips for each in Diagnosis(ranked=(first, rare, worse)).ties] == [(one,), (two,)]
    assert len(Diagnosis(ranked=(first, rare._replace(posterior=0.01))).ties) == 1


def test_the_dial_of_a_record_tells_by_how_much_the_powers_are_out() -> None:
    # Eight dioptres too far out on the dial for this eye, a telescope that enlarges four times: half a dioptre too high.
    pair = specimen(thin(-2.25), thin(-1.25, eye="L"))
    half_up = read_answer({"right": "-1.75 DS", "left": "-0.75 DS"})
    half_down = read_answer({"right": "-2.75 DS", "left": "-1.75 DS"})
    moves = (("lens", "L"), ("drum", -1.0), ("noted", "sphere"), ("lens", "R"))
    out = trace(eyepiece=5.0, eye=-3.0, moves=moves)
    up, down = (diagnose(each, pair, trace=out) for each in (half_up, half_down))
    assert up.names == ("eyepiece not set",)
    without = diagnose(half_up, pair)
    of = [
        sum(e.posterior for e in f.ranked if "eyepiece not set" in [s.name for s in e.slips])
        for f in (up, without)
    ]
    assert of[0] > 0.9 > of[1]
    # Half a dioptre the other way is not what this dial does.
    assert "eyepiece not set" not in down.names


def test_one_reading_of_a_sphere_that_is_wrong_shows_as_a_cylinder() -> None:
    """A noisy hand read a sphere of +0.50 twice, once across zero; the wheel was left at 180."""
    pair = specimen(thin(0.47), thin(0.47, -1.26, 76, "L"))
    found = diagnose(read_answer({"right": "+0.50 -1.00 x 180", "left": "+0.50 -1.25 x 076"}), pair)
    assert "drum read across zero" in {name for each in names(found) for name in each}


def test_who_rounds_away_from_zero_does_so_on_either_side() -> None:
    """Readings about nothing: +0.02 and -1.02 make +0.25 -1.50, worked out by hand."""
    pair = specimen(thin(0.0, -1.02, 107), thin(-0.03, -1.22, 73, "L"))
    found = diagnose(read_answer({"right": "+0.25 -1.50 x 107", "left": "+0.25 -1.75 x 073"}), pair)
    assert found.names == ("rounded away from zero",)


def test_a_cylinder_of_the_other_sign_is_not_as_odd_as_any() -> None:
    pair = specimen(thin(1.80, -1.52, 92), thin(1.25, -1.0, 76, "L"))
    found = diagnose(read_answer({"right": "+1.75 +1.25 x 092", "left": "+1.25 -1.00 x 076"}), pair)
    assert found.names == ("cylinder sign kept",)


@pytest.mark.parametrize("first", [61, 62])
def test_what_is_named_is_believed_sooner_than_not(first: int) -> None:
    for style in STYLES:
        for kind in ("one", "two", "outside"):
            for names_, seed in hands.tickets(style, 12, kind, first):
                found = hands.explained(*hands.at_work(names_, style, seed))
                if found:
                    assert sum(each.posterior for each in found.ties) >= 0.5 or found.seen, (
                        style,
                        names_,
                        seed,
                    )


def test_what_is_done_in_one_lens_is_not_said_of_two() -> None:
    pair = specimen(
        thin(-2.25, -0.75, 15, prism=Prism.from_base(2.0, "in", "R")),
        thin(-1.50, -1.25, 160, "L", prism=Prism.from_base(1.5, "in", "L")),
    )
    right = right_ticket(pair)
    reversed_ = {"prism_right": "2.00 base out", "prism_left": "1.50 base out"}
    told = names(diagnose(read_answer(right | reversed_), pair))
    assert told == [{"base reversed in both eyes"}]
    nothing = {"prism_right": "no prism", "prism_left": "no prism"}
    assert names(diagnose(read_answer(right | nothing), pair)) == [{"prism overlooked"}]


def test_no_slip_of_the_pen_comes_before_one_at_the_drum() -> None:
    pen = {entry.name for entry in CATALOGUE if entry.at_the_ticket}
    drum = {entry.name for entry in CATALOGUE if not entry.at_the_ticket}
    assert {"decimal point misplaced", "digits of the axis exchanged", "form not converted"} <= pen
    assert {"drum read across zero", "eyepiece not set", "near read in the corridor"} <= drum
    told = 0
    for number in range(60):
        found = hands.explained(
            *hands.at_work(("decimal point misplaced", "eyepiece not set"), "bifocal", number)
        )
        for one, *two in found.either if found else ():
            told += bool(two)
            assert not (two and one in pen and two[0] in drum), (number, one, two)
    assert told
