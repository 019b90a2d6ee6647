"""Comparing a new pair with the one worn before, when the wearer complains.

The tolerances between order and lens serve as the yardstick: a difference beyond
them is a real difference between the pairs, not the scatter of good work. Whether
it was *meant* is not for the bench to say; the new order tells, and the prescriber.

The order in which to look (`LOOK_ORDER`) is the course's own: first whether the new
pair is what was ordered at all, then what pulls the eyes apart and can make a wearer
see double, then what blurs, then what merely feels strange.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from optics.judging.standards import Standard
from optics.judging.verdicts import Verdict, judge_lens
from optics.judging.verify import CAUTION, judge_imbalance, judge_own_prism, judge_pair_places, verify
from optics.lens.angles import whole_axis
from optics.lens.power import Power
from optics.lens.prescription import written
from optics.pair.records import PairRecord, imbalance_error

LOOK_ORDER = (
    "order",
    "kind of lens",
    "vertical prism",
    "horizontal prism",
    "power",
    "addition",
    "centres and heights",
    "base curve",
)
"""In which order to look at what differs."""

_SAME = 0.06
"""A change of mean power or cylinder below this is not named, dioptres: it is within
the error of the focimeter itself (D. Whitney, "Focimetry issues, part one", 20/20)."""


def power_change(old: Power, new: Power) -> str:
    """How the power of one lens changed, in plain words.

    The difference is taken between the powers themselves (as power vectors), never
    between spheres, cylinders and axes each on its own.

    Examples
    --------
    >>> old = Power.from_sphere_cylinder(-2.00, -1.00, 90)
    >>> power_change(old, Power.from_sphere_cylinder(-2.50, -1.00, 90))
    '0.50 D more minus in every meridian'
    >>> power_change(old, Power.from_sphere_cylinder(-2.00, -1.00, 100))
    'the same mean power, and a cylinder of -0.35 x 140 between them'
    """
    change = new - old
    mean, cylinder = change.mean, change.astigmatism
    size = f"{written(abs(mean), signed=False)} D more {'plus' if mean > 0 else 'minus'}"
    if abs(mean) < _SAME and cylinder < _SAME:
        return "no change"
    if cylinder < _SAME:
        return f"{size} in every meridian"
    _, minus_cylinder, axis = change.sphere_cylinder()
    between = f"a cylinder of {written(minus_cylinder)} x {whole_axis(axis):03d} between them"
    return f"{'the same mean power' if abs(mean) < _SAME else f'{size} on average'}, and {between}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing compared between the old pair and the new.

    Parameters
    ----------
    subject : str
        One of `LOOK_ORDER`.
    sentence : str
        What was found.
    verdicts : tuple of Verdict
        The rows it was held against; empty where the table is silent.
    """

    subject: str
    sentence: str
    verdicts: tuple[Verdict, ...]

    @property
    def deciding(self) -> tuple[Verdict, ...]:
        """The verdicts that say it is a real difference."""
        return tuple(v for v in self.verdicts if v.passed is False)

    @property
    def is_open(self) -> bool:
        """Whether something of weight could not be compared."""
        return any(verdict.passed is None and verdict.weighs for verdict in self.verdicts)

    @property
    def decides(self) -> bool:
        """Whether the difference is larger than the tolerance between order and lens."""
        return bool(self.deciding)


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Old pair and new pair, side by side.

    Parameters
    ----------
    standard : str
        The table used as the yardstick.
    findings : tuple of Finding
        In the order in which to look.
    """

    standard: str
    findings: tuple[Finding, ...]

    @property
    def deciding(self) -> tuple[Finding, ...]:
        """What truly differs, in the order in which to look."""
        return tuple(finding for finding in self.findings if finding.decides)

    @property
    def sentence(self) -> str:
        """Where to begin, as a sentence."""
        names = dict.fromkeys(finding.subject for finding in self.findings if finding.is_open)
        open_ = f" Not compared: {', '.join(names)}; read this on both pairs." if names else ""
        if not self.deciding:
            return (
                f"Nothing read differs by more than the tolerance.{open_} Look at the fit: vertex distance, "
                "tilt, height on the face; then ask the prescriber."
            )
        first, *rest = dict.fromkeys(finding.subject for finding in self.deciding)
        if first == "order":
            return "The new pair is not what was ordered. Mend that first, then compare again."
        then = f" Then look at: {', '.join(rest)}." if rest else ""
        return f"Begin with: {first}. Ask whether the new order meant it.{then}{open_}"

    @property
    def report(self) -> str:
        """All of it as text, in the order in which to look, with the caution."""
        told = [f"Old pair against new, with {self.standard} as the yardstick."]
        for number, finding in enumerate(self.findings, 1):
            told.append(f"{number}. {finding.sentence}")
            words = ("ordered", "found") if finding.subject == "order" else ("old", "new")
            told += [f"   {v.told(*words, 'Within', 'Beyond')}" for v in finding.deciding]
        return "\n".join([*told, self.sentence, CAUTION])


def _distance(what: str, old: float | None, new: float | None, unit: str) -> str | None:
    if old is None or new is None:
        return None
    change = f"{new - old:+.1f} {unit}" if abs(new - old) >= 0.05 else "no change"
    return f"{what}: {old:.1f} to {new:.1f} {unit}, {change}."


def compare(
    standard: Standard, old: PairRecord, new: PairRecord, order: PairRecord | None = None
) -> Comparison:
    """Compare a new pair with the one worn before.

    Parameters
    ----------
    standard : Standard
        The table that serves as the yardstick.
    old, new : PairRecord
        Both pairs as read, the same way.
    order : PairRecord, optional
        What the new pair was made to.

    Returns
    -------
    Comparison

    Examples
    --------
    >>> from optics.lens.parsing import parse
    >>> from optics.pair.records import LensRecord
    >>> from optics.judging.standards import load
    >>> def on_paper(right, left):
    ...     return PairRecord(right=LensRecord(line=parse(right)), left=LensRecord(line=parse(left)))
    >>> old, new = on_paper("-2.00 DS", "-2.00 DS"), on_paper("-2.50 DS", "-2.00 DS")
    >>> compare(load("ANSI Z80.1-2015"), old, new).deciding[0].sentence
    'R power: 0.50 D more minus in every meridian.'
    """
    findings = []
    if order is not None:
        held = verify(standard, order, new)
        findings.append(Finding(subject="order", sentence=held.sentence, verdicts=held.verdicts))
    if old.lens != new.lens and old.is_kind_read and new.is_kind_read:
        told = f"Kind of lens: {old.lens} to {new.lens}. A new kind takes getting used to."
        findings.append(Finding(subject="kind of lens", sentence=told, verdicts=()))
    for direction in ("vertical", "horizontal"):
        findings += _prism(standard, old, new, direction)
    lenses = {eye: judge_lens(standard, old.of(eye).line, new.of(eye).line, new.lens, eye) for eye in "RL"}
    for eye in "RL":
        change = power_change(old.of(eye).line.power, new.of(eye).line.power)
        verdicts = tuple(v for v in lenses[eye] if v.quantity != "addition")
        findings.append(Finding(subject="power", sentence=f"{eye} power: {change}.", verdicts=verdicts))
    for eye in "RL":
        for verdict in lenses[eye]:
            if verdict.quantity == "addition":
                told = f"{eye} addition: {verdict.ordered} to {verdict.found}."
                findings.append(Finding(subject="addition", sentence=told, verdicts=(verdict,)))
    findings += _places(standard, old, new)
    return Comparison(standard=standard.name, findings=tuple(findings))


def _prism(standard: Standard, old: PairRecord, new: PairRecord, direction: str) -> list[Finding]:
    """The prism of the pair, and of a lens where the difference of the pair hides it."""
    of_pair = judge_imbalance(standard, old, new, direction)
    verdicts = (of_pair, *judge_own_prism(old, new, of_pair))
    error = imbalance_error(old, new, direction)
    # The old pair was read as well: of it too, silence is not "no prism".
    silent = [eye for eye in "RL" if old.of(eye).written_prism(eye) is None]
    if any(new.of(eye).written_prism(eye) is not None for eye in silent):
        error, remark = None, "the prism of the old pair was not read."
        verdicts = (replace(of_pair, limit=None, row=None, remark=remark),)
    if error is not None:
        told = f"{direction.capitalize()} prism difference of the pair: changed by {abs(error.amount):.2f} Δ."
    else:
        told = f"{direction.capitalize()} prism: not read on every lens of both pairs."
    return [Finding(subject=f"{direction} prism", sentence=told, verdicts=verdicts)]


def _places(standard: Standard, old: PairRecord, new: PairRecord) -> list[Finding]:
    """Centres, heights and base curves, each with whatever rows the table has for it."""
    judged = judge_pair_places(standard, old, new)
    told = [
        (
            "centres and heights",
            "centre distance",
            None,
            _distance("Centre distance", old.pd_mm, new.pd_mm, "mm"),
        ),
        *(
            (
                "centres and heights",
                "height",
                eye,
                _distance(f"{eye} height", old.of(eye).height_mm, new.of(eye).height_mm, "mm"),
            )
            for eye in "RL"
        ),
        *(
            (
                "base curve",
                "base curve",
                eye,
                _distance(f"{eye} base curve", old.of(eye).base_curve, new.of(eye).base_curve, "D"),
            )
            for eye in "RL"
        ),
    ]
    return [
        Finding(
            subject=subject,
            sentence=sentence,
            verdicts=tuple(v for v in judged if v.quantity == quantity and v.eye == eye),
        )
        for subject, quantity, eye, sentence in told
        if sentence
    ]
