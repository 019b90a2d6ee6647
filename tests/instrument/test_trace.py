"""The trace of a hand: small, the same after a notebook, and harmless when it is damaged."""

import json

import numpy as np
import pytest

from optics.errors import OpticsError
from optics.instrument.trace import MOST_LETTERS, TRACE_MIME, DrumReading, Trace, trace_from, traces_in
from optics.lens.lens import SingleVision
from optics.lens.power import Power
from optics.pair.spectacles import Mounted, Spectacles

START = {
    "lens": "R",
    "against": "back",
    "aside": "no",
    "drum": 0.0,
    "wheel": 180.0,
    "eyepiece": 0.0,
    "stage_x_mm": -31.5,
    "stage_y_mm": 1.0,
    "compensator": 0.0,
    "compensator_base": 0.0,
}
MINUS_TWO = SingleVision(power=Power.from_sphere_cylinder(-2.00))
PAIR = Spectacles(right=Mounted(lens=MINUS_TWO, pd_mm=31.5, height_mm=1.0), left=Mounted(lens=MINUS_TWO))


@pytest.fixture
def worked():
    """An eyepiece set, a drum turned, two readings noted and the last struck out."""
    trace = Trace(start=dict(START), eye=1.25, pair="A")
    trace.note("eyepiece", 1.25, 2_000)
    trace.note("drum", -2.0, 9_000)
    trace.note("noted", "sphere", 10_000)
    trace.note("drum", -1.9, 14_000)
    trace.note("noted", "cylinder", 15_000)
    trace.note("struck", "last", 16_000)
    trace.note("lens", "L", 18_000)
    return trace


def test_a_trace_is_the_same_after_a_notebook(worked):
    again = trace_from(json.loads(json.dumps(worked.bundle)))
    assert again.moves == worked.moves
    assert (again.start, again.eye, again.pair, again.whole) == (worked.start, 1.25, "A", True)
    assert again.readings == (DrumReading(eye="R", against="back", lines="sphere", drum=-2.0, wheel=180.0),)


def test_any_moment_is_drawn_as_it_was_seen(worked):
    again = trace_from(worked.bundle)
    blurred, sharp = (again.picture(PAIR, moves, 96) for moves in (0, 2))
    # At the lens's own power the lines are as bright as the target, before they were not.
    assert sharp.max() > 0.9 > blurred.max()
    assert np.array_equal(sharp, worked.picture(PAIR, 2, 96))


def test_a_reading_is_told_turn_by_turn():
    trace = Trace(start=dict(START))
    for ms, drum in ((0, -1.0), (500, -2.0), (900, -2.25)):
        trace.note("drum", drum, ms)
    trace.note("noted", "sphere", 1_500)
    trace.note("wheel", 15.0, 2_000)
    assert trace.turns == (3, 4, 5)
    told = [trace.moves[made - 1].words for made in trace.turns]
    assert told == ["drum to -2.25 D", "sphere lines noted", "wheel to 015"]


def test_a_turning_control_is_kept_ten_times_a_second_and_at_its_last_place():
    trace = Trace(start=dict(START))
    for frame in range(61):
        trace.note("drum", -0.05 * frame, 16 * frame)
    assert 8 <= len(trace.moves) <= 11
    assert trace.after(len(trace.moves))["drum"] == -3.0


def test_an_hour_of_work_stays_small_and_keeps_the_readings():
    trace = Trace(start=dict(START))
    for i in range(20_000):
        trace.note(
            ("drum", "wheel", "stage_x_mm")[i // 40 % 3],
            (1 + i % 20, 1 + i % 20, -30.5)[i // 40 % 3],
            150 * i,
        )
        if i in (100, 5_000):
            trace.note("noted", "sphere", 150 * i + 1)
    size = len(json.dumps(trace.bundle))
    assert size < 15_000
    assert len(trace.readings) == 2
    assert trace_from(trace.bundle).moves == trace.moves


def hesitant(minutes=40, readings=10):
    """Both lenses, both sets of lines, ten readings each: to and fro, from plus, by a hand that never settles."""
    chance = np.random.default_rng(3)
    trace, ms, noted = Trace(start=dict(START)), 0, []
    each = minutes * 60_000 // (4 * readings)

    def turn(control, value):
        nonlocal ms
        ms += int(chance.integers(100, 400))
        trace.note(control, round(float(value), 2), ms)

    for eye in "RL":
        trace.note("lens", eye, ms)
        for lines in ("sphere", "cylinder"):
            for _ in range(readings):
                until = ms + each
                while ms < until - 5_000:
                    turn("drum", chance.uniform(-4, 4))
                    turn("wheel", chance.integers(1, 181))
                    turn("stage_x_mm", chance.uniform(-35, -25) * (1 if eye == "R" else -1))
                    turn("stage_y_mm", chance.uniform(-5, 5))
                drum = chance.uniform(-3, -1)
                turn("drum", drum + 0.5)
                turn("drum", drum)
                ms = until
                trace.note("noted", lines, ms)
                noted.append((len(noted), dict(trace.after(len(trace.moves))), ms))
    return trace, noted


def test_a_hesitant_hour_thins_itself_and_every_reading_stands_as_it_stood():
    trace, noted = hesitant()
    assert trace.whole and trace.thinned and len(noted) == 40
    # Two cells of a pair carry it.
    assert 2 * len(json.dumps(trace.bundle)) <= 30_000
    again = trace_from(json.loads(json.dumps(trace.bundle)))
    assert again.moves == trace.moves and again.thinned
    kept = [at for at, move in enumerate(again.moves) if move.control == "noted"]
    assert len(kept) == len(again.readings) == 40
    for at, (_, stood, ms) in zip(kept, noted, strict=True):
        assert again.after(at) == stood and again.moves[at].ms == ms
        # Come to from plus each time; what was left out makes nobody come from minus.
        last_two = [move.value for move in again.moves[:at] if move.control == "drum"][-2:]
        assert last_two[1] == pytest.approx(last_two[0] - 0.5, abs=0.02)
    # The newest moves are all there.
    assert again.moves[-1].ms - again.moves[-100].ms < 60_000
    assert np.array_equal(again.picture(PAIR, kept[0], 48), trace.picture(PAIR, kept[0], 48))


def test_a_drag_over_the_stage_is_no_longer_than_one_of_the_drum():
    trace = Trace(start=dict(START))
    for frame in range(61):
        trace.note("stage_x_mm", -31.5 + 0.1 * frame, 16 * frame)
        trace.note("stage_y_mm", 0.1 * frame, 16 * frame)
    assert 16 <= len(trace.moves) <= 22
    stood = trace.after(len(trace.moves))
    assert (stood["stage_x_mm"], stood["stage_y_mm"]) == pytest.approx((-25.5, 6.0))
    assert trace._letters == len(trace.text)


def test_how_a_chart_lay_when_the_ink_went_on_is_kept():
    tray = {
        "chart": "",
        "chart_under": "R",
        "chart_x_mm": 0.0,
        "chart_y_mm": -8.0,
        "chart_turned_degrees": 5.0,
    }
    trace = Trace(start={**START, **tray})
    for ms, (control, value) in enumerate(
        (("chart", "Hb4"), ("chart_x_mm", 1.5), ("chart_turned_degrees", -2.0), ("inked", "R"),
         ("chart_under", "L"), ("chart", "Hb2"), ("chart_y_mm", -3.0), ("inked", "L"), ("drum", 1.0))
    ):  # fmt: skip
        trace.note(control, value, 1_000 * ms)
    again = trace_from(json.loads(json.dumps(trace.bundle)))
    assert again.moves == trace.moves and again.start == trace.start
    right = {
        "chart": "Hb4",
        "chart_under": "R",
        "chart_x_mm": 1.5,
        "chart_y_mm": -8.0,
        "chart_turned_degrees": -2.0,
    }
    assert again.inked(3) == {} and again.inked(4) == {"R": right}
    left = {**right, "chart": "Hb2", "chart_under": "L", "chart_y_mm": -3.0}
    assert again.inked(9) == {"R": right, "L": left}
    assert [move.words for move in again.moves][:4] == [
        "chart Hb4 taken", "chart to +1.5 mm across", "chart turned to -2 degrees", "right lens inked",
    ]  # fmt: skip
    # A bench without a tray has nothing of it.
    assert "chart" not in trace_from(Trace(start=dict(START)).bundle).start


def damaged(worked):
    good = worked.bundle
    yield from (None, [], "moves", 7, {}, {**good, "moves": None}, {**good, "moves": "d1,5"})
    yield {**good, "moves": "d1,99999;"}  # far beyond the drum
    yield {**good, "moves": "z1,5;"}
    yield from ({**good, "moves": moves} for moves in ("q1,5;", "i1,0;"))  # there is no tray
    yield {**good, "moves": "l1,2;"}
    yield {**good, "moves": "d99999999,5;" * 3}
    yield {**good, "moves": "d1,5;" * MOST_LETTERS}
    yield {**good, "moves": "d1,5;<script>"}
    yield {**good, "moves": "d١,5;"}
    yield {**good, "start": {**good["start"], "drum": "far"}}
    yield {**good, "start": {**good["start"], "wheel": True}}
    yield {**good, "start": {}}
    yield {**good, "eye": float("nan")}


def test_a_damaged_or_forged_trace_is_told(worked):
    tried = list(damaged(worked))
    assert len(tried) > 15
    for data in tried:
        with pytest.raises(OpticsError, match="cannot be read"):
            trace_from(data)


def test_traces_of_a_notebook_and_none_that_cannot_be_read(worked):
    outputs = [{"data": {TRACE_MIME: data}} for data in (worked.bundle, *damaged(worked))]
    cells = [{"id": "pair-a", "outputs": [*outputs, None, {"data": 3}]}, {"outputs": "none"}, 5]
    found = traces_in({"cells": cells})
    assert [(cell, trace.pair) for cell, trace in found] == [("pair-a", "A")]
    for other in (None, [], {"cells": 3}):
        assert traces_in(other) == ()
