"""One's own progress: skills, the next step, and a file that is never lost."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from optics.errors import OpticsError
from optics.marking.marks import SKILLS, mark_pair
from optics.marking.read import read_answer
from optics.progress import file as progress_file
from optics.progress.file import PROGRESS_FILE, note, note_chapter, read_progress
from optics.progress.page import next_step, progress_page
from optics.progress.progress import Chapter, Entry, Progress, entry_of, next_difficulty, own_spread
from optics.specimens.briefs import brief_for
from optics.specimens.right_ticket import right_ticket
from optics.specimens.specimen import make

RIGHT = {"sphere": True, "cylinder": True, "axis": True}


def entry(skills=RIGHT, difficulty=1, style="bifocal", number=0, **more) -> Entry:
    return Entry(
        when=datetime(2031, 5, 4, 9, number, tzinfo=UTC).isoformat(),
        style=style,
        difficulty=difficulty,
        seed=2**60 + number,
        skills=skills,
        **more,
    )


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / PROGRESS_FILE


# --- skills and steps -------------------------------------------------------------------


def test_a_skill_is_done_after_two_in_a_row() -> None:
    once = Progress((entry({"axis": True}),))
    # A first right pair is no reason to scold.
    assert once.skills()["axis"] == "right once"
    twice = Progress((entry({"axis": False}), entry({"axis": True}), entry({"axis": True})))
    assert twice.skills()["axis"] == "done"
    lost = Progress((*twice.entries, entry({"axis": False})))
    assert lost.skills()["axis"] == "try again"


def test_a_skill_that_no_pair_asked_for_is_not_yet() -> None:
    states = Progress((entry({"sphere": True}),)).skills()
    assert tuple(states) == SKILLS
    assert states["add"] == "not yet" and states["sphere"] == "right once"
    assert Progress().skills() == dict.fromkeys(SKILLS, "not yet")


def test_a_pair_that_did_not_ask_for_a_skill_does_not_count_for_it() -> None:
    entries = (entry({"add": True}), entry({"sphere": True}), entry({"add": True}))
    assert Progress(entries).skills()["add"] == "done"


def test_skills_of_one_style() -> None:
    both = Progress(
        (entry({"axis": True}), entry({"axis": True}), entry({"axis": False}, style="progressive"))
    )
    assert both.skills("bifocal")["axis"] == "done"
    assert both.skills("progressive")["axis"] == both.skills()["axis"] == "try again"


POOR = {"sphere": False, "cylinder": False, "axis": True}
FAIR = {"sphere": True, "cylinder": True, "axis": False}


@pytest.mark.parametrize(
    ("pairs", "next_one"),
    [
        ([], 1),
        ([(RIGHT, 1)], 1),
        ([(RIGHT, 1), (RIGHT, 1)], 2),
        ([(RIGHT, 1), (RIGHT, 2)], 2),
        ([(RIGHT, 1), (FAIR, 1)], 1),
        ([(RIGHT, 5), (RIGHT, 5)], 5),
        ([(POOR, 3), (POOR, 3)], 2),
        ([(POOR, 3), (FAIR, 3)], 3),
        ([(POOR, 1), (POOR, 1)], 1),
        ([(RIGHT, 3), (RIGHT, 3), (POOR, 4), (POOR, 4), (RIGHT, 3)], 3),
    ],
)
def test_the_next_pair_follows_the_learner(pairs, next_one) -> None:
    entries = tuple(entry(skills, difficulty) for skills, difficulty in pairs)
    other = entry(RIGHT, 5, style="progressive")
    assert next_difficulty(Progress((*entries, other)), "bifocal") == next_one


def test_a_careful_learner_climbs_to_the_top_and_a_lost_one_comes_down() -> None:
    progress = Progress()
    for _ in range(10):
        step = next_difficulty(progress, "bifocal")
        progress = Progress((*progress.entries, entry(RIGHT, step)))
    assert next_difficulty(progress, "bifocal") == 5
    for _ in range(10):
        step = next_difficulty(progress, "bifocal")
        progress = Progress((*progress.entries, entry(POOR, step)))
    assert next_difficulty(progress, "bifocal") == 1


def test_habits_are_counted() -> None:
    entries = (entry(slips=("axis mirrored",)), entry(slips=("axis 90 out", "axis mirrored")), entry())
    assert Progress(entries).habits() == {"axis mirrored": 2, "axis 90 out": 1}


# --- one's own spread ---------------------------------------------------------------------


def test_an_entry_keeps_how_far_off_each_lens_was() -> None:
    pair = make(brief_for("bifocal", 2), 4)
    marks = mark_pair(read_answer(right_ticket(pair) | {"style": "trifocal"}), pair)
    made = entry_of(marks, style="bifocal", difficulty=2, seed=4, slips=["axis mirrored"])
    assert made.skills["style"] is False and made.skills["sphere"] is True
    assert made.slips == ("axis mirrored",)
    for eye in "RL":
        assert np.allclose(made.differences[eye], marks.differences[eye].vector, atol=1e-4)
    assert datetime.fromisoformat(made.when).tzinfo is not None


def test_a_pair_of_spheres_shows_no_cylinder() -> None:
    pair = make(brief_for("single vision", 1), 4)
    marks = mark_pair(read_answer(right_ticket(pair)), pair)
    made = entry_of(marks, style="single vision", difficulty=1, seed=4)
    assert made.skills["sphere"] is True and "cylinder" not in made.skills
    assert "cylinder" in marks.marks.skills, "a cylinder that is not there still costs marks"


def test_bias_and_scatter_over_time() -> None:
    # Means 0.00, 0.25, 0.50, 0.25: bias 0.25, standard deviation sqrt(0.125 / 3).
    means = [0.0, 0.25, 0.5, 0.25]
    entries = tuple(
        entry(number=number, differences={"R": (mean, 0.0, 0.0)}) for number, mean in enumerate(means)
    )
    found = own_spread(Progress(entries))
    assert found.mean.mean == pytest.approx(0.25)
    assert found.deviation[0] == pytest.approx(np.sqrt(0.125 / 3))
    assert found.limits[0] == pytest.approx((0.25 - 1.96 * 0.2041, 0.25 + 1.96 * 0.2041), abs=1e-3)
    assert own_spread(Progress(entries[:1])) is None
    dates = [when for when, _, _ in Progress(entries).differences()]
    assert dates == sorted(dates) and len(dates) == 4


# --- the file -----------------------------------------------------------------------------


def test_what_is_noted_is_read_again(path: Path) -> None:
    assert read_progress(path) == (Progress(), ())
    first = entry(differences={"R": (0.1, -0.05, 0.02)}, slips=("axis mirrored",))
    note(first, path)
    progress, told = note(entry(FAIR, 2, number=1), path)
    assert told == () and read_progress(path) == (progress, ())
    assert progress.entries == (first, entry(FAIR, 2, number=1))
    assert [each.name for each in path.parent.iterdir()] == [PROGRESS_FILE]


def test_the_file_is_plain_and_says_what_it_is(path: Path) -> None:
    note(entry(), path)
    inside = json.loads(path.read_text("utf-8"))
    assert "I may delete it" in inside["what"] and "score" not in path.read_text("utf-8")
    path.unlink()
    assert read_progress(path) == (Progress(), ())


def test_two_open_notebooks_do_not_undo_each_other(path: Path) -> None:
    note(entry(number=0), path)
    read_progress(path)
    note(entry(number=1), path)
    progress, _ = note(entry(number=2), path)
    assert len(progress.entries) == 3


@pytest.mark.parametrize(
    "damage",
    [
        lambda text: text[: len(text) // 2],
        lambda text: "",
        lambda text: "[]",
        lambda text: "{}",
        lambda text: '{"version": 1, "pairs": 7}',
        lambda text: "[" * 100_000,
        lambda text: text.replace('"version": 1', '"version": 99'),
    ],
)
def test_a_damaged_file_is_set_aside_whole_and_told(path: Path, damage) -> None:
    note(entry(), path)
    spoilt = damage(path.read_text("utf-8"))
    path.write_text(spoilt, "utf-8")
    progress, (told,) = read_progress(path)
    assert progress == Progress()
    aside = path.with_name("my-progress-set-aside-1.json")
    assert aside.name in told and aside.read_text("utf-8") == spoilt and not path.exists()
    # The next one does not overwrite it.
    path.write_text("again", "utf-8")
    _, (told,) = note(entry(), path)
    assert "my-progress-set-aside-2.json" in told and aside.read_text("utf-8") == spoilt
    assert len(read_progress(path)[0].entries) == 1


def test_bytes_that_are_no_text_are_set_aside(path: Path) -> None:
    path.write_bytes(b"\xff\xfe\x00garbage")
    _, (told,) = read_progress(path)
    assert "damaged" in told and len(list(path.parent.iterdir())) == 1


@pytest.mark.parametrize(
    "spoil",
    [
        {"style": "monocle"},
        {"difficulty": 9},
        {"skills": {}},
        {"skills": 3},
        {"when": "yesterday"},
        {"differences": {"R": [1, 2]}},
        {"differences": {"R": [float("nan"), 0, 0]}},
        {"seed": "much"},
    ],
)
def test_one_bad_pair_costs_only_itself(path: Path, spoil: dict) -> None:
    for number in range(3):
        note(entry(number=number), path)
    inside = json.loads(path.read_text("utf-8"))
    inside["pairs"][1] |= spoil
    path.write_text(json.dumps(inside), "utf-8")
    whole = path.read_text("utf-8")
    progress, (told,) = read_progress(path)
    assert [each.seed - 2**60 for each in progress.entries] == [0, 2]
    assert "holds 1 entry that cannot be read" in told
    assert path.with_name("my-progress-set-aside-1.json").read_text("utf-8") == whole
    assert read_progress(path) == (progress, ())


def test_nothing_is_written_where_a_damaged_file_cannot_be_set_aside(path: Path, monkeypatch) -> None:
    path.write_text("damaged", "utf-8")

    def refuse(*_args: object) -> None:
        raise OSError("read-only")

    monkeypatch.setattr(Path, "rename", refuse)
    with pytest.raises(OpticsError, match=r"left as it is.*Move it"):
        note(entry(), path)
    assert path.read_text("utf-8") == "damaged"


def test_a_full_disk_leaves_the_old_file_as_it_was(path: Path, monkeypatch) -> None:
    note(entry(), path)
    before = path.read_bytes()

    def full(_descriptor: int) -> None:
        raise OSError("no space left")

    monkeypatch.setattr(progress_file.os, "fsync", full)
    with pytest.raises(OpticsError, match="could not be written"):
        note(entry(number=1), path)
    assert path.read_bytes() == before
    assert os.listdir(path.parent) == [PROGRESS_FILE]


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(OpticsError, match="could not be written"):
        note(entry(), tmp_path / "nowhere" / PROGRESS_FILE)


def test_a_seed_goes_through_the_file_whole(path: Path) -> None:
    large = replace(entry(), seed=2**63 + 1)
    note(large, path)
    assert read_progress(path)[0].entries[0].seed == 2**63 + 1


def test_exactly_half_right_is_not_fewer_than_half() -> None:
    half = {"sphere": True, "cylinder": False}
    entries = tuple(entry(half, 3, number=number) for number in range(2))
    assert [each.share for each in entries] == [0.5, 0.5]
    assert next_difficulty(Progress(entries), "bifocal") == 3


# --- chapters and the page ----------------------------------------------------------------

CHAPTERS = ("00-start-here", "05-reading-a-cylinder", "06-between-two-steps")


def chapter(**marks) -> Chapter:
    return Chapter(when="2031-05-04T09:00:00+00:00", skills=marks, slips=("axis 90 out",))


def test_chapters_and_pairs_are_kept_beside_each_other(path: Path) -> None:
    note_chapter("05-reading-a-cylinder", chapter(axis=(1.0, 2.0), sphere=(3.0, 3.0)), path)
    note(entry(), path)
    note_chapter("00-start-here", chapter(sphere=(1.0, 1.0)), path)
    progress, told = read_progress(path)
    assert (len(progress.entries), set(progress.chapters), told) == (1, set(CHAPTERS[:2]), ())
    assert progress.chapters["05-reading-a-cylinder"].states == {"axis": "try again", "sphere": "done"}
    # Marked again it stands in place of what it was.
    note_chapter("05-reading-a-cylinder", chapter(axis=(2.0, 2.0)), path)
    assert read_progress(path)[0].chapters["05-reading-a-cylinder"].states == {"axis": "done"}


@pytest.mark.parametrize(
    "bad", [None, [], {}, {"when": "x"}, {"when": "2031-05-04", "skills": {"axis": [float("nan"), 1]}}, 7]
)
def test_a_bad_chapter_costs_only_itself(path: Path, bad) -> None:
    note(entry(), path)
    note_chapter("00-start-here", chapter(sphere=(1.0, 1.0)), path)
    held = json.loads(path.read_text())
    held["chapters"]["05-reading-a-cylinder"] = bad
    path.write_text(json.dumps(held))
    progress, told = read_progress(path)
    assert (len(progress.entries), set(progress.chapters)) == (1, {"00-start-here"})
    assert "holds 1 entry that cannot be read" in told[0]


def test_a_file_of_before_the_chapters_is_read(path: Path) -> None:
    note(entry(), path)
    held = json.loads(path.read_text())
    del held["chapters"]
    path.write_text(json.dumps(held))
    assert len(read_progress(path)[0].entries) == 1


def test_what_to_do_next() -> None:
    right, wrong = chapter(axis=(2.0, 2.0)), chapter(axis=(0.0, 2.0))
    assert "chapter 0, start here" in next_step(Progress(), CHAPTERS)
    assert "Go back to chapter 0, start here: axis." in next_step(
        Progress((), {CHAPTERS[0]: wrong}), CHAPTERS
    )
    assert "chapter 5, reading a cylinder" in next_step(Progress((), {CHAPTERS[0]: right}), CHAPTERS)
    assert "open bench" in next_step(Progress((), dict.fromkeys(CHAPTERS, right)), CHAPTERS)


def test_the_page_says_what_is_known_and_no_more() -> None:
    lean = {"R": (0.12, 0.0, 0.0), "L": (0.13, 0.0, 0.0)}
    few = progress_page(Progress((entry(differences=lean),)), CHAPTERS)
    assert "lean" not in few
    assert "Right once, one more makes sure: sphere, cylinder, axis." in few
    assert "try again" in few and "again:" not in few
    many = progress_page(Progress(tuple(entry(differences=lean) for _ in range(3))), CHAPTERS)
    assert "they lean 0.12 D to plus: look at the eyepiece and at zero" in many or "0.13 D to plus" in many
    twice = progress_page(Progress((), dict.fromkeys(CHAPTERS[:2], chapter(axis=(0.0, 1.0)))), CHAPTERS)
    assert "Met more than once: axis 90 out." in twice
    assert "<script" not in progress_page(Progress((), {}), ("<script>",))
