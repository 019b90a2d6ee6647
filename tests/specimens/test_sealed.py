"""Sealed pairs: the same pair for the learner and for the marker, another for another intake."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from optics.course.solving import solve
from optics.errors import OpticsError
from optics.lens.parsing import parse
from optics.specimens import sealed
from optics.specimens.sealed import open_pairs, seal

BRIEFS = {"A": {"cylinder": "always"}, "B": {"cylinder": "none", "strongest": 3}}


@pytest.fixture
def chapter(tmp_path: Path) -> Path:
    folder = tmp_path / "05-reading-a-cylinder"
    folder.mkdir()
    (folder / sealed.BRIEFS).write_text(json.dumps(BRIEFS), "utf-8")
    return folder


def handed_out(chapter: Path, intake: str = "spring", secret: str = "one", variants: int = 24) -> Path:
    """The chapter as it lies on a learner's machine: sealed, under another name, without briefs."""
    seal(chapter, intake=intake, secret=secret, variants=variants)
    elsewhere = chapter.parent / f"Downloads {intake} {secret} {variants}"
    elsewhere.mkdir()
    (elsewhere / sealed.SEALED).write_bytes((chapter / sealed.SEALED).read_bytes())
    return elsewhere


def orders(folder: Path, who: str = "A. Learner") -> list:
    box = open_pairs(folder)
    return [box.pair(letter, who).ordered for letter in sorted(box.briefs)]


def test_learner_and_marker_mean_the_same_pair(chapter: Path) -> None:
    assert orders(handed_out(chapter)) == orders(chapter)


def test_sealing_again_gives_the_same_pairs(chapter: Path) -> None:
    first = seal(chapter, intake="spring", secret="one").read_bytes()
    assert seal(chapter, intake="spring", secret="one").read_bytes() == first


def test_another_secret_gives_other_pairs(chapter: Path) -> None:
    assert orders(handed_out(chapter, secret="one")) != orders(handed_out(chapter, secret="two"))


def test_learners_get_different_variants_and_each_always_the_same(chapter: Path) -> None:
    box = open_pairs(handed_out(chapter))
    variants = [box.variant("A", f"learner {number}") for number in range(200)]
    assert set(variants) == set(range(24))
    assert variants == [box.variant("A", f"Learner  {number} ") for number in range(200)]
    # A neighbour with the same pair A need not have the same pair B.
    assert variants != [box.variant("B", f"learner {number}") for number in range(200)]


def test_nothing_of_a_pair_can_be_read_in_the_sealed_file(chapter: Path) -> None:
    text = (handed_out(chapter) / sealed.SEALED).read_text("utf-8")
    seeds = [seed for seeds in open_pairs(chapter).seeds.values() for seed in seeds]
    assert [seed for seed in seeds if str(seed) in text] == []
    assert [word for word in ("cylinder", "strongest", "-1.", "+1.") if word in text] == []


def test_the_secret_stays_behind(chapter: Path) -> None:
    folder = handed_out(chapter, secret="a long secret of the shop")
    plain = open_pairs(folder)
    assert "a long secret of the shop" not in repr(plain) + (folder / sealed.SEALED).read_text("utf-8")


def test_without_a_seal_there_is_a_public_set(chapter: Path) -> None:
    assert open_pairs(chapter).intake == sealed.SELF_STUDY
    assert orders(chapter) == orders(chapter)


def test_a_chapter_without_pairs_is_not_sealed(tmp_path: Path) -> None:
    assert seal(tmp_path, intake="spring", secret="one") is None
    with pytest.raises(OpticsError, match="The chapter's pairs are none"):
        open_pairs(tmp_path).pair("A", "A. Learner")


def test_an_unknown_letter_is_told(chapter: Path) -> None:
    with pytest.raises(OpticsError, match=r'no pair "C".*are A, B'):
        open_pairs(chapter).pair("C", "A. Learner")


@pytest.mark.parametrize(
    "spoil",
    [lambda text: text[:-40], lambda text: text.replace('"pairs": "', '"pairs": "AA'), lambda text: "{}"],
)
def test_a_damaged_seal_is_told(chapter: Path, spoil) -> None:
    folder = handed_out(chapter)
    path = folder / sealed.SEALED
    path.write_text(spoil(path.read_text("utf-8")), "utf-8")
    with pytest.raises(OpticsError, match=r"damaged.*Copy it again"):
        open_pairs(folder)


def test_another_version_of_the_maker_is_told(chapter: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = handed_out(chapter)
    monkeypatch.setattr(sealed, "MAKER", sealed.MAKER + 1)
    with pytest.raises(OpticsError, match="another pair than the one that is marked"):
        open_pairs(folder)


def test_solutions_are_lines_that_can_be_written(chapter: Path) -> None:
    for eye in "RL":
        line = solve("A", eye, "A. Learner", folder=chapter)
        assert parse(line).distance == line
        assert parse(line).form in ("minus", "sphere")
        assert parse(solve("A", eye, "A. Learner", form="plus", folder=chapter)).form in ("plus", "sphere")


def test_pair_a_of_another_chapter_is_another_pair(chapter: Path) -> None:
    other = chapter.parent / "06-between-two-steps"
    other.mkdir()
    (other / sealed.BRIEFS).write_text(json.dumps(BRIEFS), "utf-8")
    assert orders(handed_out(chapter, variants=1)) != orders(other)
    seal(other, intake="spring", secret="one", variants=1)
    seal(chapter, intake="spring", secret="one", variants=1)
    assert orders(other) != orders(chapter)
