"""Somebody who knows only a chapter's named steps reads its pairs, and earns every mark.

The bench is the chapter's own, laid by the same call as in the notebook. It is worked
through the controls that the chapter shows, and what is written comes from pictures of
the eyepiece alone: nobody asks the lens. It is *not* the bench in a browser; that its
picture and its controls are the same is tested in `tests/browser`. The eye is a
measure of sharpness, steadier than a person's, so each reading is scattered as
`optics.instrument.repeats` proposes, and three are taken.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable
from functools import cache, partial
from pathlib import Path

import nbformat
import numpy as np
import pytest

from optics import checks
from optics.apprentices.operating import scatter
from optics.instrument.focimeter import EYEPIECE_RANGE, FIELD, TARGET_REACH, eyepiece_view
from optics.instrument.reader import Reading, read_lens, sharpness
from optics.instrument.repeats import axis_deviation
from optics.judging.settling import settle
from optics.lens.angles import wrapped_axis
from optics.lens.power import Power
from optics.lens.prescription import written
from optics.lesson import bench as laid_bench
from optics.lesson import held, inked_places, tray, wearer
from optics.marking.telling import MARKS_MIME
from optics.project_files import project_folder
from optics.specimens.sealed import open_pairs
from optics.widgets.pair.front_view import PairView

SOURCE = project_folder("notebooks") / "source"
LEARNERS = [f"t{101 + number}" for number in range(20)]
SIZE, HALF_WIDTH = 96, 2.5
WIDE = 128  # for the whole field; fewer points show a drum as well, and an axis less closely


class Hands:
    """Steps 1 to 8 of every lens, by their names in the chapters."""

    def __init__(self, chapter: Path, letter: str, learner: str) -> None:
        number = int(chapter.name[:2])
        # Under a key of its own, so that each learner finds the bench as it was left.
        self.key = {"chapter": number, "eye": "R"}
        self.bench = laid_bench(letter, learner, str(chapter), **self.key)
        self.place, self.met = None, None
        self.seen: dict[str, Reading] = {}
        self.chance = np.random.default_rng(sum(map(ord, learner + letter)))
        assert {"stage"} | ({"eyepiece", "aside", "wheel"} if number else set()) <= set(self.bench._parts)

    def picture(self, size: int, half_width: float) -> np.ndarray:
        bench = self.bench
        # Rays are traced anew only where the stage, the lens or the side on the stop has changed.
        place = (bench.aside, bench.lens, bench.stage_x_mm, bench.stage_y_mm, bench.against)
        if place != self.place:
            self.place, self.met = place, bench.met
        return eyepiece_view(bench.settings, self.met, size=size, half_width=half_width)

    def look(self, drum: float, wheel: float, size: int = SIZE, half_width: float = HALF_WIDTH) -> np.ndarray:
        self.bench.drum, self.bench.wheel = float(drum), float(wheel)
        return self.picture(size, half_width)

    def set_the_eyepiece(self) -> float:
        """Out towards plus, then in; the outer rings show the reticle without the lines."""
        steps = (np.arange(2 * SIZE) - SIZE + 0.5) * FIELD / SIZE
        outside = np.hypot(steps[None, :], steps[:, None])
        ring = (outside > TARGET_REACH + 0.4) & (outside < FIELD - 0.3)
        self.bench.aside, self.bench.drum = True, 0.0
        sharp = {}
        for dial in np.arange(EYEPIECE_RANGE[1], EYEPIECE_RANGE[0] - 0.1, -0.25):
            self.bench.eyepiece = float(dial)
            sharp[float(dial)] = float(np.var(self.picture(2 * SIZE, FIELD)[ring]))
            if sharp[float(dial)] < 0.5 * max(sharp.values()):  # it has been sharp, and no further
                break
        self.bench.eyepiece = max(sharp, key=sharp.__getitem__)
        self.bench.aside = False
        return self.bench.eyepiece

    def check_zero(self) -> float:
        self.bench.aside = True
        zero = read_lens(self.look, half_width=HALF_WIDTH).sphere_lines + scatter(self.chance)
        self.bench.aside = False
        return zero

    def crossing(self) -> np.ndarray:
        """Where the middle of the light lies, prism dioptres."""
        light = np.clip(self.picture(SIZE, FIELD) ** 2 - 0.12, 0.0, None)
        steps = (np.arange(SIZE) - SIZE / 2 + 0.5) * 2 * FIELD / SIZE
        return np.array([light.sum(0) @ steps, -(light.sum(1) @ steps)]) / light.sum()

    def centre(self, eye: str) -> None:
        """Find some lines, then move the stage until they cross in the smallest ring."""
        self.bench.lens, self.bench.compensator = eye, 0.0
        self.bench.wheel = 180.0
        clear = {}
        for drum in np.arange(12.5, -12.6, -0.5):
            self.bench.drum = float(drum)
            clear[float(drum)] = float(np.sum(self.picture(SIZE, FIELD) ** 6))
        self.bench.drum = max(clear, key=clear.__getitem__)
        self.to_the_middle(self.crossing, 0.12)
        assert np.hypot(*self.crossing()) < 1.0

    def to_the_middle(self, crossing: Callable[[], np.ndarray], within: float) -> None:
        """Move the stage, and see which way the crossing goes, until it stands in the middle."""
        for _ in range(6):
            here = crossing()
            if np.hypot(*here) < within:
                break
            ways = []
            for name in ("stage_x_mm", "stage_y_mm"):
                setattr(self.bench, name, getattr(self.bench, name) + 1.0)
                ways.append(crossing() - here)
                setattr(self.bench, name, getattr(self.bench, name) - 1.0)
            move, *_ = np.linalg.lstsq(np.array(ways).T, -here, rcond=0.2)
            dx, dy = np.clip(move, -2.0, 2.0)
            self.bench.stage_x_mm += float(dx)
            self.bench.stage_y_mm += float(dy)

    def sharp_crossing(self) -> np.ndarray:
        """Where the sharp lines cross, each set in its turn; a second, blurred picture does not count.

        Three lines are their own image about the middle one, so that is where a picture
        looked at across them agrees best with its mirror image.
        """
        steps = (np.arange(SIZE) - SIZE / 2 + 0.5) * 2 * FIELD / SIZE
        rim = np.clip(1.0 - np.hypot(steps[:, None], steps[None, :]) / FIELD, 0.0, 1.0)
        detail, where, seen = np.linspace(1.0, 5.0, 81), np.zeros(2), self.seen[self.bench.lens]
        self.bench.wheel = seen.wheel
        for drum, meridian in ((seen.sphere_lines, seen.wheel), (seen.cylinder_lines, seen.wheel + 90.0)):
            self.bench.drum = drum
            across = np.deg2rad(meridian)
            way = np.array([np.cos(across), np.sin(across)])
            # About the middle of the light, and nearer than the next line.
            places = way @ self.crossing() + np.linspace(-0.3, 0.3, 61)
            x, y = (np.exp(-2j * np.pi * np.outer(detail, steps * part)) for part in way)
            waves = np.sum((np.conj(y) @ (self.picture(SIZE, FIELD) ** 2 * rim)) * x, axis=1)
            agrees = np.real(np.exp(4j * np.pi * np.outer(places, detail)) @ waves**2)
            where += places[np.argmax(agrees)] * way
        return where

    def read(self, eye: str, zero: float, at: tuple[float, float] | None = None) -> str:
        """Centre, sphere lines from plus, wheel, cylinder lines, note three times, subtract, write."""
        if "wheel" not in self.bench._parts:  # chapter 0: the drum alone, until all the lines are sharp
            self.bench.lens = eye
            drums = np.arange(12.5, -12.6, -0.25)
            clear = [sum(sharpness(self.look(d, 180), m, HALF_WIDTH) for m in (90, 180)) for d in drums]
            return f"{drums[np.argmax(clear)]:+.2f} DS"
        self.bench.lens = eye
        if at is None:
            self.centre(eye)
            seen = read_lens(self.look, half_width=HALF_WIDTH)
        else:
            seen = self.seen_at(at)
        self.seen[eye] = seen
        self.sharp_at = (seen.sphere_lines + seen.cylinder_lines) / 2
        first, second = (self.noted(line) - zero for line in (seen.sphere_lines, seen.cylinder_lines))
        wheel = seen.wheel + np.mean([scatter(self.chance, axis_deviation(seen.cylinder)) for _ in range(3)])
        return settle(Power.from_line_readings(first, second, wrapped_axis(float(wheel)))).choice.distance

    def noted(self, line: float) -> float:
        """Three times, and the mean."""
        return float(np.mean([line + scatter(self.chance) for _ in range(3)]))

    def seen_at(self, place: tuple[float, float], size: int = WIDE) -> Reading:
        """Away from the centre the lines cross off the middle, so the whole field is looked at."""
        self.bench.stage_x_mm, self.bench.stage_y_mm = place
        self.bring_back()
        return read_lens(partial(self.look, size=size, half_width=FIELD), half_width=FIELD)

    def bring_back(self) -> None:
        """Lines that cross out of view: the compensator, amount and base, until most light is in view."""
        light = {}
        for amount, base in ((0.0, 0.0), *((a, b) for a in (4.0, 8.0) for b in (90.0, 270.0))):
            self.bench.compensator, self.bench.compensator_base = amount, base
            light[amount, base] = float(np.sum(self.picture(SIZE, FIELD)))
            if not amount and abs(self.crossing()[1]) < FIELD / 2:
                return
        self.bench.compensator, self.bench.compensator_base = max(light, key=light.__getitem__)

    def addition(self, carried: str, *places: tuple[float, float]) -> str:
        """The side that carries it on the stop: the same lines in the distance and near, and the difference."""
        self.bench.against = carried
        distance, near = (self.noted(self.seen_at(place, SIZE).sphere_lines) for place in places)
        self.bench.against = "back"
        return written(round(4 * (near - distance)) / 4)

    def measure(self) -> str:
        """Dot the lens where its lines cross centrally; from the middle of the bridge to the dot, by the rule."""
        self.to_the_middle(self.sharp_crossing, 0.02)
        return f"{round(2 * abs(self.bench.stage_x_mm)) / 2:g}"

    def prism(self, eye: str) -> str:
        """Read on the rings where the lines cross, with some of them sharp."""
        self.bench.drum = self.sharp_at
        base = np.deg2rad(self.bench.compensator_base)
        taken_out = self.bench.compensator * np.array([np.cos(base), np.sin(base)])
        across, up = np.round(4 * (self.crossing() + taken_out)) / 4
        parts = []
        if abs(across) >= 0.25:
            parts.append(f"{abs(across):.2f} base {'in' if (across > 0) == (eye == 'R') else 'out'}")
        if abs(up) >= 0.25:
            parts.append(f"{abs(up):.2f} base {'up' if up > 0 else 'down'}")
        return " and ".join(parts) or "no prism"


def looked_through(chapter: Path, letter: str, learner: str) -> dict[str, tuple[float, float]]:
    """Where the wearer looks through, as the record beside the bench has it in words."""
    with checks.collecting() as said:
        wearer(letter, learner, str(chapter))
    places = {}
    found = re.findall(
        r"the (right|left) eye ([\d.]+) mm from the middle of the bridge and (?:([\d.]+) mm (above|below)|on)",
        said[0]["text/plain"],
    )
    for side, across, height, way in found:
        y = float(height or 0) * (1 if way == "above" else -1)
        places[side[0].upper()] = (float(across) * (-1 if side == "right" else 1), y)
    return places


def above_the_line(letter: str, learner: str, chapter: Path) -> dict[str, tuple[float, float]]:
    """A place of each lens where the stop is clear of the segment, by the rule on the tray."""
    seen = {place.name: place.at_mm for place in tray(letter, learner, str(chapter)).scene.places}
    return {
        eye: (
            (seen[f"the temporal side of the segment of the {side} lens"]
             + seen[f"the nasal side of the segment of the {side} lens"]) / 2 + aside,
            next(at for name, at in seen.items() if name.endswith(f"line of the {side} lens") and "lower" not in name) + 5.5,
        )
        for eye, side, aside in (("R", "right", -2.0), ("L", "left", 2.0))
    }  # fmt: skip


def lined(hands: Hands, chapter: Path, letter: str, learner: str, zero: float) -> dict[str, str]:
    """Lines, additions and heights: places by the rule on the tray, the front on the stop for the addition."""
    ticket: dict[str, str] = {}
    seen, over = tray(letter, learner, str(chapter)).scene.places, above_the_line(letter, learner, chapter)
    for eye, side in (("R", "right"), ("L", "left")):
        at = {
            place.name.removesuffix(f" of the {side} lens"): place.at_mm for place in seen if place.eye == eye
        }
        upper = at.get("the line", at.get("the upper line"))
        ticket[f"height_{side}"] = f"{round(2 * (upper - at['the lowest point'])) / 2:g}"
        middle = (at["the temporal side of the segment"] + at["the nasal side of the segment"]) / 2
        far = over[eye]
        near = (middle, at.get("the lower line", upper) - 6.0)
        hands.bench.against = "back"
        ticket[side] = hands.read(eye, zero, far)
        ticket[f"add_{side}"] = hands.addition("front", far, near)
    return ticket


def lay_its_chart(view: PairView, eye: str) -> None:
    """Lay the chart of the engraved sign by eye, from what is drawn alone, and ink the lens."""
    rings = [p for p in view.scene.parts if p.eye == eye and p.name == "engraved ring"]
    sign = next(p.text for p in view.scene.parts if p.eye == eye and p.name == "maker's sign")
    (x, y), *_ = [np.mean([ring.points_mm.min(0) + ring.points_mm.max(0) for ring in rings], 0) / 2]
    view.chart, view.chart_under = sign, eye
    middle = view._chart["at"]
    view.chart_x_mm, view.chart_y_mm = (round(2 * (at - m)) / 2 for at, m in zip((x, y), middle, strict=True))
    view.chart_turned_degrees = 0.0
    view.inking = True
    assert "is inked from chart" in view._notice


def marked_up(hands: Hands, chapter: Path, letter: str, learner: str, zero: float) -> dict[str, str]:
    """Lines, additions and heights of a progressive: inked on the tray, read where the buttons bring it."""
    view = tray(letter, learner, str(chapter))
    buttons = {
        each.description: each
        for each in inked_places(letter, learner, str(chapter), **hands.key).buttons.values()
    }
    assert all(each.disabled for each in buttons.values())
    view.tilted_to_light = True
    for eye in "RL":
        lay_its_chart(view, eye)
    carried = "back" if (chapter.name[:2], letter) == ("10", "B") else "front"  # as the chapter says

    def at(name: str) -> tuple[float, float]:
        buttons[name].click()
        return hands.bench.stage_x_mm, hands.bench.stage_y_mm

    ticket = {}
    for eye, side in (("R", "right"), ("L", "left")):
        heights = {p.name: p.at_mm for p in view.scene.places if p.eye == eye and p.along == "y"}
        high = (
            heights[f"the fitting cross of the {side} lens"] - heights[f"the lowest point of the {side} lens"]
        )
        ticket[f"height_{side}"] = f"{round(2 * high) / 2:g}"
        hands.bench.lens, hands.bench.against = eye, "back"
        ticket[side] = hands.read(eye, zero, at("Distance circle"))
        hands.bench.against = carried
        circles = [at(name) for name in ("Distance circle", "Near circle")]
        ticket[f"add_{side}"] = hands.addition(carried, *circles)
    return ticket


def the_end(ticket: dict[str, str], letter: str, learner: str, chapter: Path) -> dict:
    """What the table in the chapter says of one's own ticket, and its first row that fails."""
    table = held(ticket, letter, learner, str(chapter))
    assert table is not None
    failed = table.verification.failures
    row = f"{ {'R': 'right ', 'L': 'left '}.get(failed[0].eye, '') }{failed[0].quantity}" if failed else ""
    return {f"end_{letter.lower()}": {"end": table.verification.end, "row": row}}


def looked_over(letter: str, learner: str, chapter: Path) -> str:
    """The style, as the table in the chapter has it of what is seen on the tray; the pair is put right."""
    view = tray(letter, learner, str(chapter))
    assert view is not None
    view.wiped = view.trued = view.tilted_to_light = True
    seen = view.scene.words
    if "rings" in seen:
        return "progressive"
    if "two lines" in seen or "second line" in seen:
        return "trifocal"
    return "single vision" if "No line is seen in either lens" in seen else "bifocal"


def of_any_style(hands: Hands, chapter: Path, letter: str, learner: str, zero: float) -> dict[str, str]:
    """The whole ticket of a pair that the tray tells the style of."""
    style = looked_over(letter, learner, chapter)
    ticket = {"style": style}
    if style == "progressive":
        ticket |= marked_up(hands, chapter, letter, learner, zero)
        view = tray(letter, learner, str(chapter))
        buttons = inked_places(letter, learner, str(chapter), **hands.key).buttons
    elif style != "single vision":
        ticket |= lined(hands, chapter, letter, learner, zero)
    for eye, side in (("R", "right"), ("L", "left")):
        if style == "progressive":
            across = {p.name: p.at_mm for p in view.scene.places if p.eye == eye and p.along == "x"}
            ticket[f"pd_{side}"] = f"{abs(round(2 * across[f'the fitting cross of the {side} lens']) / 2):g}"
            hands.bench.lens = eye
            buttons["prism"].click()
            here = hands.bench.stage_x_mm, hands.bench.stage_y_mm
            hands.sharp_at = hands.seen_at(here, SIZE).sphere_lines
            ticket[f"prism_{side}"] = hands.prism(eye)
            continue
        if style == "single vision":
            ticket[side] = hands.read(eye, zero)
        else:  # above the line, where one picture stands
            places = {
                p.name: p.at_mm for p in tray(letter, learner, str(chapter)).scene.places if p.eye == eye
            }
            line = next(at for name, at in places.items() if name.startswith(("the line", "the upper line")))
            hands.bench.lens, hands.bench.against, hands.bench.stage_y_mm = eye, "back", line + 4.5
            hands.centre(eye)
        ticket[f"pd_{side}"], ticket[f"prism_{side}"] = hands.measure(), "no prism"
    return ticket


@cache
def by_the_steps(number: str, letter: str, variant: int, learner: str) -> dict:
    """What is written of a pair, by the names of the chapter's answers."""
    chapter = next(SOURCE.glob(f"{number}-*"))
    hands = Hands(chapter, letter, learner)
    style = looked_over(letter, learner, chapter) if number == "08" else ""
    # In chapter 0 the eyepiece is set, and there is nothing else to turn.
    dial, zero = (hands.set_the_eyepiece(), hands.check_zero()) if number != "00" else (0.0, 0.0)
    # A zero that scatters about nothing is no zero error.
    taken_away = zero if abs(zero) > 0.09 else 0.0
    pair = f"pair_{letter.lower()}"
    eyes = {"R": "right", "L": "left"} if number != "03" else {"R": "right"}
    if number == "08":
        over = above_the_line(letter, learner, chapter) if style == "bifocal" else {}
        lenses = {side: hands.read(eye, taken_away, over.get(eye)) for eye, side in eyes.items()}
        return {pair: {"style": style} | lenses}
    if number == "12":
        return {pair: of_any_style(hands, chapter, letter, learner, taken_away)}
    if number == "10":
        return {pair: marked_up(hands, chapter, letter, learner, taken_away)}
    if number == "09":
        return {pair: lined(hands, chapter, letter, learner, taken_away)}
    if number in ("07", "11"):
        ticket = {}
        record = looked_through(chapter, letter, learner) if (number, letter) != ("07", "A") else {}
        for eye, side in eyes.items():
            ticket[side] = hands.read(eye, taken_away, record.get(eye))
            if not record:
                ticket[f"pd_{side}"] = hands.measure()
            else:
                ticket[f"prism_{side}"] = hands.prism(eye)
        return {pair: ticket} | (the_end(ticket, letter, learner, chapter) if number == "11" else {})
    answers = {f"{pair}_{side}": hands.read(eye, taken_away) for eye, side in eyes.items()}
    return answers | {f"{pair}_eyepiece": written(dial), f"{pair}_zero": written(zero)}


def answers_of(number: str, learner: str) -> dict[str, str]:
    box = open_pairs(next(SOURCE.glob(f"{number}-*")))
    answers = {}
    for letter in sorted({"A", "B"} & set(box.briefs)):
        variant = box.variant(letter, learner)
        # Learners with the same variant have the same bench before them; it is read once.
        first = next(each for each in LEARNERS if box.variant(letter, each) == variant)
        answers |= by_the_steps(number, letter, variant, first)
    return answers


def graded(number: str):
    path = next(SOURCE.glob(f"{number}-*/*.ipynb"))
    for cell in nbformat.read(path, as_version=4).cells:
        found = re.search(r"### BEGIN HIDDEN TESTS\n(.*)\n### END", cell.source)
        if found:
            yield cell.id, cell.metadata.nbgrader.points, found.group(1)


# A pair takes seconds: one learner of one chapter at the desk, three of every chapter in `.ci/run`,
# twenty where OPTICS_TESTS=exhaustive asks for them.
CHAPTERS, AT_THE_DESK = ["00", *(f"{n:02}" for n in range(3, 13))], {"05"}


def followed():
    for number in CHAPTERS:
        for n, learner in enumerate(LEARNERS):
            now = n == 0 and number in AT_THE_DESK
            later = pytest.mark.thorough if n < 3 else pytest.mark.exhaustive
            yield pytest.param(number, learner, id=f"{learner}-{number}", marks=() if now else later)


@pytest.mark.parametrize(("number", "learner"), list(followed()))
def test_who_follows_the_steps_earns_every_mark(number, learner):
    answers = answers_of(number, learner) | {"learner": learner, "check": checks}
    asked = list(graded(number))
    assert len(asked) >= 2
    with contextlib.chdir(next(SOURCE.glob(f"{number}-*"))):
        for cell, points, call in asked:
            with checks.collecting() as said:
                mark = eval(call, dict(answers))
            assert mark == points, (cell, answers, said[0]["text/plain"], said[0][MARKS_MIME])
