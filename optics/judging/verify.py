"""Judging a pair against its order, row by row of a table of tolerances.

What comes out are plain sentences that name the row of the table which decided.
They hold readings against figures. Local codes and licensed practice decide what
may be handed over, and a reading is not an eye examination.
"""

from __future__ import annotations

from dataclasses import dataclass

from optics.judging.standards import Row, Standard
from optics.judging.verdicts import Verdict, judge, judge_lens, keys_of, minus_form
from optics.lens.prescription import Prescription
from optics.lens.prism import Prism
from optics.pair.records import LensRecord, PairRecord, imbalance_error, moved_mm, ordered_parts

__all__ = [
    "CAUTION",
    "LensRecord",
    "PairRecord",
    "Verification",
    "judge_imbalance",
    "judge_pair_places",
    "judge_unmounted",
    "pair_keys",
    "verify",
]

CAUTION = (
    "These are readings held against a table. Local codes and licensed practice decide what may be "
    "handed over. A reading is not an eye examination, and a pair in doubt is not for driving."
)


# --- prism and centres ---------------------------------------------------------------


def pair_keys(order: PairRecord) -> dict[str, float]:
    """The values by which a table judges a pair: of each, the stronger lens's.

    That the stronger lens decides is said by a page on GB 13511-1999 (5.4.1); for
    the other standards it is taken over, to be confirmed.
    """
    each = [keys_of(*minus_form(order.of(eye).line)) for eye in "RL"]
    return {key: max(float(lens[key]) for lens in each) for key in each[0]}


def judge_imbalance(standard: Standard, order: PairRecord, found: PairRecord, direction: str) -> Verdict:
    """Judge the prism difference of a pair, vertical or horizontal.

    Weak lenses are judged in prism dioptres, strong ones by how far their centres
    lie from where they were ordered. Where only the other was read, it is worked
    out by Prentice's rule and the verdict says so. Signs: `optics.lens.prism.imbalance`.

    Parameters
    ----------
    standard : Standard
        The table.
    order, found : PairRecord
        The pair on paper.
    direction : {"vertical", "horizontal"}
        Which difference.

    Examples
    --------
    >>> from optics.lens.parsing import parse_pair
    >>> from optics.judging.standards import load
    >>> def on_paper(text):
    ...     right, left = parse_pair(text)
    ...     return PairRecord(right=LensRecord(line=right), left=LensRecord(line=left))
    >>> order = on_paper("R +2.00 DS; L +2.00 DS")
    >>> found = on_paper("R +2.00 DS prism 0.25 base up; L +2.00 DS prism 0.25 base down")
    >>> judge_imbalance(load("ANSI Z80.1-2015"), order, found, "vertical").passed
    False
    """
    if direction not in ("vertical", "horizontal"):
        raise ValueError(f'direction is "vertical" or "horizontal", not {direction!r}')
    keys = pair_keys(order)
    keys["ordered prism"] = ordered_parts(order)[direction]
    row = standard.row(f"{direction} imbalance", keys, order.lens)
    error = imbalance_error(order, found, direction)
    remark = ""
    if row is None or row.unit != "mm":
        off = None if error is None else error.amount
        if error is not None and not error.was_read:
            remark = "The prism is worked out from the centres by Prentice's rule."
    else:
        off = _centres_off_mm(row, order, found, direction)
        if off is None and error is not None:
            off = error.amount / keys[f"{direction} meridian"] * 10.0
            remark = "The distance is worked out from the prism by Prentice's rule."
    if off is None:
        remark = "neither prism nor centres were read on both lenses."
    return judge(standard, f"{direction} imbalance", off, keys, lens=order.lens, remark=remark)


def _centres_off_mm(row: Row, order: PairRecord, found: PairRecord, direction: str) -> float | None:
    """How far the centres lie from where they were ordered, as the row counts it, millimetres."""
    if row.of == "each lens":
        moved = [moved_mm(order.of(eye), found.of(eye), eye)[direction == "vertical"] for eye in "RL"]
        return None if None in moved else max(abs(v) for v in moved if v is not None)
    ordered, read = (
        pair.pd_mm if direction == "horizontal" else pair.centre_step_mm for pair in (order, found)
    )
    return None if ordered is None or read is None else read - ordered


def judge_unmounted(
    standard: Standard,
    ordered: Prescription,
    prism: Prism,
    displaced_mm: float | None = None,
    lens: str = "single vision",
) -> Verdict:
    """Judge an uncut lens: its prism at the reference point, or where that point lies.

    Either may pass (ANSI Z80.1-2015 in its quick reference guide, item 5).

    Parameters
    ----------
    standard : Standard
        The table.
    ordered : Prescription
        The order.
    prism : Prism
        Prism found less prism ordered, at the prism reference point.
    displaced_mm : float, optional
        Distance of the reference point from its place, millimetres.
    lens : str
        One of `optics.lens.kinds.LENS_KINDS`.
    """
    keys = keys_of(*minus_form(ordered))
    by_prism = judge(standard, "prism", prism.amount, keys, lens=lens)
    if by_prism.passed is not False or displaced_mm is None:
        return by_prism
    by_place = judge(standard, "reference point", displaced_mm, keys, lens=lens)
    return by_place if by_place.passed else by_prism


# --- against an order -------------------------------------------------------------------


def judge_pair_places(standard: Standard, order: PairRecord, found: PairRecord) -> list[Verdict]:
    """Distances, heights and base curves, as far as both records and the table have them."""
    keys = pair_keys(order)
    verdicts = []

    def hold(quantity: str, ordered: float | None, read: float | None, eye: str | None, unit: str) -> None:
        # A table that is silent about a quantity is passed over; so is what was not ordered.
        if ordered is None or read is None or not standard.rows_for(quantity, order.lens):
            return
        of = keys if eye is None else keys_of(*minus_form(order.of(eye).line))
        verdicts.append(
            judge(
                standard,
                quantity,
                read - ordered,
                of,
                ordered=f"{ordered:.1f} {unit}",
                found=f"{read:.1f} {unit}",
                lens=order.lens,
                eye=eye,
            )
        )

    hold("centre distance", order.pd_mm, found.pd_mm, None, "mm")
    for eye in "RL":
        hold("centre distance one eye", order.of(eye).pd_mm, found.of(eye).pd_mm, eye, "mm")
    hold("centre height difference", order.centre_step_mm, found.centre_step_mm, None, "mm")
    for eye in "RL":
        hold("centre height", order.of(eye).centre_height_mm, found.of(eye).centre_height_mm, eye, "mm")
        hold("height", order.of(eye).height_mm, found.of(eye).height_mm, eye, "mm")
    hold("height difference", order.height_step_mm, found.height_step_mm, None, "mm")
    for eye in "RL":
        hold("base curve", order.of(eye).base_curve, found.of(eye).base_curve, eye, "D")
    return verdicts


def _names(verdicts: tuple[Verdict, ...]) -> str:
    return ", ".join(f"{v.eye} {v.quantity}" if v.eye else v.quantity for v in verdicts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Verification:
    """A pair held against its order.

    Parameters
    ----------
    standard : str
        The table used.
    verdicts : tuple of Verdict
        In bench order: right lens, left lens, prism and centres, heights, base curves.
    """

    standard: str
    verdicts: tuple[Verdict, ...]

    @property
    def failures(self) -> tuple[Verdict, ...]:
        """The verdicts outside their limits."""
        return tuple(v for v in self.verdicts if v.passed is False)

    @property
    def unjudged(self) -> tuple[Verdict, ...]:
        """What was not judged, for want of a row or a reading."""
        return tuple(v for v in self.verdicts if v.passed is None)

    @property
    def passed(self) -> bool:
        """Whether something was judged, and nothing of it lies outside its limit."""
        return not self.failures and len(self.unjudged) < len(self.verdicts)

    @property
    def decision(self) -> str:
        """What to do next, as a sentence or two."""
        if self.failures:
            return (
                f"Outside the tolerance: {_names(self.failures)}. Set the eyepiece and read these again; "
                "if they stay, the pair goes back and is not handed over."
            )
        rest = f" Not judged: {_names(self.unjudged)}." if self.unjudged else ""
        if not self.passed:
            return f"Nothing was judged.{rest}"
        return f"All that was judged passes.{rest} Look at surfaces, frame and fit before you hand the pair over."

    @property
    def report(self) -> str:
        """All of it as text, line by line, with the caution."""
        told = [f"Held against {self.standard}.", *(v.sentence for v in self.verdicts)]
        return "\n".join([*told, self.decision, CAUTION])


def verify(standard: Standard, order: PairRecord, found: PairRecord) -> Verification:
    """Hold a pair as read against its order.

    Parameters
    ----------
    standard : Standard
        The table, from `optics.judging.verdicts.load`.
    order, found : PairRecord
        What was ordered and what was read. The kind of lens is the order's.

    Returns
    -------
    Verification

    Examples
    --------
    >>> from optics.lens.parsing import parse
    >>> from optics.judging.standards import load
    >>> def on_paper(right, left):
    ...     return PairRecord(
    ...         right=LensRecord(line=parse(right), pd_mm=32.0), left=LensRecord(line=parse(left), pd_mm=32.0)
    ...     )
    >>> order = on_paper("-1.50 -1.25 x 170", "-2.00 DS")
    >>> held = verify(load("ANSI Z80.1-2015"), order, on_paper("-1.62 -1.25 x 174", "-2.00 DS"))
    >>> [f"{v.eye} {v.quantity}" for v in held.failures]
    ['R axis']
    """
    verdicts = [
        verdict
        for eye in "RL"
        for verdict in judge_lens(standard, order.of(eye).line, found.of(eye).line, order.lens, eye)
    ]
    for direction in ("vertical", "horizontal"):
        if standard.rows_for(f"{direction} imbalance", order.lens):
            verdicts.append(judge_imbalance(standard, order, found, direction))
    verdicts += judge_pair_places(standard, order, found)
    return Verification(standard=standard.name, verdicts=tuple(verdicts))
