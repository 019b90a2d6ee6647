"""The right reading shown step by step: who does what it says reads the pair right.

The operator of these tests has the stage, the drum and the wheel of each step, and what
the lens over the stop then is in numbers. It never asks the pair for its truth.
"""

from __future__ import annotations

import numpy as np
import pytest

from optics.apprentices.replaying import READS, replay
from optics.instrument.focimeter import Settings, eyepiece_view, residual
from optics.instrument.reader import sharpness
from optics.judging.settling import settle
from optics.lens.power import Power
from optics.lens.prescription import written
from optics.marking.marks import mark_pair
from optics.marking.read import EYES, read_answer
from optics.specimens.briefs import DIFFICULTIES, STYLES, Brief, brief_for
from optics.specimens.right_ticket import right_ticket
from optics.specimens.specimen import make
from optics.specimens.steps import prism_read, settled_add

PAIRS = [(style, difficulty, seed) for style in STYLES for difficulty in DIFFICULTIES for seed in (1, 2, 3)]
ids = [f"{style} {difficulty} {seed}" for style, difficulty, seed in PAIRS]
every_pair = pytest.mark.parametrize(("style", "difficulty", "seed"), PAIRS, ids=ids)


def pair_of(style, difficulty, seed):
    return make(brief_for(style, difficulty, seed), seed)


def followed(pair, steps, form="minus"):
    """The ticket of somebody who does each step and reads what is there."""
    ticket, drums = {}, {}
    for step in steps:
        side = EYES.get(step.eye or "")
        met = step.met(pair)
        if step.reads == "style":
            ticket["style"] = step.noted
        elif step.reads in ("sphere lines", "cylinder lines"):
            along = step.settings.wheel + (90 if step.reads == "cylinder lines" else 0)
            drums[step.reads] = float(met.power.along(along)), step.settings.wheel
        elif step.reads == "line":
            sphere, wheel = drums["sphere lines"]
            second = drums.get("cylinder lines", (sphere, wheel))[0]
            read = Power.from_line_readings(sphere, second, wheel)
            ticket[side] = settle(read, form=form).choice.distance
            drums = {}
        elif step.reads == "crossing":
            ticket[f"prism_{side}"] = prism_read(met.prism, step.eye) or "none"
        elif step.reads in ("PD", "height"):
            ticket[f"{step.reads.lower()}_{side}"] = step.noted
        elif step.reads in ("distance again", "near"):
            drums[step.reads] = float(met.power.along(step.settings.wheel))
        elif step.reads == "addition":
            ticket[f"add_{side}"] = written(settled_add(drums["near"] - drums["distance again"]))
            drums = {}
    return ticket


@every_pair
def test_who_follows_the_steps_reads_the_pair_right(style, difficulty, seed) -> None:
    pair = pair_of(style, difficulty, seed)
    found = mark_pair(read_answer(followed(pair, replay(pair))), pair, points=20.0)
    assert found.all_right, found.sentences
    assert found.marks.total == 20.0


@every_pair
def test_drum_and_wheel_stand_where_the_lines_are_sharp(style, difficulty, seed) -> None:
    pair = pair_of(style, difficulty, seed)
    for step in replay(pair, eye_setting=-2.0):
        met = step.met(pair)
        if met is None or step.reads == "crossing":
            continue
        left = residual(step.settings, met)
        across = np.deg2rad(step.settings.wheel + (90 if step.reads == "cylinder lines" else 0))
        n = np.array([np.cos(across), np.sin(across)])
        # What is left blurs a line by no more than the wheel's whole degrees and a lens
        # that is not quite the same in all directions at near allow.
        assert np.linalg.norm(left @ n) < 0.12, step
        assert step.noted and step.seen and step.words


def test_steps_come_in_the_order_of_the_work() -> None:
    for style in STYLES:
        steps = replay(make(brief_for(style, 3), 5))
        first = list(dict.fromkeys(step.reads for step in steps))
        assert first == [reads for reads in READS if reads in first]
        eyes = [step.eye for step in steps if step.reads == "line"]
        assert eyes == ["R", "L"]
        assert {step.against for step in steps if step.reads == "near"} <= {"front"}


def test_a_pair_is_put_right_before_it_is_read() -> None:
    pair = make(Brief(condition=("smeared", "front bent"), cylinder="always"), 9)
    steps = replay(pair)
    mending = [step.reads for step in steps].index("condition")
    assert steps[mending].seen and steps[mending].noted == "smeared"
    assert steps[mending].mended == ("smeared",) and steps[mending + 1].mended == ("smeared", "front bent")
    for step in steps:
        if step.stage_mm is not None:
            assert pair.still_wrong(step.mended) == ()


def test_plus_form_ends_in_plus_form() -> None:
    for style in STYLES:
        pair = make(brief_for(style, 2), 8)
        ticket = followed(pair, replay(pair, form="plus"), form="plus")
        found = mark_pair(read_answer(ticket), pair, form="plus")
        assert found.all_right, found.sentences
        assert "+" in ticket["right"].split()[1]
    with pytest.raises(ValueError, match="minus"):
        replay(pair, form="crossed")


@pytest.mark.parametrize("style", STYLES)
def test_the_pictures_of_the_steps_are_sharp(style) -> None:
    pair = make(brief_for(style, 2), 3)
    step = next(step for step in replay(pair, eye_setting=1.5) if step.reads == "sphere lines")

    def sharp(drum: float) -> float:
        settings = step.settings.turned(drum=drum)
        # The crossing is brought to the middle, as the eye follows it.
        x, y = step.met(pair).prism.vector
        picture = eyepiece_view(
            settings.turned(compensator_x=x, compensator_y=y), step.met(pair), size=96, half_width=2.5
        )
        return sharpness(picture, settings.wheel, 2.5)

    here = step.settings.drum
    assert sharp(here) > 1.5 * max(sharp(here - 0.5), sharp(here + 0.5))


@every_pair
def test_the_right_ticket_is_right(style, difficulty, seed) -> None:
    pair = pair_of(style, difficulty, seed)
    for form in ("minus", "plus"):
        answer = read_answer(right_ticket(pair, form))
        assert answer.unread == {}
        assert mark_pair(answer, pair, form=form).all_right


def test_a_strong_prism_is_taken_out_with_the_compensator() -> None:
    brief = Brief(prism=9.0, cylinder="none")
    pair = next(p for p in (make(brief, seed) for seed in range(40)) if p.prism("R").amount > 6)
    step = next(s for s in replay(pair) if s.reads == "crossing")
    x, y = pair.prism("R").vector
    assert (step.settings.compensator_x, step.settings.compensator_y) == pytest.approx((x, y))
    assert isinstance(step.settings, Settings) and "compensator" in step.seen
