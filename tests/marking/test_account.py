"""Thousands of replies, composed for habits alone and in pairs: true, short, and without the answer.

What is right and what is wrong is worked out here again from the numbers, and held against
the words of the reply; the marks' own flags are never asked.
"""

from __future__ import annotations

import re
from itertools import permutations

import numpy as np
import pytest
from held_replies import MOST_WORDS, faults_of, habits_told, praised

from optics import checks as check
from optics.apprentices.bench_work import LEARNT
from optics.lens.parsing import parse
from optics.lens.power import Power
from optics.marking.account import _taught, account
from optics.marking.habits import CATALOGUE, Triple, slip
from optics.marking.marks import hold, mark_against, mark_pair, true_triple
from optics.marking.read import read_answer
from optics.marking.telling import Reply
from optics.specimens.briefs import Brief
from optics.specimens.right_ticket import right_ticket
from optics.specimens.specimen import make

OF_A_LINE = tuple(slip(name) for name in LEARNT if slip(name).of_a_line)


def lens_of(rng: np.random.Generator) -> Triple:
    sphere, cylinder = rng.integers(-24, 25) / 4, -rng.integers(1, 13) / 4
    return Triple(float(sphere), float(cylinder), float(rng.integers(1, 181)))


def wrong_lines(rng: np.random.Generator):
    """Lines spoilt by one habit, by two, or by none of the catalogue."""
    for _ in range(14):
        minus = lens_of(rng)
        power = Power.from_sphere_cylinder(*minus)
        for form in ("minus", "plus"):
            true = true_triple(power, form)
            chains = [(each,) for each in OF_A_LINE] + list(permutations(OF_A_LINE, 2))
            for chain in chains:
                made: Triple | None = true
                for each in chain:
                    made = None if made is None else each.shown(made, form)
                if made is not None and max(abs(made.sphere), abs(made.sphere + made.cylinder)) < 30:
                    yield form, true, made, chain
            for _ in range(20):
                shift = rng.integers(-4, 5, 2) / 4
                axis = (true.axis + rng.integers(0, 60) - 1) % 180 + 1
                yield form, true, Triple(true.sphere + shift[0], true.cylinder + shift[1], axis), ()


def written(line: Triple) -> str:
    if abs(line.cylinder) < 0.01:
        return f"{line.sphere:+.2f} DS" if line.sphere else "pl"
    sphere = f"{line.sphere:+.2f}" if line.sphere else "pl"
    return f"{sphere} {line.cylinder:+.2f} x {round((line.axis - 1) % 180 + 1):03d}"


def replies():
    rng = np.random.default_rng(31)
    for form, true, made, chain in wrong_lines(rng):
        line = parse(written(made))
        held = hold(line, true, form)
        for points in (0.0, 5.0):
            marks = mark_against(held, points)
            if marks.missed:
                told = account(marks, chain, form=form, wrote=line, true=true)
                assert len(Reply(state="Not yet", sentences=told, marks=marks).plain.split()) <= MOST_WORDS
                yield form, true, line, chain, points, told


@pytest.fixture(scope="module")
def all_replies():
    found = list(replies())
    assert len(found) > 5000
    return found


def test_no_sentence_denies_another(all_replies) -> None:
    named = 0
    for form, true, line, chain, _, told in all_replies:
        text = " ".join(told)
        assert faults_of(text) == [], text
        # Two habits are one account: neither is told as if it were alone.
        said, right = habits_told(text), praised(text)
        assert len(said) <= 1 and (not said or len(chain) == 1), text
        named += bool(said)
        # And what is called right is right, by the numbers.
        off = abs(line.sphere - true.sphere), abs(line.cylinder - true.cylinder)
        turned = line.transposed() if line.cylinder else line
        off_turned = abs(turned.sphere - true.sphere), abs(turned.cylinder - true.cylinder)
        if "sphere" in right:
            assert min(off[0], off_turned[0]) < 0.25 or line.power.is_close(
                Power.from_sphere_cylinder(*true), 0.3
            )
        if "cylinder" in right:
            assert min(off[1], off_turned[1]) < 0.26, (text, line, true)
        if "form" in right:
            assert line.form in (form, "sphere")
    assert named > 300


def test_nothing_before_hand_in_holds_the_answer(all_replies) -> None:
    looked_at = 0
    for _, true, line, _, points, told in all_replies:
        if points:
            continue
        text = " ".join(told)
        power = Power.from_sphere_cylinder(*true)
        for each in ("minus", "plus"):
            answer = written(true_triple(power, each))
            assert answer not in text or answer == line.distance, text
        mine = set(re.findall(r"[-+]?\d+\.\d\d|x \d{3}", line.distance))
        numbers = set(re.findall(r"[+-]\d+\.\d\d", text)) - mine
        answers = {f"{value:+.2f}" for value in (true.sphere, true.cylinder, true.sphere + true.cylinder)}
        assert not numbers & answers, (text, answers)
        axes = set(re.findall(r"x (\d{3})", text)) - {entry[2:] for entry in mine}
        assert f"{round(true.axis):03d}" not in axes, text
        assert not re.search(r"(habit leads|two lead) to", text)
        looked_at += 1
    assert looked_at > 2500


def test_after_hand_in_your_number_stands_beside_the_number_of_the_habit(all_replies) -> None:
    shown = [told for _, _, _, chain, points, told in all_replies if points and chain]
    assert sum("You wrote" in " ".join(told) for told in shown) > 0.8 * len(shown)


@pytest.mark.parametrize("entry", [each for each in OF_A_LINE if "bench" in each.where], ids=lambda e: e.name)
def test_a_habit_comes_first_and_then_why_a_twin_and_one_more(entry) -> None:
    true = Triple(-3.25, -1.00, 30.0)
    made = entry.shown(true)
    line = parse(written(made))
    told = account(mark_against(hold(line, true), 0.0), (entry,), wrote=line, true=true)
    assert told[0].endswith(entry.habit[1:]) and told[1] == entry.mend_for("bench")
    (before, after), *_ = [
        found.groups()
        for each in told
        if (found := re.fullmatch(r"With this habit (.+) becomes (.+)\.", each))
    ]
    # The twin is the habit, worked on other numbers.
    twin = parse(before)
    shown = entry.shown(Triple(twin.sphere, twin.cylinder, float(twin.axis)))
    assert after == written(shown) and twin.sphere != true.sphere
    assert any(sentence.startswith("One more to do") for sentence in told)


def test_a_missed_cylinder_and_an_unsettled_power_are_told_as_such() -> None:
    true = Triple(-3.25, -1.00, 30.0)
    line = parse("-3.25 DS")
    told = " ".join(account(mark_against(hold(line, true), 0.0), wrote=line, true=true))
    assert "where the lens has a cylinder" in told and "axis" not in told
    # One of the two powers as a sphere: still a missed cylinder, and no question of form.
    plus = Triple(-4.25, 1.00, 136.0)
    line = parse("-3.25 DS")
    held = hold(line, plus, "plus")
    told = " ".join(account(mark_against(held, 0.0), form="plus", wrote=line, true=plus))
    assert "where the lens has a cylinder" in told and "form" not in told
    line = parse("-3.50 -1.00 x 030")
    assert any(
        "not settled" in each for each in account(mark_against(hold(line, true), 0.0), wrote=line, true=true)
    )


def test_every_pair_of_habits_over_a_pair_is_one_account() -> None:
    marks = mark_against(hold(parse("-1.00 DS"), Triple(-3.25, -1.0, 30.0)), 5.0)
    told = {account(marks, pair) for pair in permutations(CATALOGUE, 2)}
    assert len(told) > 200
    for sentences in told:
        assert len(" ".join(sentences).split()) <= 68
        assert sentences[0].startswith("Two habits together")
        assert not habits_told(" ".join(sentences))


def told_of(
    lenses: str, right: str, left: str, names: tuple[str, ...], either=(), touched=("RL", "RL")
) -> str:
    """What is said of a pair made to these lenses, where habits in both lenses explain the ticket."""
    pair = make(Brief(lenses=lenses), seed=1)
    typed = right_ticket(pair) | {"right": right, "left": left}
    read = read_answer(typed, "minus")
    found = mark_pair(read, pair)
    lines = {eye: (read.of(eye).distance, true_triple(pair.power(eye))) for eye in "RL"}
    habits = [slip(name) for name in names]
    told = account(
        found.marks, habits, pair=lines, wrong=found.wrong, touched=touched, either=(names, *either)
    )
    return " ".join(told)


def test_a_habit_of_both_lenses_is_not_said_of_one() -> None:
    """Of two habits in a line its numbers may look right in one skill, and the habit was there all the same."""
    lenses, both = "R -3.75 -1.75 x 004; L -4.75 -2.25 x 002", ("form not converted", "axis 90 out")
    told = told_of(lenses, "-5.50 +1.75 x 004", "-7.25 +2.50 x 003", both)
    assert "form not converted, then axis 90 out." in told, told
    told = told_of(lenses, "-5.50 +1.75 x 094", "-7.25 +2.25 x 002", both, touched=("RL", "L"))
    assert "form not converted, then axis 90 out (left lens)." in told, told


def test_what_is_done_at_the_instrument_is_told_before_what_is_written() -> None:
    names, rival = ("sphere not converted", "wrong side on the stop"), ("axis mirrored", "eyepiece not set")
    lenses = "R -3.00 -1.00 x 030; L -1.50 -1.00 x 030"
    told = told_of(lenses, "-4.00 -1.00 x 150", "-1.50 -1.00 x 150", names, (rival,), ("R", "RL"))
    assert "to this: wrong side on the stop, then sphere not converted (right lens)." in told, told
    assert "could equally be: eyepiece not set and then axis mirrored." in told, told


def test_a_cylinder_written_of_a_sphere_is_not_sent_to_a_difference_that_is_none() -> None:
    broken = "where no line breaks as the wheel turns, the lens is a sphere."
    told = told_of("R -3.00 DS; L -1.50 -1.00 x 030", "-3.00 -0.50 x 090", "-1.50 -1.00 x 030", (), (), ())
    assert f"The cylinder of the right lens is not right yet: {broken}" in told, told
    told = told_of("R -3.00 DS; L -1.50 -1.00 x 030", "-3.00 DS", "-1.50 -2.00 x 030", (), (), ())
    assert "The cylinder of the left lens is not right yet" in told and broken not in told, told
    true, line = Triple(-3.0, 0.0, 180.0), parse("-3.00 -0.50 x 090")
    told = " ".join(account(mark_against(hold(line, true), 0.0), wrote=line, true=true))
    assert f"The cylinder is not right yet: {broken}" in told, told


def test_of_two_habits_something_is_said_to_do_though_much_may_as_well_be_so() -> None:
    names = ("eyepiece not set", "base reversed in one eye")
    rivals = (("wrong side on the stop",), ("wrong side on the stop", "eyepiece not set"))
    told = told_of("R -1.75 DS; L -4.00 DS", "-1.50 DS", "-3.75", names, rivals, ("RL", "L"))
    assert slip(names[0]).mend in told and "could equally be" in told, told


def test_of_a_sphere_its_line_is_no_rival_of_itself() -> None:
    names, line = ("sphere copied from the other lens",), ("line copied from the other lens",)
    told = told_of("R -3.00 DS; L -1.50 DS", "-3.00 DS", "-3.00 DS", names, (line,), ("L",))
    assert "sphere is that of the other lens" in told and "could equally be" not in told, told
    lenses = "R -3.00 -1.00 x 030; L -1.50 -1.00 x 030"
    told = told_of(lenses, "-3.00 -1.00 x 030", "-3.00 -1.00 x 030", names, (line,), ("L",))
    assert "could equally be: line copied from the other lens" in told, told


@pytest.mark.parametrize("rival", [(), (("minus sign left out",),)])
def test_notation_is_not_called_right_where_the_pen_may_have_slipped(rival) -> None:
    names = ("drum read across zero",) if rival else ("decimal point misplaced",)
    wrong = "+3.00 DS" if rival else "-0.30 DS"
    told = told_of("R -3.00 DS; L -1.50 DS", wrong, "-1.50 DS", names, rival, ("R",))
    assert "Right so far" not in told or "notation" not in praised(told), told
    assert "notation" in praised(
        told_of("R -3.00 DS; L -1.50 DS", "+3.00 DS", "-1.50 DS", ("drum read across zero",), (), ("R",))
    )


def test_what_is_wrong_with_the_notation_is_said_before_its_mend() -> None:
    """Beside two habits there is no room for all of it; the mend alone would hang in the air."""
    true, line = Triple(2.25, -0.50, 175.0), parse("-2.25 DS")
    loose = ('"-2,25" has a decimal comma.', "The decimal sign is a point.", 'Write "-2.25".')
    marks = mark_against(hold(line, true), 0.0)
    for pair in permutations(OF_A_LINE, 2):
        told = account(marks, pair, wrote=line, true=true, notation=loose)
        assert loose[0] in told, told


def test_a_reply_of_a_check_is_that_account() -> None:
    with check.collecting() as said:
        check.conversion("-3.00 +1.25 x 060", given="-1.75 -1.25 x 060", to="plus", points=0)
    assert slip("axis 90 out").habit[1:] in said[0]["text/plain"]


def test_the_chapters_of_two_habits_are_told_together() -> None:
    one, two = (next(entry for entry in CATALOGUE if entry.chapter == number) for number in (2, 5))
    assert _taught([one]) == "See chapter 2."
    assert _taught([two, one]) == "See chapters 2 and 5."


def test_beside_a_habit_of_one_lens_the_other_lens_is_named() -> None:
    lenses = "R -2.25 -0.75 x 015; L -1.50 -1.25 x 160"
    told = told_of(
        lenses, "-3.25 -0.75 x 015", "+1.50 -1.25 x 160", ("drum read across zero",), touched=("L",)
    )
    assert (
        "Left lens: it seems the drum" in told and "The sphere of the right lens is not right yet" in told
    ), told


def test_where_one_lens_has_prism_its_base_is_not_said_to_be_reversed_in_both() -> None:
    pair = make(Brief(lenses="R -5.25 DS; L -2.75 DS prism 1.50 base up"), seed=1)
    read = read_answer(right_ticket(pair) | {"prism_left": "1.50 base down"}, "minus")
    found = mark_pair(read, pair)
    lines = {eye: (read.of(eye).distance, true_triple(pair.power(eye))) for eye in "RL"}
    names, rival = ("base reversed in both eyes",), ("base reversed in one eye",)
    told = " ".join(
        account(
            found.marks,
            [slip(names[0])],
            pair=lines,
            wrong=found.wrong,
            touched=("L",),
            either=(names, rival),
        )
    )
    assert told.startswith("Left lens: it seems the base of the prism is named the wrong way round. "), told
    assert "both eyes" not in told and "could equally be" not in told, told


def test_a_sign_that_the_notation_asks_for_is_not_asked_for_again() -> None:
    true, line, loose = (
        Triple(-0.5, -2.5, 112.0),
        parse("+0.50 -2.50 x 112"),
        ('The sphere in "0.50" has no sign.',),
    )
    marks = mark_against(hold(line, true, safely=False), 0.0)
    habit = slip("minus sign left out")
    told = account(marks, (habit,), wrote=line, true=true, notation=loose)
    assert habit.mend not in told and loose[0] in told and told[0].endswith(habit.habit[1:]), told
    assert habit.mend in account(marks, (habit,), wrote=line, true=true)


def test_a_twin_stands_on_the_steps_of_a_ticket_where_it_can() -> None:
    true, line = Triple(-0.5, -2.5, 112.0), parse("-0.50 -1.25 x 112")
    told = account(mark_against(hold(line, true), 0.0), (slip("half the cylinder"),), wrote=line, true=true)
    (made,) = [found[1] for each in told if (found := re.search(r"becomes (.+)\.$", each))]
    powers = [float(power) for power in re.findall(r"[+-]\d+\.\d\d", made)]
    assert len(powers) == 2 and all(power % 0.25 == 0.0 for power in powers), made
