"""Diagnosing a ticket, beside settling one reading in the same run.

Run by hand::

    python tests/benchmarks/bench_diagnosis.py [TICKETS A STYLE]

Apprentices of `tests/marking/noisy_hands.py` write tickets with one habit, with two, or with a
habit outside the catalogue; those that lose a mark are diagnosed. Prints in processor time

- the median and the 99th percentile of a ticket of a pair that was never seen (aim: 20 and
  60 ms) and of one that was, each as so many times one `settle`,
- what 1,000 tickets of pairs never seen take (aim: 20 s),
- the marks alone, and one whole check of chapter 12 (read, mark, diagnose, reply), for the
  first ticket of a pair and for a later one.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from time import process_time

import numpy as np

from optics import checks
from optics.judging.settling import settle
from optics.lens.power import Power
from optics.marking.diagnosis import diagnose
from optics.marking.marks import mark_pair
from optics.specimens.briefs import STYLES
from optics.specimens.sealed import BRIEFS, open_pairs, seal

sys.path.insert(0, str(Path(__file__).parents[1] / "marking"))
import noisy_hands as hands

CHAPTER = Path(__file__).parents[2] / "notebooks" / "source" / "12-the-unknown-pair"
LEARNERS = 12


def taken_ms(call: Callable[[], object], times: int = 1) -> float:
    start = process_time()
    for _ in range(times):
        call()
    return (process_time() - start) / times * 1e3


def told(name: str, times: list[float], one: float) -> None:
    median, late = np.percentile(times, [50, 99])
    print(
        f"{name:34} median {median:5.1f} ms, 99 of 100 within {late:5.1f} ms; {median / one:5.1f} settlings"
    )


def whole_checks() -> tuple[list[float], list[float]]:
    """The check of chapter 12's ticket, its axes at right angles to the right ones."""
    first, later = [], []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / CHAPTER.name
        folder.mkdir()
        shutil.copy(CHAPTER / BRIEFS, folder)
        seal(folder, intake="spring", secret="only a benchmark")
        for number in range(LEARNERS):
            learner = f"learner {number}"
            hand = hands.Hand(open_pairs(folder).pair("A", learner), np.random.default_rng(number))
            hands.HABITS["axis 90 out"](hand)
            typed = dict(hand.ticket().typed)

            def check(typed: dict[str, str] = typed, learner: str = learner) -> None:
                with checks.collecting() as said:
                    checks.ticket(typed, learner=learner, pair="A", points=20.0, folder=folder)
                assert said

            first.append(taken_ms(check))
            later.append(taken_ms(check, 3))
    return first, later


def main() -> None:
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    one = taken_ms(lambda: settle(Power.from_sphere_cylinder(-2.14, -0.70, 15)), 200)
    unseen, seen, marks = [], [], []
    for style in STYLES:
        for kind in ("one", "two", "outside"):
            for names, seed in hands.tickets(style, many, kind, 7):
                # A pair that nobody has asked anything yet.
                hands.pair_of.cache_clear()
                ticket, pair = hands.at_work(names, style, seed)
                marks.append(taken_ms(lambda ticket=ticket, pair=pair: mark_pair(ticket, pair)))
                if not mark_pair(ticket, pair).all_right:
                    unseen.append(taken_ms(lambda ticket=ticket, pair=pair: diagnose(ticket, pair)))
                    seen.append(taken_ms(lambda ticket=ticket, pair=pair: diagnose(ticket, pair)))
    print(f"one settling {one:.2f} ms; {len(unseen)} tickets diagnosed")
    told("diagnosis, pair never seen", unseen, one)
    told("diagnosis, pair seen before", seen, one)
    told("marks alone, pair never seen", marks, one)
    print(f"1,000 tickets of pairs never seen: {np.mean(unseen):.1f} s")
    first, later = whole_checks()
    told("whole check of chapter 12, first", first, one)
    told("whole check of chapter 12, later", later, one)


if __name__ == "__main__":
    main()
