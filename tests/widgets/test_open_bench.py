"""The open bench as Python drives it: every style read, asked about, replayed, kept."""

import json

import pytest
from typed_ticket import typed

from optics import lesson
from optics.errors import OpticsError
from optics.instrument.focimeter import eyepiece_view
from optics.judging.settling import settle
from optics.progress.file import PROGRESS_FILE
from optics.specimens.briefs import STYLES
from optics.specimens.right_ticket import right_ticket
from optics.specimens.specimen import make
from optics.specimens.steps import by_rule, on_the_rings, prism_words, settled_add
from optics.widgets.open_bench.draft import DRAFT_FILE, keep_draft, kept_draft
from optics.widgets.open_bench.open_bench import OpenBench, brief_of


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("difficulty", [1, 4])
def test_a_pair_of_every_style_is_right_and_replayed_to_what_it_is(style, difficulty):
    table = OpenBench(style=style, difficulty=difficulty, seed=7, faults="often")
    assert table.specimen.style == style and table.specimen.conditions
    table.ticket.typed = typed(right_ticket(table.specimen))
    table.ask()
    assert "Right: everything" in table.outcome.value
    assert len(table.replay.children) == 3
    step = None
    for _ in table.replay.steps:
        table.replay.next.click()
        before, step = step, table.replay.steps[table.replay.at]
        if step.reads == "line":
            assert table.bench.drum == pytest.approx(before.settings.drum, abs=0.006)
        assert step.words.split(".")[0] in table.replay.words.value.replace("&#x27;", "'")
        if step.stage_mm is not None:
            there, here = step.met(table.specimen), table.bench.met
            assert here.power.matrix == pytest.approx(there.power.matrix, abs=0.05)
            assert table.bench.drum == pytest.approx(step.settings.drum, abs=0.006)
    assert table.replay.next.disabled and not table.replay.back.disabled
    table.replay.back.click()
    assert table.replay.at == len(table.replay.steps) - 2


def test_truing_on_the_tray_makes_the_bench_read_straight():
    seed = next(
        n for n in range(99) if "temple twisted" in brief_of("bifocal", 4, n, faults="often").condition
    )
    table = OpenBench(style="bifocal", difficulty=4, seed=seed, faults="often")
    (twisted,) = [each for each in table.specimen.conditions if each.name == "temple twisted"]
    table.bench.lens = twisted.eye
    place = twisted.eye, table.bench.stage_x_mm, table.bench.stage_y_mm
    straight = table.specimen.spectacles.over_stop(*place).power.matrix
    sent = dict(table.bench._met["power"])
    table.view.trued = table.view.wiped = True
    assert table.bench.met.power.matrix == pytest.approx(straight)
    assert table.bench._met["power"] != sent


def test_tray_and_stage_are_one_pair():
    table = OpenBench(style="single vision", difficulty=2, seed=1)
    table.bench.dots = {"R": [-31.0, 1.0]}
    assert table.view.dots == {"R": [-31.0, 1.0]}
    table.view.turned_over = True
    assert table.bench.against == "front"
    table.bench.against = "back"
    assert not table.view.turned_over


def test_marks_are_brought_only_once_they_are_inked():
    table = OpenBench(style="progressive", difficulty=2, seed=2)
    assert all(button.disabled for button in table.marks.buttons.values())
    before = table.bench.stage_x_mm, table.bench.stage_y_mm
    table.marks.bring("near")
    assert (table.bench.stage_x_mm, table.bench.stage_y_mm) == before
    table.view.mark_up()
    for part, button in table.marks.buttons.items():
        button.click()
        at = table.specimen.point_mm("R", part)
        assert (table.bench.stage_x_mm, table.bench.stage_y_mm) == pytest.approx(at, abs=0.051)


def read_from_ink(table, sign, off=(0.0, 0.0, 0.0)):
    """Lay a chart over the rings, or so far off them, ink, and write what stage and rule then show."""
    view, pair = table.view, table.specimen
    ticket = right_ticket(pair)
    view.tilted_to_light = view.wiped = view.trued = True
    view.chart = sign
    for eye, side in (("R", "right"), ("L", "left")):
        (x, y), middle = pair.spectacles.reference_point_mm(eye), pair.frame.boxing_centre_mm(eye)
        view.chart_under = eye
        # Nasal is to the viewer's right on the right lens.
        across, up, turned = off if eye == "R" else (-off[0], off[1], -off[2])
        view.chart_x_mm, view.chart_y_mm = x - middle[0] + across, y - middle[1] + up
        view.chart_turned_degrees, view.inking = turned, True
        assert f"inked from chart {sign}" in view._notice

        def read(part, against, eye=eye):
            table.bench.lens = eye
            table.marks.bring(part)
            place = table.bench.stage_x_mm, table.bench.stage_y_mm
            return view.spectacles.over_stop(eye, *place, against)

        on = pair.addition_side(eye)
        ticket[side] = settle(read("distance", "back").read).choice.distance
        gain = float(read("near", on).read.mean - read("distance", on).read.mean)
        ticket[f"add_{side}"] = f"{settled_add(gain):+.2f}"
        ticket[f"prism_{side}"] = prism_words(on_the_rings(read("prism", "back").prism, eye)) or "no prism"
        cross = next(
            {p.along: p.at_mm for p in view.scene.places if p.name == name}
            for name in [f"the fitting cross of the {side} lens"]
        )
        ticket[f"pd_{side}"] = f"{by_rule(abs(cross['x'])):g}"
        ticket[f"height_{side}"] = f"{by_rule(pair.frame.height_above_rim_mm(cross['y'])):g}"
    return ticket


def progressive_of(sign):
    seed = next(
        n for n in range(60) if make(brief_of("progressive", 2, n), n).spectacles.right.lens.sign == sign
    )
    return OpenBench(style="progressive", difficulty=2, seed=seed)


def test_from_the_right_chart_a_pair_is_read_right():
    table = progressive_of("Hb2")
    table.ticket.typed = typed(read_from_ink(table, "Hb2"))
    table.ask()
    assert "Right: everything on this ticket" in table.outcome.value


@pytest.mark.parametrize(
    ("own", "sign", "off", "habit"),
    [
        ("Hb2", "Hb8", (0.0, 0.0, 0.0), "wrong chart"),
        ("Hb6", "Hb4", (0.0, 0.0, 0.0), "wrong chart"),
        ("Hb2", "Hb2", (0.0, -3.0, 0.0), "askew chart"),
        ("Hb8", "Hb8", (3.0, 0.0, 0.0), "askew chart"),
    ],
)
def test_who_inks_from_a_wrong_or_an_askew_chart_is_told_so(own, sign, off, habit):
    table = progressive_of(own)
    table.ticket.typed = typed(read_from_ink(table, sign, off))
    table.ask()
    assert f"Habit: {habit}" in table.outcome.value, table.outcome.value


def test_with_ordered_prism_a_note_says_where_the_wearer_looks():
    seed = next(n for n in range(99) if make(brief_of("single vision", 4, n), n).ordered[0].prism)
    table = OpenBench(style="single vision", difficulty=4, seed=seed)
    assert "the wearer looks through" in table.told.value
    assert not table.marks.buttons["prism"].disabled and table.marks.buttons["near"].disabled


def read_unmarked(pair):
    """The ticket of somebody who reads distance in the middle of each rim."""
    ticket = right_ticket(pair)
    for eye, side in (("R", "right"), ("L", "left")):
        (x, y), middle = pair.spectacles.reference_point_mm(eye), pair.frame.boxing_centre_mm(eye)
        lens, on = pair.spectacles.mounted(eye).lens, pair.addition_side(eye)
        at = (middle[0] - x, middle[1] - y)
        near = lens.over_stop(*pair.lens_point_mm(eye, "near"), on).read.mean
        ticket[side] = settle(lens.over_stop(*at).read).choice.distance
        ticket[f"add_{side}"] = f"{settled_add(float(near - lens.over_stop(*at, on).read.mean)):+.2f}"
    return ticket


def test_a_progressive_read_unmarked_is_told_so():
    table = OpenBench(style="progressive", difficulty=2, seed=5)
    table.ticket.typed = typed(read_unmarked(table.specimen))
    table.ask()
    assert "Habit: progressive read unmarked" in table.outcome.value


def test_a_ticket_with_nothing_or_nonsense_on_it_is_not_marked(tmp_path):
    table = OpenBench(seed=1, folder=tmp_path)
    table.ask()
    assert "Write what you read" in table.outcome.value
    table.ticket.typed = {"sphere_right": "2.25"}
    table.ask()
    assert "sphere right" in table.outcome.value and not (tmp_path / PROGRESS_FILE).exists()


def test_what_is_typed_is_not_given_up_without_a_word():
    table = OpenBench(seed=1)
    ticket = table.ticket
    table.ticket.typed = {"sphere_right": "-2.25"}
    table.next_pair.click()
    assert table.ticket is ticket and "Press Next pair again" in table.told.value
    table.next_pair.click()
    assert table.ticket is not ticket and table.ticket.typed == {}


def test_a_restart_brings_pair_and_ticket_back(tmp_path):
    table = OpenBench(style="bifocal", folder=tmp_path)
    table.ticket.typed = {"sphere_right": "-2.25", "style": "bifocal"}
    again, other = OpenBench(folder=tmp_path), OpenBench(name="other", folder=tmp_path)
    assert again.specimen.order == table.specimen.order and again.ticket.typed == table.ticket.typed
    assert other.ticket.typed == {}
    (tmp_path / DRAFT_FILE).write_text("{ broken")
    assert OpenBench(folder=tmp_path).ticket.typed == {}
    keep_draft("", tmp_path, {"typed": {"no such field": "1"}, "seed": "x", "step": 77, "style": 3})
    assert OpenBench(folder=tmp_path).ticket.typed == {}
    assert not keep_draft("", tmp_path / "gone", {}) and kept_draft("", tmp_path / "gone") == {}


def lay_by_hand(view, eye, sign, x_mm, y_mm, turned=0.0):
    view.tilted_to_light, view.chart, view.chart_under = True, sign, eye
    view.chart_x_mm, view.chart_y_mm, view.chart_turned_degrees = x_mm, y_mm, turned
    view.inking = True


def test_where_a_chart_lay_outlasts_a_restart(tmp_path):
    table = OpenBench(style="progressive", difficulty=2, folder=tmp_path)
    lay_by_hand(table.view, "R", "Hb2", 2.5, -3.0, 4.0)
    table.view.chart_x_mm = -1.5  # taken on, and not inked yet
    again = OpenBench(folder=tmp_path)
    assert again.view.inked == table.view.inked and set(again.view.inked) == {"R"}
    assert again.view.chart_lies == table.view.chart_lies and again.view.chart_x_mm == -1.5
    assert again.view.ink_mm("R", "near") == table.view.ink_mm("R", "near")
    assert again.bench.trace.moves[-1].value == "R", "the ink that was on at the start is told"
    again.lay_next()
    assert OpenBench(folder=tmp_path).view.inked == {}
    kept = kept_draft("", tmp_path)
    ink = {"sign": "Hb2", "x_mm": 0.0, "y_mm": 0.0, "turned_degrees": 0.0}
    for bad in (3, {"inked": 5}, *({"inked": {"R": {**ink, **each}}} for each in ({"sign": "no"}, {"x_mm": "1"},
        {"y_mm": float("nan")}))):  # fmt: skip
        tray = {"chart": again.view.chart_lies, **bad} if isinstance(bad, dict) else bad
        keep_draft("", tmp_path, {**kept, "tray": tray})
        assert OpenBench(folder=tmp_path).view.inked == {}


def test_ones_own_chart_comes_again_with_ones_own_moves():
    table = OpenBench(style="progressive", difficulty=2, seed=2)
    lay_by_hand(table.view, "R", "Hb2", 2.5, -3.0, 4.0)
    right = dict(table.view.inked)
    lay_by_hand(table.view, "L", "Hb4", -1.0, -2.0)
    both, lay = dict(table.view.inked), table.view.chart_lies
    table.bench.drum = -1.25
    table.ticket.typed = {"sphere_right": "-2.25", "sphere_left": "-2.25"}
    table.ask()
    replay, moves = table.replay, len(table.bench.trace.moves)
    for at in range(len(replay.steps)):
        replay.go(at)
    assert table.view.inked not in ({}, both), "the steps put the ink where it belongs"
    assert len(table.bench.trace.moves) == moves, "what is shown is nobody's own move"
    told = [move.words for move in replay.mine.moves]
    assert "chart Hb2 taken" in told and "right lens inked" in told and "chart turned to +4 degrees" in told
    seen = {}
    for at in range(len(replay.mine.turns) + 1):
        replay.go_mine(at)
        words = replay.mine_words.value
        seen[next((each for each in told if each in words), "found")] = (
            dict(table.view.inked),
            table.view.chart_lies,
        )
    assert seen["found"][0] == {} and seen["found"][1]["chart"] == ""
    assert seen["right lens inked"][0] == right and seen["left lens inked"] == (both, lay)


def test_difficulty_follows_the_learner_and_a_pair_counts_once(tmp_path):
    table = OpenBench(folder=tmp_path)
    for round_ in range(2):
        table.ticket.typed = typed(right_ticket(table.specimen))
        table.ask()
        table.ask()
        assert "counted already" in table.outcome.value
        assert len(json.loads((tmp_path / PROGRESS_FILE).read_text())["pairs"]) == round_ + 1
        table.next_pair.click()
    assert "difficulty 2" in table.told.value


def test_the_lesson_gives_the_same_bench_again(tmp_path):
    one = lesson.open_bench(folder=str(tmp_path))
    assert lesson.open_bench(folder=str(tmp_path)) is one
    assert lesson.open_bench("second", folder=str(tmp_path)) is not one


def test_a_wrong_choice_is_told():
    with pytest.raises(OpticsError, match="single vision"):
        OpenBench(style="varifocal glasses")


def test_a_cylinder_that_is_out_only_as_the_sphere_is_is_not_called_near():
    table = OpenBench(style="single vision", difficulty=2, seed=7)
    ticket = typed(right_ticket(table.specimen))
    sphere, cylinder = float(ticket["sphere_right"].replace("pl", "0")), float(ticket["cylinder_right"])
    ticket |= {"sphere_right": f"{sphere - 1:+.2f}", "cylinder_right": f"{cylinder + 1:+.2f}"}
    if cylinder + 1 >= 0:
        ticket |= {"sphere_right": f"{sphere + 1:+.2f}", "cylinder_right": f"{cylinder - 1:+.2f}"}
    table.ticket.typed = ticket
    table.ask()
    assert "the second power is right" in table.outcome.value


def test_my_own_reading_is_shown_again_as_it_was_seen():
    table = OpenBench(style="single vision", difficulty=1, seed=4)
    bench = table.bench
    seen = {}
    moves = [
        ("eyepiece", 1.0),
        ("drum", -1.25),
        ("lens", "L"),
        ("wheel", 30.0),
        ("drum", 2.0),
        ("stage_y_mm", 3.0),
    ]
    for control, value in moves:
        setattr(bench, control, value)
        seen[len(bench.trace.moves)] = eyepiece_view(bench.settings, bench.met, 64)
    table.replay.offer("minus")
    mine = table.replay.mine
    assert mine is not None and len(seen) == len(moves)
    for made, picture in seen.items():
        assert mine.picture(table.view.spectacles, made, 64) == pytest.approx(picture, abs=1e-9)
    for _ in mine.turns:
        table.replay.mine_next.click()
    assert table.replay.mine_next.disabled
    assert "stop to +3.0 mm from the datum line" in table.replay.mine_words.value
    assert eyepiece_view(bench.settings, bench.met, 64) == pytest.approx(list(seen.values())[-1], abs=1e-9)
    for _ in range(len(mine.turns)):
        table.replay.mine_back.click()
    assert bench.drum == 0.0 and "How you found the bench" in table.replay.mine_words.value
    assert bench.trace.moves == mine.moves, "what is shown is nobody's own reading"
