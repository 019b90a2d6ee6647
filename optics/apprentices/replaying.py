"""The right way to read a pair, step by step, so that it can be shown again.

Each step says what to do, how the bench then stands, what is seen and what is
noted. Nothing is scripted: drum, wheel and crossing are asked of the lens that
lies over the stop at that step.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from optics.apprentices.replay_words import CONDITION_SEEN, LOOKS, NEAR_PLACE, WHERE
from optics.instrument.focimeter import DRUM_RANGE, RINGS, Settings
from optics.judging.settling import settle
from optics.lens.angles import wrapped_axis
from optics.lens.lens import BACK, FRONT, OverStop
from optics.lens.prescription import written
from optics.marking.read import EYES
from optics.specimens.briefs import PROGRESSIVE, SINGLE_VISION
from optics.specimens.right_ticket import right_ticket
from optics.specimens.specimen import Specimen
from optics.specimens.steps import by_rule, prism_read, settled_add

__all__ = ["READS", "Step", "replay"]

READS = (
    "style",
    "condition",
    "zero",
    "sphere lines",
    "cylinder lines",
    "line",
    "crossing",
    "PD",
    "height",
    "distance again",
    "near",
    "addition",
    "ticket",
)
"""What a step finds out, in the order of the work."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of reading a pair.

    Parameters
    ----------
    reads : str
        What it finds out, one of `READS`.
    words : str
        What to do.
    seen : str
        What is seen then.
    noted : str
        What is written down; empty for nothing.
    settings : Settings
        How the instrument stands.
    eye : {"R", "L"}, optional
        The lens that it is about.
    stage_mm : (float, float), optional
        The point of the pair over the stop: x to the viewer's right from the middle
        of the bridge and y up from the datum line, seen from the front. None where
        nothing lies over the stop.
    against : {"back", "front"}
        Side on the stop.
    mended : tuple of str
        What of the pair's condition has been put right by then; see
        `Specimen.as_found`.
    """

    reads: str
    words: str
    seen: str
    noted: str = ""
    settings: Settings
    eye: str | None = None
    stage_mm: tuple[float, float] | None = None
    against: str = BACK
    mended: tuple[str, ...] = ()

    def met(self, pair: Specimen) -> OverStop | None:
        """What the instrument meets at this step; none where nothing lies over the stop."""
        if self.stage_mm is None or self.eye is None:
            return None
        return pair.as_found(self.mended).over_stop(self.eye, *self.stage_mm, self.against)


def replay(pair: Specimen, eye_setting: float = 0.0, form: str = "minus") -> tuple[Step, ...]:
    """The right way to read this pair.

    Parameters
    ----------
    pair : Specimen
        The pair as it comes in.
    eye_setting : float
        Eyepiece dial at which the reticle is sharp to the operator, dioptres at the eye.
    form : {"minus", "plus"}
        The cylinder form asked for.

    Returns
    -------
    tuple of Step
        In bench order: look, true and clean, set the eyepiece; right lens, then
        left: power, crossing; distances and heights; additions; the ticket.

    Examples
    --------
    >>> from optics.specimens.specimen import brief_for, make
    >>> steps = replay(make(brief_for("single vision", 1), seed=4))
    >>> [step.reads for step in steps]
    ['style', 'zero', 'sphere lines', 'line', 'crossing', 'sphere lines', 'line', 'crossing', 'PD', 'PD', 'ticket']
    """
    return tuple(_Bench(pair, Settings(eyepiece=eye_setting, eye=eye_setting), form).steps())


class _Bench:
    """The pair, the instrument, and what has been put right so far."""

    def __init__(self, pair: Specimen, settings: Settings, form: str) -> None:
        if form not in ("minus", "plus"):
            raise ValueError(f'form is "minus" or "plus", not {form!r}')
        self.pair, self.settings, self.form = pair, settings, form
        self.mended: tuple[str, ...] = ()

    def step(self, reads: str, words: str, seen: str, noted: str = "", **more: Any) -> Step:
        return Step(
            reads=reads,
            words=words,
            seen=seen,
            noted=noted,
            settings=more.pop("settings", self.settings),
            mended=more.pop("mended", self.mended),
            **more,
        )

    def steps(self) -> Iterator[Step]:
        pair = self.pair
        yield self.step("style", "Look at the pair against a plain wall.", LOOKS[pair.style], pair.style)
        for condition in pair.conditions:
            before = CONDITION_SEEN[condition.name]
            self.mended = (*self.mended, condition.name)
            yield self.step("condition", condition.mend, before, condition.name, eye=condition.eye)
        yield self.step(
            "zero",
            "Set the eyepiece: out towards plus, then in until the reticle is first sharp. Lay the pair aside and check zero.",
            "The reticle and all the lines are sharp together with the drum at 0.00.",
        )
        for eye in "RL":
            yield from self.power(eye)
            yield self.crossing(eye)
        for eye in "RL":
            yield self.step(
                "PD",
                f"Lay the rule from the middle of the bridge to the {EYES[eye]} dot.",
                f"The dot stands at {by_rule(pair.pd_mm(eye)):g} mm.",
                f"{by_rule(pair.pd_mm(eye)):g}",
                eye=eye,
            )
        if pair.style != SINGLE_VISION:
            for eye in "RL":
                yield self.height(eye)
            for eye in "RL":
                yield from self.addition(eye)
        ticket = right_ticket(pair, self.form)
        lines = "; ".join(f"{eye} {ticket[side]}" for eye, side in EYES.items())
        yield self.step("ticket", "Write the ticket, right lens first.", "Nothing can be misread.", lines)

    # --- single steps ----------------------------------------------------------------

    def met(self, eye: str, part: str, against: str) -> tuple[OverStop, tuple[float, float]]:
        place = self.pair.point_mm(eye, part)
        assert place is not None, "asked only of lenses that have it"
        return self.pair.as_found(self.mended).over_stop(eye, *place, against), place

    def lines(self, met: OverStop) -> tuple[float, float, float]:
        """Drum for the sphere lines, for the cylinder lines, and the wheel."""
        higher, along_higher, lower, along_lower = (float(value) for value in met.power.principal())
        if settle(met.power).choice.axis is None:
            return float(met.power.mean), float(met.power.mean), 180.0
        if self.form == "minus":
            return higher, lower, _on_scale(along_higher)
        return lower, higher, _on_scale(along_lower)

    def turned(self, drum: float, wheel: float) -> Settings:
        return self.settings.turned(drum=float(np.clip(drum, *DRUM_RANGE)), wheel=wheel)

    def power(self, eye: str) -> Iterator[Step]:
        met, place = self.met(eye, "distance", BACK)
        sphere, cylinder, wheel = self.lines(met)
        over = {"eye": eye, "stage_mm": place, "against": BACK}
        round_lens = sphere == cylinder
        how = "more plus" if self.form == "minus" else "more minus"
        yield self.step(
            "sphere lines",
            f"{WHERE[self.pair.style].format(side=EYES[eye])} Find the sphere lines from the plus side, and turn the "
            f"wheel until the lines are unbroken, at the {how} of the two powers. Note drum and wheel.",
            "All the lines are sharp together and never broken: no cylinder."
            if round_lens
            else f"The sphere lines are sharp and unbroken with the wheel at {wheel:03.0f}; the cylinder lines are blurred.",
            f"{sphere:+.2f}" if round_lens else f"{sphere:+.2f}, wheel {wheel:03.0f}",
            settings=self.turned(sphere, wheel),
            **over,
        )
        if not round_lens:
            yield self.step(
                "cylinder lines",
                "On to the cylinder lines: further with the drum, and leave the wheel. Note the drum.",
                "The cylinder lines are sharp, the sphere lines are blurred.",
                f"{cylinder:+.2f}",
                settings=self.turned(cylinder, wheel),
                **over,
            )
        settled = settle(self.pair.power(eye), form=self.form)
        yield self.step(
            "line",
            "Subtract the first reading from the second for the cylinder, and settle both powers on the quarter steps."
            if not round_lens
            else "Settle the power on the quarter steps.",
            settled.sentence,
            settled.choice.distance,
            eye=eye,
        )

    def crossing(self, eye: str) -> Step:
        met, place = self.met(eye, "prism", BACK)
        sphere, _, wheel = self.lines(met)
        shown = prism_read(met.prism, eye)
        prism = self.pair.prism(eye)
        if self.pair.style == PROGRESSIVE:
            words = "Put the prism reference point, midway between the two rings, over the stop. Read where the crossing stands."
        elif shown:
            words = "Put the place where the wearer looks through, dotted from the order, over the stop. Read where the crossing stands."
        else:
            words = "Move the lens until the crossing stands in the middle of the rings, and dot it."
        seen = f"The crossing stands at {shown}." if shown else "The crossing stands in the middle."
        settings = self.turned(sphere, wheel)
        if float(prism.amount) > RINGS[-1]:
            settings = replace(
                settings, compensator_x=float(prism.vector[0]), compensator_y=float(prism.vector[1])
            )
            seen = f"With {shown} on the compensator the crossing stands in the middle."
        return self.step("crossing", words, seen, shown, settings=settings, eye=eye, stage_mm=place)

    def height(self, eye: str) -> Step:
        height = self.pair.height_mm(eye)
        assert height is not None
        to = "the fitting cross" if self.pair.style == PROGRESSIVE else "the upper line of the segment"
        return self.step(
            "height",
            f"Stand the rule on the lowest point of the {EYES[eye]} lens and read up to {to}.",
            f"It stands at {by_rule(height):g} mm.",
            f"{by_rule(height):g}",
            eye=eye,
        )

    def addition(self, eye: str) -> Iterator[Step]:
        side = self.pair.addition_side(eye)
        assert side is not None
        drums = {}
        for part, reads, where in (
            ("distance", "distance again", "the same place for distance"),
            ("near", "near", NEAR_PLACE[self.pair.style]),
        ):
            met, place = self.met(eye, part, side)
            # The wheel of the distance reading serves for both.
            if part == "distance":
                wheel = self.lines(met)[2]
            drums[part] = float(met.power.along(wheel))
            over = (
                " Turn the pair over, its front on the stop." if part == "distance" and side == FRONT else ""
            )
            yield self.step(
                reads,
                f"{EYES[eye].capitalize()} lens.{over} Put {where} over the stop and bring the sphere lines sharp.",
                "The sphere lines are sharp.",
                f"{drums[part]:+.2f}",
                settings=self.turned(drums[part], wheel),
                eye=eye,
                stage_mm=place,
                against=side,
            )
        yield self.step(
            "addition",
            "Subtract the distance reading from the near reading, both from this side, and settle it.",
            f"{drums['near']:+.2f} less {drums['distance']:+.2f} is {drums['near'] - drums['distance']:+.2f}.",
            f"add {written(settled_add(drums['near'] - drums['distance']))}",
            eye=eye,
        )


def _on_scale(meridian: float) -> float:
    """A meridian as the wheel's scale of whole degrees gives it."""
    return float(wrapped_axis(round(meridian)))
