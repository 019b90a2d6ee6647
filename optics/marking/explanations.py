"""What a diagnosis says of a ticket: explanations, the likeliest first, and ties told as ties."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from optics.marking.habits import Slip

__all__ = ["EVEN", "FURTHEST", "Diagnosis", "Explanation", "may_as_well"]

EVEN = 5.0
"""Explanations within this many times of the best are named together with it."""
RARER = 30.0
"""One that fits as well is named with it, if it is not rarer than this."""
FURTHEST = 4
"""No more explanations than this are named together."""


class Explanation(NamedTuple):
    """One habit, or two in the order in which they were done.

    `posterior` is how much belief it gets, 0 to 1; `eyes` the lenses that it explains; `each` the
    lenses that each of the habits touches; `fit` how well the numbers fit it (natural log), however
    rare it is.
    """

    slips: tuple[Slip, ...]
    posterior: float
    eyes: str = "RL"
    each: tuple[str, ...] = ()
    fit: float = -np.inf

    def even_with(self, first: Explanation) -> bool:
        """Whether this pair cannot tell it from another: believed about as much, or fitting as well."""
        if self.posterior * EVEN >= first.posterior:
            return True
        # How often each habit is done nobody has counted, so that alone does not part them.
        fits = self.fit + np.log(EVEN) >= first.fit
        return bool(
            fits and len(self.slips) == len(first.slips) and self.posterior * RARER >= first.posterior
        )

    def of(self, eye: str) -> Explanation:
        """What it says of one lens: of two habits over a pair each may be at one lens alone."""
        kept = [(one, eyes) for one, eyes in zip(self.slips, self.each, strict=True) if eye in eyes]
        return Explanation(
            tuple(one for one, _ in kept), self.posterior, eye, tuple(eyes for _, eyes in kept), self.fit
        )


def may_as_well(either: Sequence[tuple[str, ...]]) -> str:
    """What may as well be so, by the names of its habits, as a sentence; empty for nothing."""
    told = [" and then ".join(names) for names in either]
    return f"With these numbers it could equally be: {'; or '.join(told)}." if told else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """What explains a ticket.

    Parameters
    ----------
    ranked : tuple of Explanation
        The likeliest first; empty where the ticket is right or nothing explains it.
    honest, unexplained : float
        Belief in an honest reading, and in something outside the catalogue.
    seen : tuple of str
        What the record of moves shows, as sentences. It never says more than that.
    """

    ranked: tuple[Explanation, ...] = ()
    honest: float = 0.0
    unexplained: float = 0.0
    seen: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.ranked)

    @property
    def slips(self) -> tuple[Slip, ...]:
        """The habits of the likeliest explanation; none where nothing explains it."""
        return self.ranked[0].slips if self.ranked else ()

    @property
    def names(self) -> tuple[str, ...]:
        """Their names."""
        return tuple(entry.name for entry in self.slips)

    @property
    def ties(self) -> tuple[Explanation, ...]:
        """The explanations that this pair cannot tell from the first, the first among them."""
        if not self.ranked:
            return ()
        likeliest = max(self.ranked, key=lambda each: each.posterior)
        return tuple(each for each in self.ranked if each.even_with(likeliest))[:FURTHEST]

    @property
    def tie(self) -> str:
        """What may as well be so, as a sentence; empty where the first stands alone."""
        return may_as_well(self.either[1:])

    @property
    def either(self) -> tuple[tuple[str, ...], ...]:
        """The names of the habits of each explanation in `ties`."""
        return tuple(tuple(entry.name for entry in each.slips) for each in self.ties)

    def of(self, eye: str) -> Diagnosis:
        """What is said of one lens alone."""
        found: dict[tuple[Slip, ...], Explanation] = {}
        for each in self.ranked:
            if (one := each.of(eye)).slips:
                found.setdefault(one.slips, one)
        return replace(self, ranked=tuple(found.values()))

    def about(self, missed: Collection[str]) -> Diagnosis:
        """What explains something that lost marks; what cost nothing is told of nobody by itself.

        Where that was likelier than all that is left, nothing is told.
        """
        lost = set(missed)
        if "sphere" in lost:
            # A cylinder that is written of a sphere costs the sphere.
            lost.add("cylinder")
        kept = tuple(each for each in self.ranked if any(one.touches & lost for one in each.slips))
        left, all_of_it = (sum(each.posterior for each in some) for some in (kept, self.ranked))
        return replace(self, ranked=kept if left > all_of_it / 2.0 else ())

    @property
    def sentence(self) -> str:
        """What may be said, no more: inferred from the numbers, and ties told as ties."""
        if not self.ranked:
            return "These numbers are not enough to name a habit."
        first = f"The numbers look like this habit: {' and then '.join(self.names)}."
        return f"{first} {self.tie}".rstrip()
