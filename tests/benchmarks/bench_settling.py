"""Settling on the whole lattice, table by table: the counts behind the quick tests.

Run by hand::

    python tests/benchmarks/bench_settling.py

For every table with rows for power and cylinder, both steps: readings on a hundredth of
a dioptre within two steps of fifteen powers from -21 to +20.5 D, cylinders to 4.00 D. Prints
how many were settled, how many recommended lines fail where another line passes (aim: 0),
how many settle to another lens when written in the other form (aim: 0), and the processor time of one
`settle` (aim: under 1 ms).
"""

from __future__ import annotations

import sys
from pathlib import Path
from time import process_time

from optics.judging.settling import STEPS, settle
from optics.judging.standards import available, load

sys.path.insert(0, str(Path(__file__).parents[1] / "judging"))
from test_settling import failing_where_another_passes, lattice, other_form_differs, reading

POWERS = (-21, -12.5, -9.25, -6.75, -4.25, -2.5, -0.25, 0, 1, 2.75, 5.75, 6.25, 9, 12, 20.5)
CALLS = 500


def main() -> None:
    for name in available():
        table = load(name)
        if not (table.rows_for(table.power_quantity("single vision"), "single vision")):
            print(f"{name:22} has no rows for the power of a lens")
            continue
        for step in STEPS:
            settled = failing = differing = 0
            for power in POWERS:
                sphere, cylinder, axis = lattice((power,), step)
                settled += len(sphere)
                failing += failing_where_another_passes(table, step, sphere, cylinder, axis)
                differing += other_form_differs(table, step, sphere, cylinder, axis)
            start = process_time()
            for _ in range(CALLS):
                settle(reading(-2.14, -0.70, 15), step, standard=table)
            taken = (process_time() - start) / CALLS * 1000
            print(
                f"{name:22} step {step:5}: {settled} settled, {failing} fail where another passes, "
                f"{differing} differ in the other form; {taken:.2f} ms a call"
            )


if __name__ == "__main__":
    main()
