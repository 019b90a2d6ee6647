"""What explains a wrong ticket, by likelihood: a habit, two together, a slip that is no habit, or nothing.

Everything competes: an honest reading, every habit, every two, and what nobody has in a
catalogue, each with its prior. A ticket comes about in the order in which a person works:
the habit of reading (asked of the real lens), the noise of the hand
(`optics.instrument.repeats`: 0.05 D, 1.7 degrees over the cylinder; proposals), settling,
then the habit of writing. A lens alone is a pair of which one side is written.

What is in no catalogue is met by a rival of its own for each thing on a ticket, wrong
in one lens, in both or in both alike, with a heavy tail. Priors are judgement: nobody has counted
habits.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optics.instrument.trace import Trace
from optics.marking.explanations import EVEN, FURTHEST, Diagnosis, Explanation
from optics.marking.fitting import Fit, Odd, left_out, of_add, of_length, of_line, of_prism
from optics.marking.habits import CATALOGUE, Slip, Triple, turned
from optics.marking.leads_to import Truth, effects, ways
from optics.marking.moves import by_the_dial, evidence
from optics.marking.parts_read import OTHER, BareLenses
from optics.marking.read import Ticket
from optics.marking.settled import Floats
from optics.specimens.specimen import Specimen

__all__ = ["BareLenses", "Diagnosis", "diagnose"]

HONEST, ONE_HABIT, TWO_HABITS, ONE_ODD, TWO_ODD = 0.45, 0.30, 0.20, 0.16, 0.03
"""Priors: a judgement, not a count. `ODD` is one thing, or two, wrong for no reason in the catalogue."""
NOT_READ = 0.0015
"""How often every line is put down as plano, or every axis as the same, whatever the lenses are."""
BESIDE = 0.05
"""How likely one more field is odd beside a habit."""
SAID_FROM = 0.65
"""Below this much belief in habits nothing is said."""
BY_CHANCE = 0.04
"""What no catalogue holds writes by chance what a habit leads to; so much of the belief in habits is its own."""
GAIN = 1.0
"""A habit must explain this much more (natural log) than its absence, or it does not show."""
TOO_FAR = 20.0
"""What is less likely than the likeliest by so much (natural log) is nothing beside it."""
ALIKE = {
    **{"cylinder": (0.25, 0.18), "axis": (1.0, 3.0), "add": (0.25, 0.18)},
    **{"prism": (0.25, 0.25), "pd": (0.5, 0.8), "height": (0.5, 0.8)},
}
"""The step in which each thing is written, and by how much it differs from reading and settling where
it is odd in both lenses alike."""

_kept: OrderedDict[tuple[int, str, str], tuple[Any, Truth]] = OrderedDict()
MOST_KEPT = 24


def _truth(pair: Specimen | BareLenses, form: str, where: str) -> Truth:
    """What is true of a pair, worked out once for each of the last pairs."""
    key = (id(pair), form, where)
    found = _kept.get(key)
    # The pair is kept with it, so that no other object can come to have its id.
    if found is None or found[0] is not pair:
        found = (pair, Truth(pair, form, where))
        _kept[key] = found
        while len(_kept) > MOST_KEPT:
            _kept.popitem(last=False)
    return found[1]


@dataclass(slots=True)
class _Weighed:
    """Log likelihood of each thing written, for every way and odd, and for every two effects on it."""

    names: list[str] = field(default_factory=list)
    singly: list[Floats] = field(default_factory=list)
    odd: list[float] = field(default_factory=list)
    parts: dict[str, dict[str, tuple[Odd, float]]] = field(default_factory=dict)
    tables: list[tuple[Floats, NDArray[np.intp]]] = field(default_factory=list)
    not_read: float = 0.0

    def add(self, name: str, eye: str, fit: Fit, picked: NDArray[np.intp]) -> None:
        self.names.append(f"{name} {eye}")
        self.singly.append(fit.table[picked, 0])
        self.odd.append(fit.odd)
        for part, odd in fit.parts.items():
            self.parts.setdefault(part, {})[eye] = odd, float(fit.table[0, 0])
        self.tables.append((fit.table, picked))

    def met(self) -> NDArray[np.intp]:
        """The ways that can be done on the pair and change something of what is written, the right one first."""
        touched = np.any([picked > 0 for _, picked in self.tables], axis=0)
        touched[0] = True
        return np.flatnonzero(touched & np.isfinite(np.sum(self.singly, axis=0)))

    def at_most(self, ways: NDArray[np.intp]) -> Floats:
        """What the log likelihood of each of these ways can come to beside whatever second way."""
        return np.sum([table.max(axis=1)[picked[ways]] for table, picked in self.tables], axis=0)

    def together(self, ways: NDArray[np.intp]) -> Floats:
        """Log likelihood of all that is written, for every two of these ways."""
        return sum(
            (table[np.ix_(picked[ways], picked[ways])] for table, picked in self.tables),
            start=np.zeros((len(ways), len(ways))),
        )

    def strange(self) -> float:
        """How much likelier the ticket is where one thing in it, or two, went wrong for no known reason."""
        each = {part: self._strange(part, by_eye) for part, by_eye in self.parts.items()}
        line = [each[part] for part in _OF_A_LINE if part in each]
        # What two parts of one line do together is the whole line's to say.
        fields = np.array(
            [*([np.mean(line)] if line else []), *(v for k, v in each.items() if k not in _OF_A_LINE)]
        )
        two = fields.sum() ** 2 - (fields**2).sum()
        # What is not on this ticket may have gone wrong as well, and does not show.
        things, pairs = 8, 5 * 4
        return NOT_READ * self.not_read + ONE_ODD * sum(each.values()) / things + TWO_ODD * float(two) / pairs

    @staticmethod
    def _strange(part: str, by_eye: Mapping[str, tuple[Odd, float]]) -> float:
        """The same for one thing: wrong in one lens, in both each by its own amount, or in both alike."""
        ratios = [np.exp(odd.log - right) for odd, right in by_eye.values()]
        if len(ratios) == 1:
            return float(ratios[0])
        (one, right), (two, left) = by_eye.values()
        alike = 0.0
        if one.off is not None:
            step, noise = ALIKE[part]
            apart = np.atleast_1d(np.subtract(one.off, two.off)) / noise
            share = (min(step / (2.5066 * noise), 1.0) * np.exp(-(apart**2) / 2.0)).prod()
            alike = np.sqrt(one.likely * two.likely) * share * np.exp(one.rest + two.rest - right - left)
        return float(np.mean([*ratios, ratios[0] * ratios[1], alike]))


_OF_A_LINE = ("sphere", "cylinder", "axis", "line")


def _weighed(ticket: Ticket, truth: Truth) -> _Weighed:
    found, known = _Weighed(), effects(truth.where)
    exact = truth.where == "paper"
    wrote = {
        eye: turned(Triple(line.sphere, line.cylinder, float(line.axis or 180)), truth.form)
        for eye in truth.lines
        if (line := ticket.of(eye).distance) is not None
    }
    without = left_out(ticket, truth)
    for eye, lines in truth.lines.items():
        lens = ticket.of(eye)
        if eye in wrote:
            fit = of_line(lines, wrote[eye], wrote.get(OTHER[eye]), exact, ticket.written(eye))
            found.add("line", eye, fit, known["line", eye][1])
        if isinstance(truth.pair, BareLenses):
            continue
        if lens.add is not None and not np.isnan(truth.values("add", eye)[0, 0]):
            found.add("add", eye, of_add(truth.values("add", eye), lens.add), known["add", eye][1])
        met = lens.prism_met(eye)
        if met is not None:
            thinning = np.asarray(truth.pair.thinning(eye).vector, dtype=float)
            kinds, picked = known["prism", eye]
            both = np.array([write == "all here" for _, write in kinds])
            fit = of_prism(truth.values("prism", eye), met, (thinning, without), truth.strength(eye), both)
            found.add("prism", eye, fit, picked)
        for name, wrote_mm in (("pd", lens.pd_mm), ("height", lens.height_mm)):
            if wrote_mm is not None and not np.isnan(truth.values(name, eye)[0, 0]):
                fit = of_length(name, truth.values(name, eye), wrote_mm)
                found.add(name, eye, fit, known[name, eye][1])
    found.not_read = _not_read(wrote, found)
    return found


def _not_read(wrote: Mapping[str, Triple], weighed: _Weighed) -> float:
    """How much likelier the ticket is where every line was put down as plano, or every axis as the same."""
    lines = weighed.parts.get("line", {})
    if wrote and not any(line.sphere or line.cylinder for line in wrote.values()):
        return float(np.exp(-sum(right for _, right in lines.values())))
    axes = {round(line.axis) % 180 for line in wrote.values()}
    turned_to = weighed.parts.get("axis", {})
    if len(axes) > 1 or len(turned_to) < 2:
        return 0.0
    # What is put down unread is a round number sooner than another.
    often = {0: 0.5, 90: 0.2}.get(axes.pop(), 0.3 / 180.0)
    return often * float(np.exp(sum(odd.rest - right for odd, right in turned_to.values())))


@lru_cache(maxsize=4)
def _priors(where: str) -> tuple[list[Slip], NDArray[np.intp], Floats, Floats]:
    """The habits met there; of each way, after the right one, its habit, as a number from 1 and as a
    row of memberships, and how often it is done so.
    """
    known = [entry for entry in CATALOGUE if where in entry.where]
    belongs = np.array([0, *(number + 1 for number, _, _ in ways(where))])
    member = np.eye(len(known) + 1)[belongs, 1:]
    weights = np.array([0.0, *(way.weight for _, _, way in ways(where))])
    return known, belongs, member, weights / np.maximum(member @ (member.T @ weights), 1e-12)


@lru_cache(maxsize=4)
def _own_ways(where: str) -> NDArray[np.bool_]:
    """Which two ways are of one habit, one way of the right lens and the other of the left.

    What is only ever done in one of the lenses is not done in both.
    """
    both = {number for number, _, way in ways(where) if way.eyes == "RL"}
    habit = np.array([-1, *(number for number, _, _ in ways(where))])
    of = {
        eye: np.array([False, *(number in both and way.eyes == eye for number, _, way in ways(where))])
        for eye in "RL"
    }
    return (habit[:, None] == habit) & of["R"][:, None] & of["L"]


@lru_cache(maxsize=4)
def _in_order(where: str) -> Floats:
    """How often one habit is done before another, beside what chance would have."""
    known = [entry for entry in CATALOGUE if where in entry.where]
    before = np.array([[one.comes_before(two) for two in known] for one in known], dtype=float)
    return 1.0 + before - before.T


@lru_cache(maxsize=4)
def _in_a_ring(where: str) -> NDArray[np.bool_]:
    """Which two ways would copy from each other, and so from nowhere."""
    takes = {
        eye: np.array(
            [False, *(way.read.startswith("take") and eye in way.eyes for _, _, way in ways(where))]
        )
        for eye in "RL"
    }
    return takes["R"][:, None] & takes["L"] | takes["L"][:, None] & takes["R"]


def diagnose(
    ticket: Ticket,
    pair: Specimen | BareLenses,
    form: str = "minus",
    where: str = "bench",
    trace: Trace | Mapping[str, Any] | None = None,
) -> Diagnosis:
    """What explains a ticket.

    Parameters
    ----------
    ticket : Ticket
        What was written; what was not is passed over. A lens alone is a ticket with one side.
    pair : Specimen or BareLenses
        What is true.
    form : {"minus", "plus"}
        The cylinder form asked for.
    where : {"bench", "paper"}
        Read, with the noise of a hand, or worked out exactly.
    trace : Trace or mapping, optional
        How the instrument was worked. It only shifts what was likely beforehand, and by a
        bounded factor, since a notebook can be edited; what cannot be read is left aside.

    Returns
    -------
    Diagnosis
        Nothing is ranked where an honest reading, or something outside the catalogue, is
        likelier than all habits together.

    Examples
    --------
    >>> from optics.lens.power import Power
    >>> from optics.marking.read import read_answer
    >>> lens = BareLenses({"R": Power.from_sphere_cylinder(-2.25, -0.75, 15)})
    >>> diagnose(read_answer({"right": "-2.25 -0.75 x 105"}), lens).names
    ('axis 90 out',)
    """
    truth = _truth(pair, form, where)
    weighed = _weighed(ticket, truth)
    written = "".join(eye for eye in "RL" if ticket.of(eye).distance is not None)
    factors, shifts, seen = evidence(trace, pair, written or "RL")
    if not weighed.names:
        return Diagnosis(seen=seen)
    met = weighed.met()
    fits = np.array(weighed.singly)[:, met]
    alone = fits.sum(axis=0)
    right = float(alone[0])
    every_way = ways(where)
    known, belongs, member, weights = _priors(where)
    habits = len(known)
    weights = by_the_dial(weights, where, shifts)
    belongs, member, weights = belongs[met], member[met], weights[met]
    # What cannot be done on this pair, or does not show on this ticket, takes nothing from the rest.
    weights = weights / np.maximum(member @ (member.T @ weights), 1e-12)
    doable = int(member.any(axis=0).sum())
    leaning = np.array([1.0 if where == "paper" else factors.get(entry.name, 1.0) for entry in known])
    # One field may be odd beside a habit that explains the rest.
    # What is written rightly is not odd, and speaks against a habit that denies it.
    odd = np.where(fits[:, 0] < weighed.odd, weighed.odd, -np.inf)
    with np.errstate(invalid="ignore", over="ignore"):
        beside = np.exp(np.minimum(odd[:, None] - fits, 50.0)).sum(axis=0)
    beside = np.where(np.isfinite(alone), beside, 0.0) * (BESIDE / len(odd) if len(odd) > 1 else 0.0)
    singly = alone + np.log1p(beside)
    best = np.full(habits + 1, -np.inf)
    np.maximum.at(best, belongs, alone)
    # Every two are many: what comes near to nothing beside whatever second is left out before.
    top = max(right, float(np.max(singly[np.isfinite(singly)])))
    near = np.maximum(weighed.at_most(met), singly) > top - TOO_FAR
    near[0] = True
    met, fits, singly, belongs, member, weights = (
        *(met[near], fits[:, near], singly[near]),
        *(belongs[near], member[near], weights[near]),
    )
    total = np.where(_in_a_ring(where)[np.ix_(met, met)], -np.inf, weighed.together(met))
    top = max(top, float(np.max(total)))
    # --- each on its own
    gain = singly > right + GAIN
    one_way = np.where(gain, np.exp(singly - top), 0.0) * weights * np.r_[1.0, leaning][belongs]
    # A habit of which each lens shows a way of its own is one habit all the same.
    own_ways = np.where(_own_ways(where)[np.ix_(met, met)] & (total > right + GAIN), np.exp(total - top), 0.0)
    own_ways *= weights[:, None] * weights * np.r_[1.0, leaning][belongs]
    one = ONE_HABIT / doable * (member.T @ (one_way + own_ways.sum(axis=0)))
    # --- two together, where either adds something
    better = np.maximum(np.maximum(best[belongs][:, None], best[belongs][None, :]), right) + GAIN
    adds = (total > better) & (belongs[:, None] != belongs)
    two_way = np.zeros_like(total)
    two_way[adds] = np.exp(total[adds] - top) * (weights[:, None] * weights)[adds]
    two = TWO_HABITS / doable**2 * (member.T @ two_way @ member) * leaning[:, None] * leaning
    two *= _in_order(where)
    # --- and nobody's habit
    honest = HONEST * np.exp(right - top)
    unexplained = np.exp(right - top) * weighed.strange()
    believed = one.sum() + two.sum()
    unexplained += BY_CHANCE * believed
    whole = honest + unexplained + believed
    if whole <= 0 or believed / whole < SAID_FROM:
        return Diagnosis(honest=float(honest / whole), unexplained=float(unexplained / whole), seen=seen)
    # Alike to the sixth place they stay in the catalogue's order, one before two.
    first, second = np.nonzero(np.triu(two + two.T))
    singles = np.flatnonzero(one)
    belief = np.r_[one[singles], (two + two.T)[first, second]] / whole
    ranked = []
    for at in np.argsort(-np.round(belief, 6), kind="stable")[:8]:
        if at < len(singles):
            i = singles[at]
            likeliest = int((one_way * member[:, i]).argmax())
            touched, fit = every_way[met[likeliest] - 1][2].eyes, float(singly[likeliest])
            apart = own_ways * member[:, i]
            if apart.max() > one_way[likeliest]:
                fit = float(total.flat[apart.argmax()])
                ranked.append(Explanation((known[i],), float(belief[at]), "RL", ("RL",), fit))
                continue
            # A lens on which something is odd besides is not explained by it.
            bad = {
                name[-1] for name, worse in zip(weighed.names, odd > fits[:, likeliest], strict=True) if worse
            }
            eyes = "".join(eye for eye in touched if eye not in bad) or touched
            ranked.append(Explanation((known[i],), float(belief[at]), eyes, (touched,), fit))
            continue
        i, j = first[at - len(singles)], second[at - len(singles)]
        if two[j, i] > two[i, j] * 1.001:
            i, j = j, i
        # With the lenses that each of the two touches, in their likeliest ways.
        of_i, of_j = np.flatnonzero(member[:, i]), np.flatnonzero(member[:, j])
        both = (two_way + two_way.T)[np.ix_(of_i, of_j)]
        pick = np.unravel_index(both.argmax(), both.shape)
        each = tuple(
            every_way[met[of[at_way]] - 1][2].eyes for of, at_way in zip((of_i, of_j), pick, strict=True)
        )
        eyes = "".join(eye for eye in "RL" if any(eye in own for own in each))
        pick_at = of_i[pick[0]], of_j[pick[1]]
        fit = float(max(total[pick_at], total[pick_at[::-1]]))
        ranked.append(Explanation((known[i], known[j]), float(belief[at]), eyes, each, fit))
    found = Diagnosis(
        ranked=_smaller_first(ranked),
        honest=float(honest / whole),
        unexplained=float(unexplained / whole),
        seen=seen,
    )
    # Belief may be spread so thinly that what would be named is not even so sooner than not.
    return found if sum(each.posterior for each in found.ties) >= 0.5 else replace(found, ranked=())


def _smaller_first(ranked: list[Explanation]) -> tuple[Explanation, ...]:
    """Where one habit alone leads there about as likely as it does with a second, it is named first."""
    first = ranked[0]
    for at, each in enumerate(ranked[:FURTHEST]):
        near = each.posterior * EVEN >= first.posterior
        if near and len(each.slips) < len(first.slips) and {*each.slips} <= {*first.slips}:
            return (each, *ranked[:at], *ranked[at + 1 :])
    return tuple(ranked)
