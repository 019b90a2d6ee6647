"""Wrong habits over a whole pair.

Each habit changes the manner of reading (`optics.marking.pair_reading`), so that its
wrong answer is the one that the pair on the bench would give. All are common practice's
own list of errors; none is measured.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from optics.marking.habits import CATALOGUE, slip
from optics.marking.pair_reading import GEOMETRIC_CENTRE, PRISM_POINT
from optics.specimens.briefs import FRONT_BENT, SMEARED, TEMPLE_TWISTED

__all__ = ["FITTED", "PAIR_CATALOGUE", "PairSlip", "pair_slip"]

FITTED = "fitted"
"""Stands for the size of an eyepiece error, which is not known beforehand."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PairSlip:
    """One wrong habit over a whole pair.

    Parameters
    ----------
    name : str
        Short name, for reports.
    habit : str
        What was done, as a sentence to the learner.
    mend : str
        What to do instead.
    spoils : frozenset of str
        The skills that may lose marks by it.
    ways : tuple of dict
        How the manner of reading changes; one entry for each way of doing it.
    """

    name: str
    habit: str
    mend: str
    spoils: frozenset[str]
    ways: tuple[dict[str, Any], ...]


def _of_one_lens(name: str) -> PairSlip:
    """A habit of reading and writing one lens, done with both lenses or with one."""
    entry = slip(name)
    return PairSlip(
        name=entry.name,
        habit=entry.habit,
        mend=entry.mend_for("bench"),
        spoils=entry.spoils,
        ways=tuple({"writing": ((eyes, entry),)} for eyes in ("RL", "R", "L")),
    )


PAIR_CATALOGUE: tuple[PairSlip, ...] = (
    PairSlip(
        name="lenses exchanged",
        habit=slip("lenses exchanged").habit,
        mend=slip("lenses exchanged").mend,
        spoils=frozenset({"sphere", "cylinder", "axis", "form", "add", "prism", "centres", "heights"}),
        ways=({"exchanged": "lenses"}, {"exchanged": "all"}),
    ),
    *(_of_one_lens(entry.name) for entry in CATALOGUE if "bench" in entry.where),
    PairSlip(
        name="near total written as add",
        habit="The near reading itself was written as the addition.",
        mend="The addition is the near reading less the distance reading, both from the same side.",
        spoils=frozenset({"add"}),
        ways=({"near_total": True},),
    ),
    PairSlip(
        name="addition read from the back",
        habit="The addition was read with the wrong side on the stop; a strong lens shows it too strong.",
        mend="Turn the pair over: the side that carries the addition lies on the stop, for distance and near alike.",
        spoils=frozenset({"add"}),
        ways=({"other_side": True},),
    ),
    PairSlip(
        name="base reversed in one eye",
        habit="The base of the prism is named the wrong way round in one eye.",
        mend="In is towards the nose: to your right for the right lens, to your left for the left lens. "
        "The crossing moves towards the base.",
        spoils=frozenset({"prism"}),
        ways=tuple({"reversed_base": (eye, what)} for what in ("across", "all") for eye in "RL"),
    ),
    PairSlip(
        name="prism read away from the reference point",
        habit="The prism was read in another place of the lens, where the lens adds prism of its own.",
        mend="Read prism at the reference point: where the wearer looks through, or midway between the two rings.",
        spoils=frozenset({"prism"}),
        ways=({"prism_at": GEOMETRIC_CENTRE}, {"prism_at": "distance"}),
    ),
    PairSlip(
        name="progressive read unmarked",
        habit="The distance power was read below the distance circle, where the addition has begun.",
        mend="Find the two rings, put the ink back from the maker's layout, and read distance in its circle.",
        spoils=frozenset({"sphere", "cylinder", "axis", "add", "prism"}),
        ways=(
            {"distance_at": GEOMETRIC_CENTRE},
            {"distance_at": PRISM_POINT},
            {"distance_at": GEOMETRIC_CENTRE, "prism_at": GEOMETRIC_CENTRE},
        ),
    ),
    PairSlip(
        name="frame not trued",
        habit="The pair was read while it was out of true: a lens that leans or is turned shows another power or axis.",
        mend="True the frame before you read anything.",
        spoils=frozenset({"sphere", "cylinder", "axis", "add", "prism"}),
        ways=({"left_as_found": (TEMPLE_TWISTED, FRONT_BENT)},),
    ),
    PairSlip(
        name="lens not cleaned",
        habit="A smeared lens was read: grease has a power of its own that changes from place to place.",
        mend="Clean both lenses before you read them.",
        spoils=frozenset({"sphere", "cylinder", "axis", "add", "prism"}),
        ways=({"left_as_found": (SMEARED,)},),
    ),
    PairSlip(
        name="centimetres for millimetres",
        habit="Lengths were written in centimetres.",
        mend="Write distances and heights in millimetres.",
        spoils=frozenset({"centres", "heights"}),
        ways=(
            {"in_centimetres": ("pd", "height")},
            {"in_centimetres": ("pd",)},
            {"in_centimetres": ("height",)},
        ),
    ),
    PairSlip(
        name="eyepiece not set",
        habit=slip("eyepiece not set").habit,
        mend=slip("eyepiece not set").mend,
        spoils=frozenset({"sphere", "add"}),
        ways=({"eyepiece": FITTED},),
    ),
)
"""In the order in which they are named where two explain a ticket equally well."""


def pair_slip(name: str) -> PairSlip:
    """The slip of that name."""
    return next(entry for entry in PAIR_CATALOGUE if entry.name == name)
