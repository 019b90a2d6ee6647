"""Who does not look at the pairs earns next to nothing, who would harm at most half, and who only
writes badly most; and the habits of a chapter are told apart on the pairs that it marks.

Everything is asked of the chapter's own hidden checks, with its own points; a reason that is
marked by hand earns nothing here and counts. Strategies and habits are done here by hand.
"""

from __future__ import annotations

import re
import shutil
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from statistics import mean, median_low
from typing import Any

import pytest
from asked_questions import (
    CHAPTERS,
    SOURCE,
    Asked,
    answers_of,
    as_asked,
    asked_of,
    hands,
    marked,
    points_of,
)

from optics.errors import OpticsError
from optics.lens.parsing import parse
from optics.marking.diagnosis import Diagnosis
from optics.marking.habits import CATALOGUE
from optics.specimens.sealed import open_pairs, seal

CLASS = [f"t{101 + number}" for number in range(48)]
OTHER = {"right": "left", "left": "right"}
WITH_PAIRS = [chapter for chapter in CHAPTERS if (SOURCE / chapter / "pairs.json").is_file()]
AT_THE_DESK = "00-start-here"
"""The rest asks for hundreds of pairs to be made."""


def each_of(chapters: list[str]) -> list:
    later = pytest.mark.thorough
    return [pytest.param(each, marks=() if each == AT_THE_DESK else later, id=each[:2]) for each in chapters]


@pytest.fixture(autouse=True)
def unexplained(monkeypatch):
    """What a wrong answer comes from takes long to find, and moves no mark."""
    for check in ("bench", "ticket"):
        monkeypatch.setattr(sys.modules[f"optics.checks.{check}"], "diagnose", lambda *_, **__: Diagnosis())


# --- without a look ---------------------------------------------------------------------------

CONSTANT = {"add": "+2.00", "prism": "no prism", "pd": "31.5", "height": "18", "style": "single vision"}
CONSTANT |= {"end": "passes", "row": "", "eyepiece": "+1.00", "zero": "0.00"}


def what_of(name: str, field: str) -> tuple[str, str]:
    """What a field or an answer is about, and the side of it: ("line", "right"), ("add", "left")."""
    rest, _, side = re.sub(r"^pair_[ab]_", "", field or name).rpartition("_")
    return (rest or "line", side) if side in OTHER else (field or rest + side, "")


def middle(texts: list[str]) -> str:
    """What is typical: of numbers and of lines the middle ones, else the commonest."""
    texts = [text for text in texts if text] or [""]
    try:
        lines = [parse(text) for text in texts]
    except OpticsError:
        try:
            numbers = [float(text) for text in texts]
        except ValueError:
            return Counter(texts).most_common(1)[0][0]
        return texts[numbers.index(median_low(numbers))]
    sphere, cylinder = (
        median_low([getattr(line, part) for line in lines]) for part in ("sphere", "cylinder")
    )
    return f"{sphere:+.2f} {cylinder:+.2f} x 180" if cylinder else f"{sphere:+.2f} DS"


class Class:
    """A class of an invented intake before the pairs of one chapter."""

    def __init__(self, chapter: str, folder: Path) -> None:
        self.chapter, self.folder = chapter, folder / chapter
        self.folder.mkdir()
        if chapter in WITH_PAIRS:
            shutil.copy(SOURCE / chapter / "pairs.json", self.folder)
            seal(self.folder, intake="blind", secret="blind")
        self.asked = [each for each in asked_of(chapter) if each.points]
        self.of_pairs = {each.answer for each in self.asked if "pair" in each.given}
        given = answers_of(chapter, "", self.folder)[0]
        self.empty = {name: empty for name, empty in given.items() if not name.startswith("_")}
        self.right = [answers_of(chapter, each, self.folder)[1] for each in CLASS]

    def texts(self, number: int, name: str, field: str) -> list[str]:
        """The right answers of the half of the class to which a learner does not belong."""
        others = [self.right[n][name] for n in range(len(CLASS)) if n % 2 != number % 2]
        return [each.get(field) or "" for each in others] if field else others

    def filled(self, number: int, say: Callable[[str, str], str], letters: bool = True) -> dict[str, Any]:
        """Everything answered as `say` does, given an answer's name and a ticket's field."""
        made = self.empty | {"learner": CLASS[number]}
        letter = {
            each.answer: "abc"[number % 3] if letters else "" for each in self.asked if each.name == "choice"
        }
        for name, empty in self.empty.items():
            if name in letter:
                made[name] = letter[name]
            elif isinstance(empty, dict):
                made[name] = {field: say(name, field) for field in empty}
            elif empty == "" and name != "learner":
                made[name] = say(name, "")
        return made

    def of_100(self, ways: list[dict[str, Any]]) -> float:
        got = sum(marked(each, way, self.folder)[0] for way in ways for each in self.asked)
        return 100.0 * got / len(ways) / points_of(self.chapter)

    def typical(self, number: int) -> Callable[[str, str], str]:
        """The middle of what others have before them; of a question on paper nothing is common."""

        def say(name: str, field: str) -> str:
            return middle(self.texts(number, name, field)) if name in self.of_pairs else "-2.00 -0.75 x 180"

        return say

    def constant(self, line: str) -> Callable[[str, str], str]:
        return lambda name, field: CONSTANT.get(what_of(name, field)[0], line)

    def neighbours(self, number: int) -> Callable[[str, str], str]:
        beside = self.right[(number + 1) % len(CLASS)]

        # What is asked on paper is the same for all, and a right answer copied is right.
        def say(name: str, field: str) -> str:
            return "" if name not in self.of_pairs else beside[name].get(field, "") if field else beside[name]

        return say

    def one_lens(self, number: int, side: str, copied: bool) -> Callable[[str, str], str]:
        """One lens read rightly; the other left empty, or copied from it and the rest of it typical."""
        typical = self.typical(number)

        def say(name: str, field: str) -> str:
            what, whose = what_of(name, field)
            right = self.right[number][name]
            if whose == side or (not whose and what not in ("end", "row")):
                return right.get(field, "") if field else right
            if not copied:
                return ""
            if what != "line":
                return typical(name, field)
            of = (field or name).replace(whose, side)
            return right.get(of, "") if field else self.right[number].get(of, "")

        return say


@pytest.mark.parametrize("chapter", each_of(CHAPTERS))
def test_without_a_look_next_to_nothing_is_earned(chapter: str, tmp_path: Path) -> None:
    """A letter is met by chance once in three; whose neighbour has the same pair by chance is among these."""
    everybody = range(len(CLASS))
    seen = Class(chapter, tmp_path)
    earned = {
        "constant": max(
            seen.of_100([seen.filled(n, seen.constant(line)) for n in everybody])
            for line in ("+1.00 -0.75 x 180", "-2.00 DS")
        ),
        "plano": seen.of_100([seen.filled(n, seen.constant("pl")) for n in everybody]),
        "typical": seen.of_100(
            [seen.filled(n, seen.typical(n)) for n in everybody if chapter in WITH_PAIRS] or [seen.empty]
        ),
        "neighbour": seen.of_100([seen.filled(n, seen.neighbours(n), letters=False) for n in everybody]),
    }
    if chapter in WITH_PAIRS:
        # Of two lenses one was read, and earns what it earns; what the copy adds was not.
        alone, copied = (
            mean(
                seen.of_100([seen.filled(n, seen.one_lens(n, side, way), letters=False) for n in everybody])
                for side in OTHER
            )
            for way in (False, True)
        )
        earned["other lens"] = copied - alone
    assert max(earned.values()) <= 8.0, earned


# --- harm, and notation ---------------------------------------------------------------------------

LINES = ("reading", "ticket", "conversion", "from_cross", "settled")


def changed(
    asked: Asked, right: dict[str, Any], change: Callable[[str], str | None], sides: str
) -> dict | None:
    """The right answers but for the lines of one question; None where that changes nothing."""
    answer = right[asked.answer]
    if isinstance(answer, dict):
        new = {side: change(answer[side]) for side in sides.split()}
        return None if None in new.values() else right | {asked.answer: answer | new}
    new_line = change(answer)
    return None if new_line is None else right | {asked.answer: new_line}


def _line(sphere: float, cylinder: float, axis: float) -> str:
    return (
        f"{sphere:+.2f} {cylinder:+.2f} x {round(axis - 1) % 180 + 1:03d}"
        if cylinder
        else f"{sphere:+.2f} DS"
    )


def other_sign(line: str) -> str | None:
    of = parse(line)
    return _line(-of.sphere, of.cylinder, of.axis or 180) if abs(of.sphere) >= 0.5 else None


def dioptre_out(by: float) -> Callable[[str], str]:
    def change(line: str) -> str:
        of = parse(line)
        return _line(of.sphere + by, of.cylinder, of.axis or 180)

    return change


def across(line: str) -> str | None:
    of = parse(line)
    return _line(of.sphere, of.cylinder, of.axis + 90) if of.axis and abs(of.cylinder) >= 0.75 else None


HARMS = {
    "sphere of the other sign": other_sign,
    "a dioptre up": dioptre_out(1.0),
    "a dioptre down": dioptre_out(-1.0),
    "three dioptres out": dioptre_out(3.0),
    "axis across": across,
}


def exchanged(asked: Asked, right: dict[str, Any], learner: str) -> dict[str, Any]:
    """The two lines of a pair in each other's place."""
    answer = right[asked.answer]
    if isinstance(answer, dict):
        return right | {asked.answer: answer | {side: answer[of] for side, of in OTHER.items()}}
    side = {"R": "right", "L": "left"}[asked.given["eye"]]
    other = asked.answer.removesuffix(side) + OTHER[side]
    lines = right | {other: right.get(other) or ""}
    if not lines[other]:  # one lens alone is asked
        of = (
            open_pairs(SOURCE / asked.chapter)
            .pair(asked.given["pair"], learner)
            .written()
            .of("RL"["RL".index(asked.given["eye"]) - 1])
        )
        lines[other] = of.line.distance
    return lines | {asked.answer: lines[other], other: lines[asked.answer]}


def asked_for_lenses(chapter: str) -> list[Asked]:
    return [each for each in asked_of(chapter) if each.points and each.name in LINES]


FOR_LENSES = [chapter for chapter in CHAPTERS if asked_for_lenses(chapter)]


@pytest.mark.parametrize("chapter", each_of(FOR_LENSES))
def test_a_lens_that_would_harm_earns_at_most_half_of_its_question(chapter: str) -> None:
    tried = 0
    for learner in CLASS[:4]:
        right = answers_of(chapter, learner)[1]
        for asked in asked_for_lenses(chapter):
            ways = {
                f"{name}, {side}": changed(asked, right, change, side)
                for name, change in HARMS.items()
                for side in OTHER
            }
            if "pair" in asked.given:
                ways["exchanged"] = exchanged(asked, right, learner)
            for name, answers in ways.items():
                if answers is not None:
                    mark = marked(asked, answers)[0]
                    assert mark <= asked.points / 2 + 0.01, (
                        asked.cell,
                        learner,
                        name,
                        answers[asked.answer],
                        mark,
                    )
                    tried += 1
    assert tried >= 20


FAULTS = {
    "comma": lambda line: line.replace(".", ","),
    "no nought before the point": lambda line: (
        line.replace("0.", ".") if "0." in line.replace("10.", "") else None
    ),
    "axis of fewer digits": lambda line: re.sub(r"x 0+", "x ", line) if "x 0" in line else None,
    "axis 0": lambda line: line.replace("x 180", "x 0") if "x 180" in line else None,
    "no plus before the sphere": lambda line: line[1:] if line[0] == "+" else None,
    "no sign before the cylinder": lambda line: re.sub(r" -(\d)", r" \1", line) if " -" in line else None,
}


@pytest.mark.parametrize("chapter", each_of(FOR_LENSES))
def test_one_fault_of_notation_leaves_at_least_80_of_100(chapter: str) -> None:
    tried = 0
    for learner in CLASS[:4]:
        right = answers_of(chapter, learner)[1]
        for asked in asked_for_lenses(chapter):
            for name, change in FAULTS.items():
                answers = changed(asked, right, change, "right left")
                if answers is not None and answers != right:
                    mark = marked(asked, answers)[0]
                    assert 0.8 * asked.points - 0.01 <= mark < asked.points, (
                        asked.cell,
                        learner,
                        name,
                        answers[asked.answer],
                        mark,
                    )
                    tried += 1
    assert tried >= 3


# --- the habits of a chapter, told apart on its pairs -----------------------------------------------


class Firm:
    """In place of chance: the commonest way of a habit, with both lenses, and one sign of it."""

    def __init__(self, sign: int) -> None:
        self.sign = sign

    def choice(self, ways: list) -> Any:
        return self.sign if list(ways) == [-1, 1] else ways[0]

    def integers(self, *_: int) -> int:
        return 1  # a chart askew lies too high or too low; aside of it, it may not show

    def random(self) -> float:
        return 0.0 if self.sign > 0 else 0.9

    def uniform(self, low: float, high: float) -> float:
        return (low + high) / 2


def _as_found(*mended: str) -> Callable:
    def begin(hand: Any) -> None:
        found = hand.pair.as_found(mended)
        hand.met = lambda eye, at, side="back": found.mounted(eye).lens.over_stop(*at, side)

    return begin


def _later(change: Callable) -> Callable:
    return lambda hand: hand.fields.append(lambda state: change(hand, state))


def _turned(eyes: str) -> Callable:
    def change(hand: Any, state: dict) -> None:
        for eye in eyes:
            state[eye]["prism"] = -state[eye]["prism"]

    return _later(change)


DONE: dict[str, Callable] = hands.HABITS | {
    "base reversed in one eye": _turned("R"),
    "base reversed in both eyes": _turned("RL"),
    "zero error not taken off": lambda hand: hand.moved.update(dict.fromkeys("RL", hand.pair.zero_error)),
    # Who checks zero with the eyepiece unset takes that off as well: it shows at dial and zero.
    "eyepiece not set": lambda hand: None,
    "frame not trued": _as_found("smeared"),
    "lens not cleaned": _as_found("temple twisted", "front bent"),
}
ON_THE = {"add": ("addition", "near", "sides"), "prism": ("base", "prism"), "heights": ("height",)}
ON_THE |= {"pd": ("distance", "centimetres")}
NOT_BY_NATURE = {
    "wrong side on the stop": "a weak sphere has the same power from both sides; 05's axes show it",
    "each power rounded by itself": "sphere and cylinder each within half a step pass ANSI Z80.1, whose limits are for these",
    "rounded away from zero": "between two steps the farther one is defensible; a sum of 06 shows it",
    "put on round numbers": "an axis or a sphere may be round by itself",
    "lens not cleaned": "over the whole stop the ripples of a film cancel out nearly all of their power",
    "addition read from the back": "but in strong plus lenses less than an addition may be out",
    "sides mixed for the addition": "but in strong plus lenses the same as read from the back",
}
"""Habits that a pair of their chapter may be unable to show, and why."""


def written_with(habit: str, chapter: str, learner: str, letter: str, sign: int) -> dict[str, Any]:
    """What somebody with this habit and a steady hand answers of one pair."""
    empty, right = answers_of(chapter, learner)
    box = open_pairs(SOURCE / chapter)
    hand = hands.Hand(box.pair(letter, learner), Firm(sign), 0.0)
    DONE[habit](hand)
    ticket = dict(hand.ticket().typed)
    answers = dict(right)
    for asked in asked_of(chapter):
        if asked.points and asked.given.get("pair") == letter and asked.name in ("ticket", "reading"):
            answers |= as_asked(asked, ticket, empty)
        if asked.points and asked.name == "noted" and habit == "eyepiece not set":
            # The dial as it was found; the telescope enlarges 4 times.
            off = f"{float(right[asked.answer]) - box.eye_setting(letter, learner) / 16:+.2f}"
            answers[asked.answer] = "0.00" if asked.given["what"] == "eyepiece" else off
    return answers


def can_be_done(habit: str, asked: list[Asked], style: str) -> bool:
    """Whether the pair has it and the chapter asks for it."""
    if habit in hands.HABITS and habit not in hands.costs(style):
        return False
    asks = {
        each for q in asked for each in q.given.get("asks", ("lines",) if q.name == "reading" else ON_THE)
    }
    about = {what for what, words in ON_THE.items() if any(word in habit for word in words)}
    if style == "single vision" and about & {"add", "heights"}:
        return False
    return not about or bool(about & asks)


def tickets_of(chapter: str, learner: str) -> dict[str, dict[str, list[tuple[tuple, bool]]]]:
    """By pair and habit what is written in either way of it, and whether it loses marks."""
    found: dict[str, dict[str, list]] = {}
    for letter in "AB":
        asked = [
            q for q in asked_of(chapter) if q.points and q.given.get("pair") == letter and q.name != "verdict"
        ]
        taught = [e.name for e in CATALOGUE if e.chapter == int(chapter[:2]) and "bench" in e.where]
        for habit in taught if asked else ():
            if can_be_done(habit, asked, open_pairs(SOURCE / chapter).pair(letter, learner).style):
                ways = [written_with(habit, chapter, learner, letter, sign) for sign in (1, -1)]
                found.setdefault(letter, {})[habit] = [
                    (
                        tuple(str(way[q.answer]) for q in asked),
                        any(marked(q, way)[0] < q.points for q in asked),
                    )
                    for way in ways
                ]
    return found


def stands_apart(habit: str, on_a_pair: dict[str, list[tuple[tuple, bool]]]) -> bool:
    """Whether it loses marks there, and nobody with another habit writes the same."""
    others = {wrote for name, ways in on_a_pair.items() if name != habit for wrote, _ in ways}
    return all(lost and wrote not in others for wrote, lost in on_a_pair.get(habit, [((), False)]))


TEACH_AT_THE_BENCH = [
    chapter for chapter in WITH_PAIRS if any(e.chapter == int(chapter[:2]) for e in CATALOGUE)
]


@pytest.mark.thorough
@pytest.mark.parametrize("chapter", TEACH_AT_THE_BENCH)
def test_the_habits_of_a_chapter_are_told_apart_on_a_pair_that_it_marks(chapter: str) -> None:
    unable: Counter[str] = Counter()
    met: set[str] = set()
    learners = CLASS[:8]
    for learner in learners:
        found = tickets_of(chapter, learner)
        habits = {habit for by_habit in found.values() for habit in by_habit}
        met |= habits
        for habit in habits:
            # On the one pair or on the other; what this chapter cannot show stands in no other's way.
            seen = [
                {name: ways for name, ways in by_habit.items() if name == habit or name not in NOT_BY_NATURE}
                for by_habit in found.values()
            ]
            if not any(stands_apart(habit, by_habit) for by_habit in seen):
                unable[habit] += 1
    taught = {e.name for e in CATALOGUE if e.chapter == int(chapter[:2]) and "bench" in e.where}
    assert met == taught, taught - met
    assert set(unable) - set(NOT_BY_NATURE) == set(), unable
    # An excuse that nobody needs is taken back.
    assert set(unable) == taught & set(NOT_BY_NATURE), unable


def test_what_the_pair_cannot_show_of_rounding_away_a_sum_of_chapter_06_does() -> None:
    chapter = "06-between-two-steps"
    right = answers_of(chapter, CLASS[0])[1]
    lost = []
    for asked in asked_of(chapter):
        if asked.name == "settled" and asked.points:
            read = [asked.given[name] for name in ("sphere_lines", "cylinder_lines")]
            away = [-(-abs(power) // 0.25) * 0.25 * (1 if power > 0 else -1) for power in read]
            line = _line(away[0], away[1] - away[0], asked.given["wheel"])
            lost.append(marked(asked, right | {asked.answer: line})[0] < asked.points)
    assert any(lost) and len(lost) == 2
