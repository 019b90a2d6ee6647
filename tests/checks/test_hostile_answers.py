"""Every check answers whatever was typed, in a sentence and about as soon as any; one answer never stops a class."""

from __future__ import annotations

import pytest
from beside import Beside

from optics import checks as check
from optics.project_files import project_folder

LENS = "+1.00 -0.50 x 090"
BENCH = {
    "learner": "Ada",
    "pair": "G",
    "folder": project_folder("notebooks") / "source" / "05-reading-a-cylinder",
}
CHECKS = {
    "conversion": lambda a: check.conversion(a, given=LENS, to="plus", points=3),
    "crossed": lambda a: check.crossed(a, given=LENS, points=3),
    "notation": lambda a: check.notation(a, given=LENS, points=3),
    "settled": lambda a: check.settled(a, sphere_lines=-2.14, cylinder_lines=-2.84, wheel=15, points=3),
    "from_cross": lambda a: check.from_cross(a, powers={180: 1.0, 90: 2.0}, points=3),
    "to_cross": lambda a: check.to_cross(a, a, given=LENS, points=3),
    "meridian": lambda a: check.meridian_power(a, given=LENS, meridian=90, points=3),
    "reading": lambda a: check.reading(a, eye="R", points=3, **BENCH),
    "noted": lambda a: check.noted(a, what="sphere lines", points=3, **BENCH),
    "ticket": lambda a: check.ticket({"right": a, "pd_left": a, "style": a}, points=3, **BENCH),
    "whole ticket": lambda a: check.ticket(
        a if isinstance(a, dict) else {"left": a, a if isinstance(a, str | int) else 1: a}, **BENCH
    ),
    "recorded_ticket": lambda a: check.recorded_ticket({"right": a, "pd_left": a, "add_right": a}) or 0.0,
    "recorded": lambda a: check.recorded(a) or 0.0,
    "recorded_power": lambda a: check.recorded_power(a) or 0.0,
}
TEXTS = [
    "1" * 1_999,
    "prism 1 " * 1_250,
    "base " * 2_000,
    "x" * 9_999,
    "!" + " " * 9_999,
    "+\n" * 5_000,
    "\ud800",
]
VALUES = [True, float("nan"), float("inf"), 10**400, 10**5000, ["+1.00"], {"a": 1}, b"+1.00", 1j]


@pytest.mark.parametrize("name", CHECKS)
def test_every_check_answers(
    name: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    # Moves that another test left in the hand would travel with the reply.
    monkeypatch.setattr("optics.instrument.trace._in_hand", [])
    ordinary = Beside(lambda: CHECKS[name]("+9.00 DS"))
    for answer in (*TEXTS, *VALUES):
        # The shortest reply to an ordinary wrong answer is a sentence; a sentence about a long one costs a few of them.
        assert ordinary.times(lambda: CHECKS[name](answer), 12) <= 12, type(answer)  # noqa: B023
        capsys.readouterr()
        assert CHECKS[name](answer) == 0.0
        said = capsys.readouterr().out
        assert "Not yet" in said and len(said) < 2_000, said[:200]
