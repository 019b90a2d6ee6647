"""The right reading shown step by step: who does what it says reads the pair right.

The operator of these tests has the stage, the drum and the wheel of each step, and what
the lens over the stop then is in numbers. It never asks the pair for its truth.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optics.apprentices.replaying import replay
from optics.instrument.focimeter import Settings, eyepiece_view, residual, target_view
from optics.instrument.reader import sharpness
from optics.judging.settling import settle
from optics.lens.power import Power
from optics.lens.prescription import written
from optics.lens.prism import EYES
from optics.marking.marks import mark_pair
from optics.marking.read import read_answer
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
            drums[step.reads] = float(met.read.along(along)), step.settings.wheel
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
            drums[step.reads] = float(met.read.along(step.settings.wheel))
        elif step.reads == "addition":
            ticket[f"add_{side}"] = written(settled_add(drums["near"] - drums["distance again"]))
            drums = {}
    return ticket


@pytest.mark.sampled(4)
@every_pair
def test_who_follows_the_steps_reads_the_pair_right(style, difficulty, seed) -> None:
    pair = pair_of(style, difficulty, seed)
    found = mark_pair(read_answer(followed(pair, replay(pair))), pair, points=20.0)
    assert found.all_right, found.sentences
    assert found.marks.total == 20.0


@pytest.mark.sampled(4)
@every_pair
def test_drum_and_wheel_stand_where_the_lines_are_sharp(style, difficulty, seed) -> None:
    pair = pair_of(style, difficulty, seed)
    for step in replay(pair, eye_setting=-2.0):
        met = step.met(pair)
        if met is None or step.reads == "crossing":
            continue
        left = residual(step.settings, met._replace(power=met.read))
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
        order = "style,condition,zero,sphere lines,cylinder lines,line,crossing,PD,height,distance again,near,addition,ticket"
        assert first == [reads for reads in order.split(",") if reads in first]
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
            assert {each.name for each in pair.conditions} <= set(step.mended)


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


@pytest.mark.sampled(4)
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


# --- the words beside the picture: measured with code of the tests' own ---------------------------

PIXELS, WIDE = 256, 12.0


def crossing_in(picture):
    """Where the light lies on the average, prism dioptres: the target is alike on all sides of its crossing."""
    steps = (np.arange(PIXELS) - PIXELS / 2 + 0.5) * (2 * WIDE / PIXELS)
    return float((picture.sum(0) @ steps) / picture.sum()), float((picture.sum(1) @ -steps) / picture.sum())


def steepness(picture, meridian):
    """Steepest step of brightness across the lines that run across a meridian."""
    size = len(picture)
    steps = (np.arange(size) - size / 2 + 0.5) * (5.0 / size)
    x, y = np.meshgrid(steps, -steps)
    turn = np.deg2rad(meridian)
    along = x * np.cos(turn) + y * np.sin(turn)
    inside = np.hypot(x, y) < 2.2
    bins = np.round(along[inside] / 0.03).astype(int)
    counts = np.bincount(bins - bins.min())
    profile = np.bincount(bins - bins.min(), picture[inside]) / np.maximum(counts, 1)
    return float(np.abs(np.diff(profile[(counts > 20)])).max())


def held_to_its_picture(step, pair):
    met = step.met(pair)
    settings = step.settings.turned(eyepiece=step.settings.eye)
    if met is None:
        assert "smallest ring" not in step.words
        return 0
    at = crossing_in(target_view(settings, met, PIXELS, WIDE))
    told = step.words + step.seen
    off = float(np.hypot(*at))
    if "smallest ring" in told or "in the middle" in step.seen:
        assert off < 0.5, (off, told)
    if "away from the middle" in told:
        assert 0.45 < off < 5.6, (off, told)
    if step.reads == "crossing" and "The crossing stands at" in step.seen:
        assert off == pytest.approx(float(met.prism.amount), abs=0.1)
    brought = settings.turned(
        compensator_x=settings.compensator_x + at[0], compensator_y=settings.compensator_y + at[1]
    )
    if np.hypot(brought.compensator_x, brought.compensator_y) > 15.0:
        return 0
    near = target_view(brought, met, 192, 2.5)
    ideal = target_view(Settings(drum=0.0, wheel=settings.wheel), None, 192, 2.5)
    ways = {"sphere lines": settings.wheel, "cylinder lines": settings.wheel + 90.0}
    share = {name: steepness(near, way) / steepness(ideal, way) for name, way in ways.items()}
    said = [name for name in ways if f"{name} are sharp" in step.seen.lower()]
    if "All the lines are sharp" in step.seen:
        said = list(ways)
    for name in said:
        assert share[name] > 0.5, (name, share, step.seen)
    if len(said) == 1 and "less s" in step.seen:
        other = next(name for name in ways if name not in said)
        assert share[other] < share[said[0]] + 0.05, (share, step.seen)
    if "not quite sharp" in step.seen:
        assert min(share.values()) < 0.9, (share, step.seen)
    return len(said)


@pytest.mark.parametrize(("style", "difficulty", "seed"), PAIRS[::5])
def test_what_is_said_to_be_seen_is_in_the_picture(style, difficulty, seed) -> None:
    pair = pair_of(style, difficulty, seed)
    steps = replay(pair, eye_setting=-2.0)
    assert sum(held_to_its_picture(step, pair) for step in steps)
    assert not any("from the order" in step.words for step in steps)


def test_words_that_the_picture_denies_are_found() -> None:
    pair = make(Brief(lenses="R -4.00 -1.00 x 030; L -3.00 -0.50 x 120"), 9)
    step = next(step for step in replay(pair) if step.reads == "sphere lines")
    x, y = step.stage_mm
    with pytest.raises(AssertionError):
        held_to_its_picture(replace(step, stage_mm=(x + 8.0, y)), pair)
    with pytest.raises(AssertionError):
        held_to_its_picture(replace(step, settings=step.settings.turned(drum=step.settings.drum + 0.5)), pair)


def test_zero_is_read_where_it_stands_and_taken_off() -> None:
    pair = make(Brief(zero_error=0.25, cylinder="none"), 4)
    steps = replay(pair)
    zero = next(step for step in steps if step.reads == "zero")
    assert zero.settings.drum == 0.25 and "+0.25" in zero.seen
    assert (
        target_view(zero.settings, None).max() > 1.3 * target_view(zero.settings.turned(drum=0.0), None).max()
    )
    assert any("Take the zero" in step.words for step in steps if step.reads == "line")


def test_the_last_step_is_the_whole_ticket() -> None:
    pair = make(brief_for("progressive", 2, 3), 3)
    last, right = replay(pair)[-1], right_ticket(pair)
    assert last.reads == "ticket"
    for name, text in right.items():
        assert name == "style" or text in last.noted, name
