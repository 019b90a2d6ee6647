"""A million lenses through form changes and verdicts, beside the functions no one can avoid.

Run by hand::

    python tests/benchmarks/bench_arrays.py

Prints milliseconds and the ratio to one pass of hypot, arctan2, sin and cos over
an array of the same size in the same run; the aim is at most 4 for all of it.
"""

from __future__ import annotations

from collections.abc import Callable
from time import perf_counter

import numpy as np

from optics.judging.many_lenses import passed
from optics.judging.standards import load
from optics.lens.power import Power, rewritten

LENSES = 1_000_000
REPEATS = 5
AIM = 4.0


def fastest_ms(work: Callable[[], object]) -> float:
    """Fastest of several runs, milliseconds: the others measure the machine."""
    times = []
    for _ in range(REPEATS):
        begin = perf_counter()
        work()
        times.append((perf_counter() - begin) * 1000.0)
    return min(times)


def main() -> None:
    """Time each step and print the table."""
    rng = np.random.default_rng(7)
    sphere = np.round(rng.normal(0.0, 3.0, LENSES) * 4) / 4
    cylinder = -np.round(rng.exponential(1.0, LENSES) * 4) / 4
    axis = rng.integers(1, 181, LENSES).astype(float)
    found = (
        sphere + rng.normal(0, 0.05, LENSES),
        cylinder + rng.normal(0, 0.05, LENSES),
        axis + rng.normal(0, 1, LENSES),
    )
    standard = load("ANSI Z80.1-2015")
    power = Power.from_sphere_cylinder(sphere, cylinder, axis)
    j0, j45 = np.ascontiguousarray(power.vector[:, 1]), np.ascontiguousarray(power.vector[:, 2])
    angle = np.deg2rad(axis)

    reference = fastest_ms(lambda: (np.hypot(j0, j45), np.arctan2(j45, j0), np.sin(angle), np.cos(angle)))
    steps = {
        "minus form to plus form": lambda: rewritten(sphere, cylinder, axis, "plus"),
        "sphere, cylinder, axis to power": lambda: Power.from_sphere_cylinder(sphere, cylinder, axis),
        "power to sphere, cylinder, axis": lambda: power.sphere_cylinder("minus"),
        "verdicts on power, cylinder, axis": lambda: passed(standard, (sphere, cylinder, axis), found).all,
    }
    print(f"{LENSES:,} lenses; hypot, arctan2, sin and cos once: {reference:.0f} ms")
    total = 0.0
    for name, work in steps.items():
        taken = fastest_ms(work)
        total += taken
        print(f"{name:36s} {taken:6.0f} ms  {taken / reference:5.2f} times")
    verdict = "within" if total <= AIM * reference else "beyond"
    print(f"{'all of it':36s} {total:6.0f} ms  {total / reference:5.2f} times, {verdict} the aim of {AIM:g}")


if __name__ == "__main__":
    main()
