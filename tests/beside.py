"""Time is told beside something ordinary, done on the same machine in the same minute: no clock is the same on two."""

from __future__ import annotations

import gc
from collections.abc import Callable
from time import process_time

ATTEMPTS = 5


class Beside:
    """Something ordinary, and what is held beside it.

    Parameters
    ----------
    ordinary : callable
        Done a few times first, so that what is loaded or remembered at the first time counts for nothing.
    """

    def __init__(self, ordinary: Callable[[], object]) -> None:
        self.ordinary = ordinary
        self.seconds = _fastest(ordinary, 10)

    def times(self, work: Callable[[], object], most: float) -> float:
        """How many times as long this takes; what seems more than `most` is looked at again.

        Others work on the machine too: they make one look too long, and hardly five.
        """
        for _ in range(ATTEMPTS):
            if (ratio := _fastest(work, 2) / self.seconds) <= most:
                break
            self.seconds = _fastest(self.ordinary, 10)
        return ratio


def _fastest(work: Callable[[], object], looks: int) -> float:
    """Seconds of this process's own time, with nobody clearing up after earlier tests meanwhile."""
    collects = gc.isenabled()
    gc.disable()
    try:
        return min(_once(work) for _ in range(looks))
    finally:
        if collects:
            gc.enable()


def _once(work: Callable[[], object]) -> float:
    start = process_time()
    work()
    return process_time() - start
