"""Judging a pair against its order, row by row of a table of tolerances.

What comes out are plain sentences that name the row of the table which decided.
They hold readings against figures. Local codes and licensed practice decide what
may be handed over, and a reading is not an eye examination.
"""

from __future__ import annotations

from dataclasses import dataclass

from optics.judging.standards import GUARD, Row, Standard
from optics.judging.verdicts import Verdict, judge, judge_lens, keys_of, minus_form, together
from optics.lens.kinds import LENS_KINDS
from optics.lens.prescription import Prescription
from optics.lens.prism import Prism
from optics.pair.records import PairRecord, imbalance_error, moved_mm, ordered_parts, prism_error

CAUTION = (
    "These are readings held against a table. Local codes and licensed practice decide what may be "
    "handed over. A reading is not an eye examination, and a pair in doubt is not for driving."
)

OWN_LIMIT = {"vertical": 0.33, "horizontal": 0.67}
"""Where one lens's own prism becomes worth a word at the least, prism dioptres: what ANSI Z80.1-2015
allows a whole pair of weak lenses (its quick reference guide, item 6)."""

BOTH_MOVED_MM = 5.0
"""So far both centres may lie the same way before the pair stays open: ours, twice what
ANSI Z80.1-2015 allows the total of strong lenses. No table limits it."""


# --- prism and centres ---------------------------------------------------------------


def pair_keys(order: PairRecord) -> dict[str, float]:
    """The values by which a table judges a pair: of each, the stronger lens's.

    That the stronger lens decides was read in a page on GB 13511-1999 (5.4.1); for
    the other standards it is taken over, from memory.
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
    >>> from optics.pair.records import LensRecord
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
    each = {eye: prism_error(order, found, eye, direction) for eye in "RL"}
    off, remark = None, ""
    if any(of is not None and of.contradicts for of in each.values()):
        remark = (
            "prism and place contradict each other: a centre in that place does not give the prism "
            "that was read. Read both again."
        )
    elif error is None:
        silent = [eye for eye, of in each.items() if of is None]
        remark = (
            f"the prism of {' and '.join(silent)} was not read. Read it at the ordered place; "
            'where there is none, write "no prism".'
        )
    elif row is None or row.unit != "mm":
        off = error.amount
        if not error.was_read:
            remark = "The prism is worked out from the centres by Prentice's rule."
    else:
        off = _centres_off_mm(row, order, found, direction)
        if off is None:
            off = error.amount / keys[f"{direction} meridian"] * 10.0
            remark = "The distance is worked out from the prism by Prentice's rule."
    return judge(standard, f"{direction} imbalance", off, keys, lens=order.lens, remark=remark)


def judge_own_prism(order: PairRecord, found: PairRecord, of_pair: Verdict) -> list[Verdict]:
    """What a pair's difference averages away: prism of one lens, or of both the same way.

    Tables judge the pair. A lens that alone is further off than the pair may be keeps the
    pair open, with two exceptions that are only told: both centres moved the same way, not
    further than `BOTH_MOVED_MM`, and equal base down of a progressive, which is thinning prism.

    Parameters
    ----------
    order, found : PairRecord
        The pair on paper.
    of_pair : Verdict
        From `judge_imbalance`.
    """
    direction = of_pair.quantity.split()[0]
    errors = {eye: prism_error(order, found, eye, direction) for eye in "RL"}
    if of_pair.passed is False or (of_pair.limit is None and None not in errors.values()):
        return []
    known = {eye: error for eye, error in errors.items() if error is not None}
    limits = {eye: _own_limit(of_pair, order, eye) for eye in known}
    off = {eye: error for eye, error in known.items() if abs(error.amount) > limits[eye] + GUARD}
    moved = [abs(_moved(order, found, eye, direction)) for eye in "RL"]
    is_moved, is_far = min(moved) > 0, max(moved) > BOTH_MOVED_MM + GUARD
    downs = [-error.amount for error in known.values()]
    adds = [order.of(eye).line.add or 0.0 for eye in "RL"]
    is_thinning = (
        order.lens == "progressive"
        and direction == "vertical"
        and len(downs) == 2
        and 0 < min(downs)
        and max(downs) <= max(adds)
    )
    told = []
    for eye, error in off.items():
        wanted = (order.of(eye).written_prism(eye) or Prism.none()).written(eye)
        remark = f"{abs(error.amount):.2f} Δ other than ordered ({wanted}). "
        if is_moved and is_far:
            remark += (
                "Both centres are moved the same way, further than a fit explains. The table judges only "
                "the difference of the pair. Read the places again, and ask who ordered it so."
            )
        elif is_moved:
            remark += "Both centres are moved the same way, within what the table allows the pair."
        elif is_thinning:
            remark += "Equal base down in both lenses looks like thinning prism; the maker can tell."
        else:
            remark += "The table judges only the difference of the pair. Read again, and ask who ordered it."
        told.append(
            Verdict(
                quantity=f"{direction} prism",
                eye=eye,
                ordered="",
                found="",
                off=abs(error.amount),
                unit="prism dioptre",
                limit=None,
                row=None,
                remark=remark,
                weighs=not (is_thinning or (is_moved and not is_far)),
            )
        )
    return told


def _own_limit(of_pair: Verdict, order: PairRecord, eye: str) -> float:
    """What the row allows the pair, worked out for this lens alone, prism dioptres."""
    direction = of_pair.quantity.split()[0]
    keys = keys_of(*minus_form(order.of(eye).line), ordered_prism=ordered_parts(order)[direction])
    limit = 0.0 if of_pair.row is None else float(of_pair.row.limit(keys))
    if of_pair.unit == "mm":
        limit *= float(keys[f"{direction} meridian"]) / 10.0
    return max(limit, OWN_LIMIT[direction])


def _moved(order: PairRecord, found: PairRecord, eye: str, direction: str) -> float:
    """How far the centre itself was found elsewhere, mm; a progressive's prism is not a matter of its place."""
    moved = moved_mm(order.of(eye), found.of(eye), eye)[direction == "vertical"]
    return 0.0 if moved is None or order.lens == "progressive" else moved


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
        # What was not ordered is passed over. Where a centre lies is also told by its prism, so
        # only where a table has a row for it must it be read itself; not so a fitting cross.
        is_cross = order.lens == "progressive" and quantity == "centre distance one eye"
        is_place = quantity.startswith("centre") and not is_cross
        if ordered is None or (is_place and not standard.rows_for(quantity, order.lens)):
            return
        of = keys if eye is None else keys_of(*minus_form(order.of(eye).line))
        verdicts.append(
            judge(
                standard,
                quantity,
                None if read is None else read - ordered,
                of,
                ordered=f"{ordered:.1f} {unit}",
                found="none" if read is None else f"{read:.1f} {unit}",
                lens=order.lens,
                eye=eye,
                remark="it was ordered and not read." if read is None else "",
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
    def passed(self) -> bool | None:
        """True and False where the end is known; None while something of weight is not judged."""
        return together(self.verdicts)

    @property
    def end(self) -> str:
        """One of "passes", "fails", "not yet known"."""
        return {True: "passes", False: "fails", None: "not yet known"}[self.passed]

    @property
    def sentence(self) -> str:
        """The end and what to do next, as a few sentences."""
        if self.passed is False:
            return (
                f"Outside the tolerance: {_names(self.failures)}. Set the eyepiece and read these again; "
                "if they stay, the pair goes back and is not handed over."
            )
        open_ = tuple(v for v in self.unjudged if v.weighs)
        if self.passed is None:
            return (
                f"Not yet known. Not judged: {_names(open_)}. The pair is not handed over before these "
                "are read and settled."
            )
        told = " ".join(v.sentence for v in self.unjudged)
        return (
            f"All that was ordered was read and lies within the table. {told}{' ' if told else ''}"
            "Look at surfaces, frame and fit before you hand the pair over."
        )

    @property
    def report(self) -> str:
        """All of it as text, line by line, with the caution."""
        told = [f"Held against {self.standard}.", *(v.sentence for v in self.verdicts)]
        return "\n".join([*told, self.sentence, CAUTION])


def verify(standard: Standard, order: PairRecord, found: PairRecord) -> Verification:
    """Hold a pair as read against its order.

    Parameters
    ----------
    standard : Standard
        The table, from `optics.judging.standards.load`.
    order, found : PairRecord
        What was ordered and what was read. The kind of lens is the order's.

    Returns
    -------
    Verification

    Examples
    --------
    >>> from optics.lens.parsing import parse
    >>> from optics.judging.standards import load
    >>> from optics.pair.records import LensRecord
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
    adds = [order.of(eye).line.add or found.of(eye).line.add for eye in "RL"]
    if order.lens != LENS_KINDS[0] and None in adds:
        remark = f"a {order.lens} lens has an addition, and none is written."
        verdicts.append(judge(standard, "addition", None, {"addition": 0.0}, lens=order.lens, remark=remark))
    # Lenses without an addition are the plain case, and need no word for it.
    if found.lens != order.lens and (found.is_kind_read or order.lens != LENS_KINDS[0]):
        met = f"{found.lens} found" if found.is_kind_read else "and nobody wrote what was found"
        remark = f"{order.lens} was ordered, {met}."
        verdicts.append(judge(standard, "kind of lens", None, {}, lens=order.lens, remark=remark))
    for direction in ("vertical", "horizontal"):
        of_pair = judge_imbalance(standard, order, found, direction)
        verdicts += [of_pair, *judge_own_prism(order, found, of_pair)]
    verdicts += judge_pair_places(standard, order, found)
    return Verification(standard=standard.name, verdicts=tuple(verdicts))
