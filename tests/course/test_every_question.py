"""Every question of every chapter: right, untouched, each habit that applies, unreadable.

No reply is longer than it may be, denies itself, scolds or holds the answer; and before hand-in
somebody who types and reads the replies learns nothing of what is marked. Habits are done by
the hands of `tests/marking/noisy_hands.py`, here without noise, and on paper by the catalogue's
own arithmetic; chapters are asked as their source stands, hidden checks and all.
"""

from __future__ import annotations

import ast
import contextlib
import re
from typing import Any

import numpy as np
import pytest
from asked_questions import (
    CHAPTERS,
    SOURCE,
    Asked,
    answers_of,
    as_asked,
    asked_of,
    by_hand,
    hands,
    marked,
)
from held_replies import SCOLDS, faults_of, habits_told, praised

from optics import checks as check
from optics.lens.parsing import parse
from optics.marking.habits import CATALOGUE, Triple
from optics.specimens.sealed import open_pairs

LEARNERS = ("Mara Quillane", "Orwin Fenwold", "Corra Lindlow")
UNREADABLE = ("-3;25", "1e3", [], ["-1.00 DS"], "x" * 10_000, "\ud800", float("nan"), float("inf"))
UNREADABLE += (True, b"-1.00", 10**400, "²", "-1.00 DS\n+2.00 DS", "<b>-1</b>", object())
EMPTY = ("", "   ", None, ...)


@pytest.fixture
def before_hand_in(monkeypatch):
    """Give a function that runs a check cell as a learner's notebook does, and takes what it shows."""
    told: list[str] = []
    monkeypatch.setattr("IPython.display.display", lambda data, raw: told.append(data["text/plain"]))
    monkeypatch.setattr("optics.instrument.trace._in_hand", [])

    def run(asked: Asked, answers: dict[str, Any], source: str = "") -> str:
        told.clear()
        with contextlib.chdir(SOURCE / asked.chapter):
            exec(source or asked.shown, answers | {"check": check})
        return " ".join(told)

    return run


def lines_in(answer: Any) -> list[str]:
    """The texts of an answer that are long enough to be known again in a reply."""
    texts = answer.values() if isinstance(answer, dict) else [answer]
    return [text for text in texts if isinstance(text, str) and len(text) >= 6 and re.search(r"\d", text)]


def held(asked: Asked, told: str, typed: Any, right: Any) -> None:
    """What is asked of every reply, whatever was typed."""
    assert faults_of(told) == [], (asked.cell, typed, told)
    assert not SCOLDS.search(told) or asked.name == "choice", told
    told = re.sub(
        r"(for example|Write it like|such as) .*", "", told
    )  # the same to everybody, whatever is right
    given_away = [line for line in lines_in(right) if line in told and line not in str(typed)]
    # A habit at work on one's own lens may lead to the very line of the other.
    assert asked.name == "choice" or not given_away, (asked.cell, typed, told)


# --- right, untouched, unreadable -----------------------------------------------------------


@pytest.mark.sampled(4)
@pytest.mark.parametrize("chapter", CHAPTERS)
def test_right_untouched_and_unreadable(chapter, before_hand_in) -> None:
    questions = asked_of(chapter)
    assert len(questions) >= 4
    empty, right = answers_of(chapter, LEARNERS[0])
    for number, asked in enumerate(questions):
        mark, told, data = marked(asked, right)
        assert data["state"] == "Right" and mark == asked.points, (asked.cell, told)
        held(asked, told, right[asked.answer], None)
        nothing = [empty[asked.answer]]
        nothing += EMPTY if asked.name not in ("ticket", "verdict") else [{}, None, ""]
        for untouched in nothing:
            mark, told, data = marked(asked, right | {asked.answer: untouched})
            assert (data["state"], data["slips"], mark) == ("Not answered yet", [], 0.0), asked.cell
            held(asked, told, untouched, right[asked.answer])
            assert not habits_told(told) and "right yet" not in told
            assert "Not answered yet" in before_hand_in(asked, right | {asked.answer: untouched})
        for odd in UNREADABLE[number % 2 :: 2]:
            fields = empty[asked.answer]
            ways = [odd, dict.fromkeys(fields, odd)] if isinstance(fields, dict) else [odd]
            for typed in ways:
                mark, told, data = marked(asked, right | {asked.answer: typed})
                assert (data["slips"], mark) == ([], 0.0), (asked.cell, str(typed)[:80])
                assert data["state"] in ("Not yet", "Not answered yet"), (asked.cell, str(typed)[:80])
                held(asked, told, typed, right[asked.answer])
                # Nobody knows whether what could not be read is wrong.
                assert "right yet" not in told and "Right so far" not in told, (asked.cell, told)
                early = before_hand_in(asked, right | {asked.answer: typed})
                assert faults_of(early) == [] and "Recorded" not in early, (asked.cell, early)


# --- every habit that applies -----------------------------------------------------------------


def slips_of(asked: Asked, right: Any) -> dict[str, Any]:
    """Wrong answers to a question on paper, by what leads to them."""
    if asked.name == "choice":
        return {f"letter {letter}": letter for letter in "abc" if letter != right}
    if asked.name in ("noted", "meridian_power"):
        value = float(right)
        return {
            "sign": f"{-value:+.2f}",
            "a dioptre": f"{value + 1.5:+.2f}",
            "no sign": f"{abs(value) + 3.0:.2f}",
        }
    if asked.name in ("prism", "place", "jump"):
        turned = {"in": "out", "out": "in", "up": "down", "down": "up"}
        return {
            "base": re.sub(r"\b(in|out|up|down)\b", lambda way: turned[way[1]], right).replace("037", "217"),
            "amount": re.sub(r"[\d.]+", "8.75", right, count=1),
            "elsewhere": "27 mm up" if asked.name == "place" else "6.25 base up",
        }
    if asked.name == "crossed":
        (one, first), (two, second) = (part.split(" x ") for part in right.split(" / "))
        return {
            "axes": f"{one} x {second} / {two} x {first}",
            "signs": right.translate(str.maketrans("+-", "-+")),
            "loose": re.sub(r"x 0+", "x ", right).replace(".50", ".5"),
        }
    if asked.name == "verdict":
        ends = ("passes", "fails", "not yet known")
        return {end: {"end": end, "row": "left axis"} for end in ends if end != right["end"]} | {
            "row": {"end": right["end"], "row": "right height"}
        }
    if asked.name == "to_cross":
        return {"sign": f"{-float(right):+.2f}", "odd": f"{float(right) + 0.5:+.2f}"}
    if asked.name == "notation":
        return {"loose": "+2.5 -.75 x 8", "another": "+2.50 -0.75 x 080"}
    line = parse(right)
    lens = Triple(line.sphere, line.cylinder, float(line.axis or 180))
    made = {entry.name: entry.shown(lens, line.form) for entry in CATALOGUE if "paper" in entry.where}
    return {
        name: f"{wrong.sphere:+.2f} {wrong.cylinder:+.2f} x {round(wrong.axis):03d}"
        for name, wrong in made.items()
        if wrong is not None
    } | {"odd": f"{line.sphere + 1.5:+.2f} DS"}


def far_off(asked: Asked, typed: Any, right: Any) -> bool:
    """Whether a line or a field is so far out that no tolerance can cover it."""
    if isinstance(right, dict):
        return any(far_off(asked, typed.get(name) or "", right[name]) for name in typed if right.get(name))
    numbers = [re.findall(r"[-+]?\d+\.\d+", text) for text in (typed, right)]
    with contextlib.suppress(ValueError):
        one, two = ([float(each) for each in found] for found in numbers)
        return len(one) == len(two) and any(abs(a - b) >= 3.0 for a, b in zip(one, two, strict=True))
    return False


def differing(typed: dict, right: dict) -> set[str]:
    """The lenses of which something else was written."""
    names = {name for name, text in typed.items() if text != (right.get(name) or "")}
    return {name.rpartition("_")[2] for name in names} & {"right", "left"}


def far_out(side: str, typed: dict, right: dict) -> set[str]:
    """The skills that are wrong in a lens by more than anybody's tolerance, worked out from what was typed."""
    found = set()
    if typed.get(side):
        line, true = parse(typed[side]), parse(right[side])
        if line.form in (true.form, "sphere"):
            second = abs(line.sphere + line.cylinder - true.sphere - true.cylinder)
            found |= {"sphere"} if abs(line.sphere - true.sphere) > 0.4 else set()
            found |= {"cylinder"} if min(second, abs(line.cylinder - true.cylinder)) > 0.4 else set()
        if line.axis and true.axis and abs(true.cylinder) >= 0.5:
            found |= {"axis"} if 20 < abs(line.axis - true.axis) < 160 and line.form == true.form else set()
    for name, skill, most in (("add", "add", 0.4), ("pd", "centres", 3.0), ("height", "heights", 3.0)):
        one, two = (fields.get(f"{name}_{side}") for fields in (typed, right))
        found |= {skill} if one and two and abs(float(one) - float(two)) > most else set()
    return found


def tried(chapter: str, learner: str, every: int, two: int = 0):
    """Each question of a chapter with each wrong way of answering it, or every so many of them."""
    empty, right = answers_of(chapter, learner)
    box = open_pairs(SOURCE / chapter)
    rng = np.random.default_rng(len(chapter))
    for asked in asked_of(chapter):
        if asked.name in ("reading", "ticket"):
            pair = box.pair(asked.given["pair"], learner)
            habits = [(name,) for name in hands.costs(pair.style)]
            if two:
                habits = [tuple(map(str, rng.choice(hands.costs(pair.style), 2, False))) for _ in range(two)]
            ways = {
                names: as_asked(asked, by_hand(pair, *names), empty)
                for names in habits[:: 1 if two else every]
            }
        else:
            ways = {(n,): {asked.answer: a} for n, a in slips_of(asked, right[asked.answer]).items()}
        for names, typed in ways.items():
            yield asked, names, right, right | typed


def reply_held(asked: Asked, right: dict, answers: dict) -> str:
    typed, true = answers[asked.answer], right[asked.answer]
    mark, told, data = marked(asked, answers)
    held(asked, told, (typed, answers), true)
    assert 0.0 <= mark <= asked.points
    if data["state"] == "Right":
        return told
    if asked.points:
        assert mark < asked.points, (asked.cell, typed, told)
    if asked.name == "ticket":
        # What is one lens's is said of that lens, and not of the pair or of a lens that is right.
        said = told
        for entry in CATALOGUE:
            said = said.replace(entry.mend, "")
        named, sides = set(re.findall(r"\b(right|left) (?:lens|eye)\b", said.lower())), differing(typed, true)
        assert named <= sides, (asked.cell, typed, told)
        if len(sides) == 1 and data["slips"]:
            assert named or "lenses exchanged" in data["slips"], (asked.cell, typed, told)
        wrong = {skill for side in sides for skill in far_out(side, typed, true)}
        assert not praised(told) & wrong, (asked.cell, typed, told)
    return told


@pytest.mark.sampled(4)
@pytest.mark.parametrize("chapter", CHAPTERS)
def test_each_habit_that_applies(chapter, thorough) -> None:
    """Marks below full where it shows, and a reply that is true to itself and keeps the answer."""
    wrong = lost = 0
    for asked, names, right, answers in tried(chapter, LEARNERS[0], 4 if thorough else 8):
        told = reply_held(asked, right, answers)
        if far_off(asked, answers[asked.answer], right[asked.answer]):
            assert not told.startswith("Right"), (asked.cell, names, answers[asked.answer])
        wrong, lost = wrong + 1, lost + (not told.startswith("Right"))
    assert wrong >= 10 and lost >= 5, (wrong, lost)


def test_where_the_eyepiece_is_set_nobody_left_it_unset() -> None:
    """Chapter 00 says that it has been set and shows none; whoever is half a dioptre out there hears of none."""
    lines = []
    for asked in (each for each in asked_of("00-start-here") if each.name == "reading"):
        for learner in LEARNERS:
            right = answers_of(asked.chapter, learner)[1]
            for out in (-0.5, 0.5, 1.0):
                typed = f"{parse(right[asked.answer]).sphere + out:+.2f} DS"
                told = marked(asked, right | {asked.answer: typed})[1]
                assert "eyepiece was not" not in told and "eyepiece not" not in told, (typed, told)
                lines.append(told)
    assert sum("Not yet" in told for told in lines) >= 30


@pytest.mark.exhaustive
@pytest.mark.parametrize("chapter", CHAPTERS)
def test_every_habit_and_many_pairs_of_them(chapter) -> None:
    """With all chapters more than 5,000 replies."""
    for learner in LEARNERS[1:]:
        for two in (0, 45):
            for asked, _, right, answers in tried(chapter, learner, 1, two):
                reply_held(asked, right, answers)


# --- before hand-in somebody who tries learns nothing ------------------------------------------

# Another question of the same kind, with another answer: what is true there must not show.
ANOTHER = {
    "conversion": {"given": "+4.25 -2.75 x 033"},
    "crossed": {"given": "+4.25 -2.75 x 033"},
    "notation": {"given": "+4.2 -2.75 x 33"},
    "settled": {"sphere_lines": 4.11, "cylinder_lines": 1.38, "wheel": 33},
    "from_cross": {"powers": {33: 4.25, 123: 1.50}},
    "from_readings": {"sphere_lines": 4.25, "cylinder_lines": 1.50, "wheel": 33},
    "to_cross": {"given": "+4.25 -2.75 x 033"},
    "meridian_power": {"given": "+4.25 -2.75 x 033", "meridian": 78},
    "prism": {"lens": "L +7.00 DS", "looked": "9 mm out", "prisms": ""},
    "place": {"lens": "L +7.00 DS prism 3.00 base out"},
    "jump": {"add": 3.75},
}
TELLING = re.compile(
    r"other sign|wrong sign|sign is not|right angles|90|mirror|exchanged|copied|other lens|too (much|strong|weak)|nearer|"
    r"more (plus|minus)|right so far|is right\b|is not right|other way round|habit|ten times|stands|dioptre",
    re.I,
)


def elsewhere(asked: Asked) -> str:
    """The same cell, asked of something else that would have another answer."""
    if asked.name not in ANOTHER:
        return asked.shown
    tree = ast.parse(asked.shown)
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            for each in node.keywords:
                if each.arg in ANOTHER[asked.name]:
                    each.value = ast.parse(repr(ANOTHER[asked.name][each.arg]), mode="eval").body
    changed = ast.unparse(tree)
    assert changed != ast.unparse(ast.parse(asked.shown)), asked.cell
    return changed


def words_of(told: str, typed: Any) -> str:
    """A reply without what the learner typed into it, however it was tidied."""
    texts = typed.values() if isinstance(typed, dict) else [typed]
    for text in sorted(map(str, texts), key=len, reverse=True):
        told = told.replace(text, "…") if text else told
    return re.sub(r"[-+]?\d+(\.\d+)?", "#", re.sub(r"Read as .*?\.(?= It is)", "Read as ….", told))


@pytest.mark.sampled(4)
@pytest.mark.parametrize("chapter", CHAPTERS)
def test_what_is_marked_is_not_to_be_had_by_trying(chapter, before_hand_in) -> None:
    """Who tries the right answer, each wrong one and those of other learners hears the same of all,
    and the same that they would hear of another pair or question: nothing to work an answer out from.
    """
    right = answers_of(chapter, LEARNERS[0])[1]
    marked_pairs, practised = set(), set()
    tries: dict[str, list] = {}
    for asked, _, _, answers in tried(chapter, LEARNERS[0], 8):
        tries.setdefault(asked.cell, []).append(answers)
    heard = 0
    for asked in asked_of(chapter):
        (marked_pairs if asked.points else practised).add(asked.given.get("pair"))
        if not asked.points:
            continue
        others = [right | {asked.answer: answers_of(chapter, each)[1][asked.answer]} for each in LEARNERS[1:]]
        for answers in (right, *others, *tries.get(asked.cell, ())):
            told = before_hand_in(asked, answers)
            typed = answers[asked.answer]
            # Of another question, and of the pairs before other learners.
            assert before_hand_in(asked, answers, elsewhere(asked)) == told, (asked.cell, typed, told)
            for learner in LEARNERS[1:]:
                assert before_hand_in(asked, answers | {"learner": learner}) == told, (
                    asked.cell,
                    typed,
                    told,
                )
            if "Not yet" not in told:
                assert "Recorded" in told and not TELLING.search(words_of(told, typed)), (asked.cell, told)
                # No number that was not typed.
                mine = {float(each) for each in re.findall(r"\d+(?:\.\d+)?", str(typed))}
                loose = (
                    "So it could be misread" in told
                    or "figure before the point" in told
                    or "three digits" in told
                )
                new = {float(each) for each in re.findall(r"\d+(?:\.\d+)?", told)} - mine
                assert loose or not new, (asked.cell, typed, told)
            assert faults_of(told) == [], told
            heard += 1
    assert heard >= 10
    # Nor is a marked pair asked about where practice answers at once.
    assert not (marked_pairs & practised) - {None}, chapter
