"""The right way to read a pair, step by step, so that it can be shown again.

Each step says what to do, how the bench then stands, what is seen and what is
noted. Nothing is scripted: drum, wheel and crossing are asked of the lens that
lies over the stop at that step.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from optics.apprentices.replay_words import (
    AWAY,
    CENTRED,
    CONDITION_SEEN,
    LOOKS,
    NEAR_PLACE,
    TAKEN_OUT,
    UNCLEAR,
    WHERE,
)
from optics.instrument.focimeter import COMPENSATOR_MOST, DRUM_RANGE, RINGS, Settings, target_view
from optics.instrument.reader import sharpness
from optics.judging.settling import settle
from optics.lens.angles import wrapped_axis
from optics.lens.lens import BACK, FRONT, OverStop
from optics.lens.power import Power
from optics.lens.prescription import written
from optics.lens.prism import EYES, Prism
from optics.specimens.briefs import PROGRESSIVE, SINGLE_VISION
from optics.specimens.right_ticket import right_ticket
from optics.specimens.specimen import Specimen
from optics.specimens.steps import by_rule, prism_read, settled_add

OFF_MIDDLE = 0.5
"""From here on the lines no longer cross in the middle of the rings, prism dioptres."""
SHARP_ENOUGH = 0.6
"""Below this share of the steepness that a lens of one power shows, nobody calls a line sharp."""
PICTURE, HALF_WIDTH = 96, 2.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of reading a pair.

    Parameters
    ----------
    reads : str
        What it finds out, in the order of the work: "style", "condition", "zero", "sphere
        lines", "cylinder lines", "line", "crossing", "PD", "height", "distance again",
        "near", "addition", "ticket".
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
    >>> from optics.specimens.briefs import brief_for
    >>> from optics.specimens.specimen import make
    >>> steps = replay(make(brief_for("single vision", 1), seed=4))
    >>> [step.reads for step in steps]
    ['style', 'zero', 'sphere lines', 'line', 'crossing', 'sphere lines', 'line', 'crossing', 'PD', 'PD', 'ticket']
    """
    settings = Settings(eyepiece=eye_setting, eye=eye_setting, zero_error=pair.zero_error)
    return tuple(_Bench(pair, settings, form).steps())


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
        off = pair.zero_error
        at_zero = f"{off:+.2f}" if off else "0.00"
        yield self.step(
            "zero",
            "Set the eyepiece: out towards plus, then in until the reticle is first sharp. Lay the pair aside and check zero.",
            f"The reticle and all the lines are sharp together with the drum at {at_zero}."
            + (" This instrument reads wrong by as much: take it off every reading." if off else ""),
            f"zero {off:+.2f}" if off else "",
            settings=self.settings.turned(drum=off),
        )
        for eye in "RL":
            yield from self.power(eye)
            yield self.crossing(eye)
        to = "fitting cross" if pair.style == PROGRESSIVE else "dot"
        for eye in "RL":
            yield self.step(
                "PD",
                f"Lay the rule from the middle of the bridge to the {EYES[eye]} {to}.",
                f"The {to} stands at {by_rule(pair.pd_mm(eye)):g} mm.",
                f"{by_rule(pair.pd_mm(eye)):g}",
                eye=eye,
            )
        if pair.style != SINGLE_VISION:
            for eye in "RL":
                yield self.height(eye)
            for eye in "RL":
                yield from self.addition(eye)
        ticket = right_ticket(pair, self.form)
        lines = "; ".join(_on_the_ticket(ticket, eye, side) for eye, side in EYES.items())
        yield self.step("ticket", "Write the ticket, right lens first.", "Nothing can be misread.", lines)

    # --- single steps ----------------------------------------------------------------

    def met(self, eye: str, part: str, against: str) -> tuple[OverStop, tuple[float, float]]:
        place = self.pair.point_mm(eye, part)
        assert place is not None, "asked only of lenses that have it"
        return self.pair.as_found(self.mended).over_stop(eye, *place, against), place

    def lines(self, met: OverStop) -> tuple[float, float, float]:
        """Drum for the sphere lines, for the cylinder lines, and the wheel."""
        higher, along_higher, lower, along_lower = (float(value) for value in met.read.principal())
        if settle(met.read).choice.axis is None:
            return float(met.read.mean), float(met.read.mean), 180.0
        if self.form == "minus":
            return higher, lower, _on_scale(along_higher)
        return lower, higher, _on_scale(along_lower)

    def turned(self, power: float, wheel: float, met: OverStop) -> Settings:
        """Drum where this power is sharp; what leaves the rings is brought back by the compensator."""
        drum = float(np.clip(power + self.pair.zero_error, *DRUM_RANGE))
        x, y = self.taken_out(met)
        return self.settings.turned(drum=drum, wheel=wheel, compensator_x=x, compensator_y=y)

    def taken_out(self, met: OverStop) -> tuple[float, float]:
        amount = float(met.prism.amount)
        if amount <= RINGS[-1]:
            return 0.0, 0.0
        # A hair short of all that it can do, so that rounding does not pass it.
        x, y = met.prism.vector * min(1.0, 0.999 * COMPENSATOR_MOST / amount)
        return float(x), float(y)

    def noted(self, power: float) -> str:
        """What the drum shows; where zero is off, it is off by as much."""
        return f"{power + self.pair.zero_error:+.2f}"

    def crosses(self, eye: str, met: OverStop, against: str) -> str:
        """Where the lines stand in the picture, in words; nothing where they stand in the middle."""
        prism = met.prism if against == BACK else met.prism.turned_over()
        if self.taken_out(met) != (0.0, 0.0):
            return f" {TAKEN_OUT.format(prism=prism_read(prism, eye))}"
        return f" {AWAY}" if float(prism.amount) > OFF_MIDDLE else ""

    def clear(self, met: OverStop, power: float, wheel: float, lines: str) -> bool:
        """Whether a line set is all but as sharp as a lens of one power would show it."""
        x, y = met.prism.vector
        along = wheel + 90.0 * (lines == "cylinder")
        at = Settings(drum=power, wheel=wheel)
        one = OverStop(Power.from_line_readings(power, power, 180.0), Prism.none())
        seen = sharpness(
            target_view(at.turned(compensator_x=float(x), compensator_y=float(y)), met, PICTURE, HALF_WIDTH),
            along,
            HALF_WIDTH,
        )
        best = sharpness(target_view(at, one, PICTURE, HALF_WIDTH), along, HALF_WIDTH)
        return seen > SHARP_ENOUGH * best

    def power(self, eye: str) -> Iterator[Step]:
        met, place = self.met(eye, "distance", BACK)
        sphere, cylinder, wheel = self.lines(met)
        over = {"eye": eye, "stage_mm": place, "against": BACK}
        round_lens = sphere == cylinder
        how = "more plus" if self.form == "minus" else "more minus"
        where = WHERE[self.pair.style].format(side=EYES[eye])
        if self.pair.style == SINGLE_VISION and float(met.prism.amount) <= OFF_MIDDLE:
            where = CENTRED.format(side=EYES[eye])
        clear = self.clear(met, sphere, wheel, "sphere")
        if round_lens:
            seen = (
                "All the lines are sharp together and never broken: no cylinder."
                if clear
                else UNCLEAR.format(lines="All the lines")
            )
        else:
            best = (
                "The sphere lines are sharp and unbroken"
                if clear
                else UNCLEAR.format(lines="The sphere lines")[:-1]
            )
            seen = f"{best}, the wheel at {wheel:03.0f}; the cylinder lines are less sharp."
        yield self.step(
            "sphere lines",
            f"{where} Find the sphere lines from the plus side, and turn the "
            f"wheel until the lines are unbroken, at the {how} of the two powers. Note drum and wheel.",
            seen + self.crosses(eye, met, BACK),
            self.noted(sphere) if round_lens else f"{self.noted(sphere)}, wheel {wheel:03.0f}",
            settings=self.turned(sphere, wheel, met),
            **over,
        )
        if not round_lens:
            yield self.step(
                "cylinder lines",
                "On to the cylinder lines: further with the drum, and leave the wheel. Note the drum.",
                (
                    "The cylinder lines are sharp, the sphere lines less so."
                    if self.clear(met, cylinder, wheel, "cylinder")
                    else UNCLEAR.format(lines="The cylinder lines")
                )
                + self.crosses(eye, met, BACK),
                self.noted(cylinder),
                settings=self.turned(cylinder, wheel, met),
                **over,
            )
        settled = settle(self.pair.power(eye), form=self.form)
        zero = f"Take the zero of {self.noted(0.0)} off every reading. " if self.pair.zero_error else ""
        yield self.step(
            "line",
            zero
            + "Subtract the first reading from the second for the cylinder, and settle both powers on the quarter steps."
            if not round_lens
            else zero + "Settle the power on the quarter steps.",
            settled.sentence,
            settled.choice.distance,
            eye=eye,
        )

    def crossing(self, eye: str) -> Step:
        met, place = self.met(eye, "prism", BACK)
        sphere, _, wheel = self.lines(met)
        shown = prism_read(met.prism, eye)
        if self.pair.style == PROGRESSIVE:
            words = "Put the prism reference point, midway between the two rings, over the stop. Read where the crossing stands."
        elif shown:
            words = (
                "Put the place where the wearer looks through, from the note that came with the job, over the "
                "stop, and dot it. Read where the crossing stands."
            )
        else:
            words = "Move the lens until the crossing stands in the middle of the rings, and dot it."
        seen = f"The crossing stands at {shown}." if shown else "The crossing stands in the middle."
        if self.taken_out(met) != (0.0, 0.0):
            seen = f"With {shown} on the compensator the crossing stands in the middle."
        settings = self.turned(sphere, wheel, met)
        return self.step(
            "crossing", words, seen, shown or "no prism", settings=settings, eye=eye, stage_mm=place
        )

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
            drums[part] = float(met.read.along(wheel))
            over = (
                " Turn the pair over, its front on the stop." if part == "distance" and side == FRONT else ""
            )
            yield self.step(
                reads,
                f"{EYES[eye].capitalize()} lens.{over} Put {where} over the stop and bring the sphere lines sharp.",
                (
                    "The sphere lines are sharp."
                    if self.clear(met, drums[part], wheel, "sphere")
                    else UNCLEAR.format(lines="The sphere lines")
                )
                + self.crosses(eye, met, side),
                self.noted(drums[part]),
                settings=self.turned(drums[part], wheel, met),
                eye=eye,
                stage_mm=place,
                against=side,
            )
        yield self.step(
            "addition",
            "Subtract the distance reading from the near reading, both from this side, and settle it.",
            f"{self.noted(drums['near'])} less {self.noted(drums['distance'])} is {drums['near'] - drums['distance']:+.2f}.",
            f"add {written(settled_add(drums['near'] - drums['distance']))}",
            eye=eye,
        )


def _on_the_ticket(ticket: dict[str, str], eye: str, side: str) -> str:
    """One lens as it stands on the ticket, prism, PD and height with it."""
    words = {"add": "add {}", "prism": "{}", "pd": "PD {} mm", "height": "height {} mm"}
    told = [
        word.format(ticket[f"{what}_{side}"]) for what, word in words.items() if f"{what}_{side}" in ticket
    ]
    return ", ".join([f"{eye} {ticket[side]}", *told])


def _on_scale(meridian: float) -> float:
    """A meridian as the wheel's scale of whole degrees gives it."""
    return float(wrapped_axis(round(meridian)))
