"""What a focimeter shows of every part of a pair that a habit reads, in the right place and beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from optics.lens.angles import rotation
from optics.lens.lens import BACK, FRONT, OverStop
from optics.lens.power import Power
from optics.lens.prism import Prism, nasal
from optics.lens.progressive import Progressive
from optics.pair.charts import LaidChart, chart_with
from optics.specimens.briefs import CONDITIONS, FRONT_BENT, PROGRESSIVE, SMEARED, TEMPLE_TWISTED
from optics.specimens.specimen import Specimen

__all__ = ["OTHER", "BareLenses", "PartsRead"]

OTHER = {"R": "L", "L": "R"}
LEFT_AS_FOUND = {"bent": (TEMPLE_TWISTED, FRONT_BENT), "smeared": (SMEARED,)}


@dataclass(frozen=True, slots=True)
class BareLenses:
    """Lenses of which only the distance power is known, instead of a pair.

    Parameters
    ----------
    powers : mapping of str to Power
        By eye; one is enough.
    """

    powers: Mapping[str, Power]


class PartsRead:
    """The lenses of a pair over the stop, part by part; worked out where it is asked for.

    `aside` says which parts the habits look for beside their right place, and how.
    """

    def __init__(self, pair: Specimen | BareLenses, aside: Sequence[tuple[str, str]]) -> None:
        self.pair, self.aside = pair, aside
        self._laid: dict[tuple[str, str, str], dict[tuple[str, str], OverStop]] = {}
        self._ink: dict[tuple[str, str], dict[str, tuple[float, float]]] = {}

    def met(self, eye: str, part: str, read: str = "", against: str = BACK) -> OverStop:
        """What a focimeter shows of a part of a lens read in a way: its power as read, and its prism."""
        eye = OTHER[eye] if read.startswith("laid") else eye
        key = eye, (FRONT if read == "front" else against), (read if read in LEFT_AS_FOUND else "")
        if key not in self._laid:
            self._laid[key] = self._lay(*key)
        laid = self._laid[key]
        return laid.get((part, read)) or laid[part, ""]

    def _lay(self, eye: str, against: str, found: str) -> dict[tuple[str, str], OverStop]:
        """A lens on the stop with one side, in every place where a habit reads it, all at once."""
        if isinstance(self.pair, BareLenses):
            power = self.pair.powers[eye]
            return {
                ("distance", ""): OverStop(power.turned_over() if against == FRONT else power, Prism.none())
            }
        left = LEFT_AS_FOUND.get(found, ())
        pair = self.pair.spectacles
        if left:
            pair = self.pair.as_found(tuple(name for name in CONDITIONS if name not in left))
        lens: Any = pair.mounted(eye).lens
        places = {(part, ""): self._place(eye, part, left) for part in ("distance", "centre", "prism")}
        if self.pair.addition_side(eye) is not None:
            places["near", ""] = self._place(eye, "near", left)
        here = list(places)
        met = lens.over_stop(*np.array(list(places.values())).T, against)
        shape = (len(here), 3)
        powers, prisms = np.broadcast_to(met.read.vector, shape), met.prism.vector
        made = dict(zip(here, map(OverStop, map(Power, powers), map(Prism, prisms)), strict=True))
        # Ink and corridor are looked for with the back on the stop, and where the addition is read.
        sides = () if found else (BACK, self.pair.addition_side(eye))
        aside = [each for each in self.aside if against in sides and self.can(each[1])]
        if aside:
            at = np.array([self.inked(eye, laid)[part] for part, laid in aside])
            beside = lens.over_stop(*at.T, against)
            # What the whole stop adds changes little over a few millimetres, and costs much.
            more = powers - np.broadcast_to(met.power.vector, shape)
            of = [here.index((part, "")) for part, _ in aside]
            more = map(Power, beside.power.vector + more[of])
            made |= zip(aside, map(OverStop, more, map(Prism, beside.prism.vector)), strict=True)
        return made

    def _place(self, eye: str, part: str, left: tuple[str, ...]) -> tuple[float, float]:
        """Where a part stands, from the reference point; a turned lens takes its parts along."""
        assert isinstance(self.pair, Specimen)
        if part == "centre":
            # Found in the rim, so it does not turn with the lens.
            x, y = self.pair.spectacles.reference_point_mm(eye)
            middle = self.pair.frame.boxing_centre_mm(eye)
            return middle[0] - x, middle[1] - y
        place = self.pair.lens_point_mm(eye, part)
        assert place is not None, "asked only of lenses that have it"
        degrees = sum(
            each.turned_degrees for each in self.pair.conditions if each.name in left and each.eye == eye
        )
        if not degrees:
            return place
        x, y = (rotation(degrees) @ place).tolist()
        return x, y

    def can(self, read: str) -> bool:
        """Whether a way of reading can be done on a pair of this kind."""
        if isinstance(self.pair, BareLenses):
            return read in ("", "laid", "front", "zero") or read.startswith(
                ("take", "shift", "apart", "away")
            )
        if read in LEFT_AS_FOUND:
            return bool({each.name for each in self.pair.conditions} & set(LEFT_AS_FOUND[read]))
        if read.startswith("chart"):
            # The chart of its own sign, laid true, is no habit.
            lens = self.pair.spectacles.right.lens
            return isinstance(lens, Progressive) and read != f"chart {lens.sign} 0 0 0"
        if read.startswith(("corridor", "from")) or read in ("reference", "centre"):
            return self.pair.style == PROGRESSIVE
        return True

    def inked(self, eye: str, laid: str) -> dict[str, tuple[float, float]]:
        """Where each part is looked for: by ink put on from a chart that lay so, or up the corridor."""
        if (eye, laid) in self._ink:
            return self._ink[eye, laid]
        if laid.startswith("corridor"):
            x, y = self._place(eye, "near", ())
            return {"near": (x, y + float(laid.split()[1]))}
        assert isinstance(self.pair, Specimen)
        lens = self.pair.spectacles.mounted(eye).lens
        assert isinstance(lens, Progressive), "asked only of lenses that have charts"
        sign, x_mm, y_mm, turned_degrees = laid.split()[1:]
        chart = LaidChart(
            sign=sign,
            x_mm=float(x_mm) * nasal(eye),
            y_mm=float(y_mm),
            turned_degrees=float(turned_degrees) * nasal(eye),
        )
        printed = lens.places if sign == "own" else chart_with(sign).places(eye)
        inked = chart.lands([*printed.values()]).tolist()
        return self._ink.setdefault((eye, laid), dict(zip(printed, inked, strict=True)))
