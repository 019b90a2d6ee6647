"""Every pair ends as it was made to end, judged through the entry that a learner's ticket goes through.

120 good pairs at the desk, 2,000 under the thorough profile: `OPTICS_TESTS=thorough`.
"""

from __future__ import annotations

import os
from collections import Counter
from dataclasses import replace
from functools import lru_cache

import pytest

from optics.errors import OpticsError
from optics.judging.standards import available, load
from optics.judging.verify import Verification, verify
from optics.marking.read import read_answer
from optics.specimens.briefs import DIFFICULTIES, FAULTS, STYLES, Brief, brief_for
from optics.specimens.faults import faults_for
from optics.specimens.right_ticket import right_ticket
from optics.specimens.specimen import Specimen, make

MANY = {"thorough": 600, "exhaustive": 2000}.get(os.environ.get("OPTICS_TESTS", ""), 120)
ANSI = "ANSI Z80.1-2015"
# Tables that have a row for all that a pair of these styles is ordered with; the others
# are silent about prism, heights or powers, and no pair can pass them as a whole.
WHOLE = {
    ANSI: STYLES,
    "ANSI Z80.1-1999": STYLES,
    "ISO 21987:2009": ("single vision",),
    "New Jersey 13:35-5.2": ("single vision", "progressive"),
}


def on_the_ticket(pair: Specimen) -> Verification:
    """The pair judged from a right ticket, as typed."""
    answer = read_answer(right_ticket(pair))
    assert not answer.unread
    return verify(load(pair.brief.table), pair.order, answer.record())


def as_it_is(pair: Specimen) -> Verification:
    """The pair judged from its lenses, to the hundredth."""
    return verify(load(pair.brief.table), pair.order, pair.record())


def failed(held: Verification) -> set[str]:
    return {verdict.quantity for verdict in held.failures}


@lru_cache(maxsize=1)
def pairs() -> tuple[Specimen, ...]:
    """Every style, difficulty and table; half by the course's own table, a third faulty."""
    tables = [table for other in available() for table in (ANSI, other)]
    made = []
    for seed in range(MANY):
        brief = brief_for(STYLES[seed % 4], DIFFICULTIES[seed // 4 % 5], seed)
        faulty = 0.5 if seed % 3 else 0.0
        made.append(make(replace(brief, table=tables[seed // 20 % len(tables)], faulty=faulty), seed))
    return tuple(made)


def test_a_good_pair_passes_the_table_it_names() -> None:
    good = [pair for pair in pairs() if pair.fault is None]
    assert len(good) > MANY / 2
    ends = Counter()
    for pair in good:
        # New Jersey has no row for what one height differs from the other.
        whole = pair.style in WHOLE.get(pair.brief.table, ()) and not (
            pair.brief.table.startswith("New") and pair.style != "single vision"
        )
        for held in (on_the_ticket(pair), as_it_is(pair)):
            assert not held.failures, held.report
            assert held.passed is (True if whole else None), held.report
            ends[held.end] += 1
    assert min(ends["passes"], ends["not yet known"]) > MANY / 10


@pytest.mark.thorough
def test_a_faulty_pair_fails_in_what_it_was_made_for_and_in_nothing_else() -> None:
    found = Counter()
    for pair in pairs():
        if pair.fault is not None:
            for held in (on_the_ticket(pair), as_it_is(pair)):
                assert failed(held) == set(pair.fault.shows), (pair.fault, held.report)
                assert {v.eye for v in held.failures} <= {None, *pair.fault.off}
            found[pair.fault.name] += 1
    assert MANY / 5 < found.total() < MANY / 2
    # Base curves fail only where one was ordered.
    assert set(found) == set(FAULTS) - {"base curve"}
    assert min(found.values()) >= MANY / 100


@pytest.mark.parametrize("style", STYLES)
def test_every_fault_can_be_asked_for_by_name(style: str) -> None:
    brief = Brief(style=style, cylinder="always", base_curve=6.0)
    possible = faults_for(brief)
    assert {"sphere", "cylinder", "axis", "vertical imbalance", "base curve"} <= set(possible)
    for name in possible:
        pair = make(replace(brief, fault=name), 3)
        assert pair.fault.name == name
        assert failed(as_it_is(pair)) == {name}
        # No ticket has a field for the base curve.
        assert failed(on_the_ticket(pair)) == ({name} if name != "base curve" else set())


@pytest.mark.parametrize(
    ("brief", "sentence"),
    [
        ({"fault": "addition"}, "may have: sphere, cylinder, axis, horizontal"),
        (
            {"fault": "axis", "cylinder": "none"},
            "may have: sphere, horizontal imbalance, vertical imbalance.",
        ),
        ({"fault": "base curve"}, "Ask for one of these"),
        ({"fault": "height", "style": "bifocal", "table": "ISO 21987:2009"}, "or for another table"),
        ({"fault": "horizontal imbalance", "strongest": 1.0}, "No pair came out"),
        ({"fault": "rust"}, 'fault of the brief is "rust"'),
        ({"table": "no such table"}, "There is no table"),
        ({"base_curve": 12}, "between 1 and 9 D"),
        ({"frame": "wide"}, "marked with lens width"),
        ({"zero_error": 3}, "between -1 and 1 D"),
        ({"style": "progressive", "carried_by": "edge"}, 'carried_by of the brief is "edge"'),
    ],
)
def test_what_cannot_be_made_is_told(brief: dict, sentence: str) -> None:
    with pytest.raises(OpticsError, match=sentence):
        make(Brief.from_plain(brief), 1)


def test_a_zero_error_is_the_instruments_and_not_the_pairs() -> None:
    seen = set()
    for seed in range(12):
        pair = make(Brief(fault="zero error"), seed)
        assert pair.fault is None and on_the_ticket(pair).passed
        seen.add(pair.zero_error)
    assert {abs(each) for each in seen} <= {0.34, 0.37, 0.4} and len(seen) > 3
    assert make(Brief(zero_error=-0.25), 1).zero_error == -0.25
    assert make(Brief(), 1).zero_error == 0.0


def test_a_base_curve_and_a_frame_can_be_asked_for() -> None:
    for style in STYLES:
        pair = make(Brief(style=style, base_curve=4.5, frame="48-20"), 2)
        assert (pair.frame.lens_width_mm, pair.frame.bridge_mm) == (48.0, 20.0)
        for eye in "RL":
            assert pair.order.of(eye).base_curve == pair.record().of(eye).base_curve == 4.5
            assert -1.5 <= pair.frame.decentration_mm(pair.order.of(eye).pd_mm) <= 6.0
