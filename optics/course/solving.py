"""Right answers for unknown pairs, for the solutions in the chapters' source.

Released chapters carry neither the solutions nor a call of this.
"""

from __future__ import annotations

from pathlib import Path

from optics.judging.settling import settle
from optics.lens.prescription import written
from optics.specimens.right_ticket import right_end, right_ticket
from optics.specimens.sealed import open_pairs


def solve(pair: str, eye: str, learner: str, form: str = "minus", folder: str | Path = ".") -> str:
    """A right answer for one lens of the unknown pair before a learner.

    Parameters
    ----------
    pair, eye, learner, form, folder
        As for `optics.checks.bench.reading`.

    Returns
    -------
    str
        The lens as it is, settled on quarter steps and written in the form asked for.
    """
    return settle(open_pairs(folder).pair(pair, learner).power(eye), form=form).choice.distance


def noted(what: str, pair: str, learner: str, eye: str = "R", folder: str | Path = ".") -> str:
    """A right number for what is noted at the bench; see `optics.specimens.sealed.PairBox.shown`."""
    return written(open_pairs(folder).shown(what, pair, learner, eye))


def solve_ticket(pair: str, learner: str, form: str = "minus", folder: str | Path = ".") -> dict[str, str]:
    """The right ticket for the unknown pair before a learner, field by field."""
    return right_ticket(open_pairs(folder).pair(pair, learner), form)


def solve_end(pair: str, learner: str, folder: str | Path = ".") -> dict[str, str]:
    """How the unknown pair before a learner ends against its order, and the row that decides."""
    return right_end(open_pairs(folder).pair(pair, learner))
