"""The tables of tolerances: complete, readable, honest about memory."""

import csv
from collections import defaultdict

import numpy as np
import pytest
from beside import Beside

from optics.errors import OpticsError
from optics.judging.standards import available, load
from optics.lens.kinds import LENS_KINDS
from optics.project_files import project_folder

FOLDER = project_folder("datasets") / "tolerances"
FILES = sorted(FOLDER.glob("*.csv"))


def test_every_file_is_one_edition_and_listed():
    assert len(FILES) == len(available()) > 6
    listed = (FOLDER.parent / "README.md").read_text(encoding="utf-8")
    for path in FILES:
        rows = list(csv.DictReader(path.open(encoding="utf-8")))
        assert len({(row["standard"], row["edition"]) for row in rows}) == 1
        assert f"`tolerances/{path.name}`" in listed


@pytest.mark.parametrize("name", ["ANSI Z80.1-2015", "ansi z80.1 2015", "Ansi Z80.1:2015"])
def test_a_table_is_found_by_its_plain_name(name):
    assert load(name).name == "ANSI Z80.1-2015"


def test_an_unknown_table_is_refused_with_those_there_are():
    with pytest.raises(OpticsError) as refused:
        load("ANSI Z80.1-1871")
    assert refused.value.given == 'There is no table named "ANSI Z80.1-1871".'
    assert "ANSI Z80.1-2015" in refused.value.allowed


def test_an_unknown_kind_of_lens_is_refused():
    with pytest.raises(OpticsError, match="single vision, multifocal, progressive"):
        load("ANSI Z80.1-2015").row("sphere", {"sphere meridian": 1.0}, "trifocal")


@pytest.mark.parametrize("name", available())
def test_every_row_has_a_source_and_a_unit_and_no_two_overlap(name):
    standard = load(name)
    by_quantity = defaultdict(list)
    for row in standard.rows:
        assert row.source and row.status and row.printed >= 0
        assert row.unit in ("dioptre", "percent", "degree", "prism dioptre", "mm")
        assert row.of in ("lens", "each lens", "pair")
        assert set(row.lenses) <= set(LENS_KINDS)
        assert row.unit != "percent" or row.ranges[0].key
        for kind in row.lenses:
            by_quantity[row.quantity, kind].append(row)
    # Every fortieth of a dioptre (so every eighth too) up to 25, for both ranges at once.
    first, second = np.meshgrid(np.arange(1001) / 40, [0.0, 0.5, 1.0, 3.0, 5.0, 7.0, 12.0])
    for rows in by_quantity.values():
        (key,) = {row.ranges[0].key for row in rows}
        given = {row.ranges[1].key: second for row in rows} | {key: first}
        assert sum(row.holds(given) + np.zeros(first.shape, dtype=int) for row in rows).max() == 1


def test_memory_is_said():
    """No full text of an ISO standard was at hand, so no row of one is marked read."""
    for name in available():
        if name.startswith("ISO") or name.endswith("2020"):
            assert all(row.from_memory for row in load(name).rows)
    assert not any(row.from_memory for row in load("New Jersey 13:35-5.2").rows)


def test_a_row_says_itself():
    keys = {"strongest meridian": 10.0, "cylinder": 5.0, "ordered prism": 0.0, "horizontal meridian": 4.0}
    assert str(load("ANSI Z80.1-1999").row("strongest meridian", keys)) == (
        "ANSI Z80.1-1999, strongest meridian (strongest meridian above 6.50): 2 %"
    )
    assert str(load("ISO 8980-1:2004").row("cylinder", keys)) == (
        "ISO 8980-1:2004, cylinder (strongest meridian above 9.00 up to 12.00 and cylinder above 4.00 "
        "up to 6.00): 0.25 D"
    )
    assert str(load("ISO 21987:2009").row("horizontal imbalance", keys)) == (
        "ISO 21987:2009, horizontal imbalance (horizontal meridian above 3.25 and ordered prism up to 2.00): "
        "the effect of 2 mm"
    )


@pytest.mark.parametrize(
    "name", ["", "ANSI Z80.1", "ansi" * 2500, "\ud800", 10**5000, None, float("nan")], ids=range(7)
)
def test_what_names_no_table_ends_in_a_sentence_as_soon_as_any_other(name):
    def refused(name):
        with pytest.raises(OpticsError, match="There is no table named"):
            load(name)

    assert Beside(lambda: refused("ANSI Z99.9-2015")).times(lambda: refused(name), 5) <= 5
