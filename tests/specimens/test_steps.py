"""The right ticket: each thing on its step."""

import pytest

from optics.lens.prescription import written
from optics.specimens.steps import by_rule, settled_add


@pytest.mark.parametrize(
    ("length_mm", "read"), [(31.25, 31.5), (31.75, 32.0), (30.25, 30.5), (31.24, 31.0), (31.62, 31.5)]
)
def test_a_length_halfway_between_two_marks_goes_up(length_mm, read):
    """Always up, never to the even half: 31.25 and 31.75 are both read a quarter more."""
    assert by_rule(length_mm) == read


@pytest.mark.parametrize(("addition", "line"), [(2.125, "+2.00"), (1.875, "+1.75"), (2.13, "+2.25")])
def test_an_addition_halfway_is_settled_like_any_power(addition, line):
    """Less plus for plus (common practice)."""
    assert written(settled_add(addition)) == line
