"""One true account of a wrong answer: the habit first, then why, a twin, one more to do.

Sentences are chosen together, so that none denies another: what a habit spoils is never
called right beside it, what it does not explain is told by itself, and of a pair it is said
which lens it shows in. What was inferred from a reading is told as inferred. No account holds
the answer. What would give it away by inference (the number that
a habit leads to on this very lens) is told only where marks are given, after hand-in.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence

from optics.judging.settling import settle
from optics.lens.power import Power
from optics.lens.prescription import Prescription, written
from optics.lens.prism import EYES
from optics.marking.explanations import may_as_well
from optics.marking.habits import SMALLEST_CYLINDER, Slip, Triple, slip
from optics.marking.marks import DIFFERENCE_WITHIN, POWER_WITHIN, Marks, in_form

MOST_WORDS = 68
"""With the marks and why they are no more, a reply has at most 90."""
UNSETTLED = 0.36
"""A sphere no further out than this was read and not settled; and a line so near is what a habit led to, dioptres."""

_AT_THE_BENCH = {
    "sphere": "The sphere is not right yet: with the eyepiece set, find the sphere lines again from the plus side.",
    "cylinder": "The cylinder is not right yet: it is the second reading minus the first.",
    "axis": "The axis is not right yet: turn the wheel until the lines are unbroken, then read it.",
    "form": "The cylinder form is not the one asked for.",
    "add": "The addition is not right yet: near less distance, with the side that carries it on the stop.",
    "prism": "The prism is not right yet: read it at the reference point, amount and base for each eye.",
    "centres": "The PD is not right yet: measure each eye from the middle of the bridge to its dot.",
    "heights": "The height is not right yet: from the lowest point of the lens up to the line or the cross.",
    "style": "The lens style is not the one named.",
}
_ON_PAPER = {
    "sphere": "The sphere is not right yet: it is the power along the axis.",
    "cylinder": "The cylinder is not right yet: it is the power across the axis minus the power along it.",
    "axis": "The axis is not right yet: it is the meridian where the lens has the sphere alone.",
    "form": _AT_THE_BENCH["form"],
}
LOOK_AGAIN = {"bench": _AT_THE_BENCH, "paper": _ON_PAPER}
OVERLOOKED = {
    "bench": "You wrote a sphere where the lens has a cylinder: with one set of lines sharp, turn on and see "
    "whether the other is sharp there too.",
    "paper": "You wrote a sphere where the lens has a cylinder: the two powers differ.",
}
NO_CYLINDER = "where no line breaks as the wheel turns, the lens is a sphere."
"""In place of how a cylinder is found, where none is."""
NOT_SETTLED = (
    "The sphere is near and not settled: read it three times, and write the step nearest to the mean."
)

_OF_A_LINE = frozenset({"sphere", "cylinder", "axis", "form"})
_OF_THE_PEN = {"decimal point misplaced", "minus sign left out"}
"""Habits beside which the notation is not called right."""
_ONE_OF_A_SPHERE = {"line copied from the other lens": "sphere copied from the other lens"}
_ONE_OF_A_LENS = {"base reversed in both eyes": "base reversed in one eye"}
"""What is the same habit where one lens alone has prism, or has it wrong."""

_TWINS = tuple(
    Triple(sphere, cylinder, axis)
    for sphere, cylinder, axis in (
        (1.25, -0.50, 24.0),
        (-3.75, -1.25, 68.0),
        (4.25, -2.25, 112.0),
        (-5.75, -0.75, 157.0),
        (2.75, -1.75, 37.0),
        (-6.25, -2.50, 143.0),
        (-1.75, -0.50, 52.0),
        (6.75, -1.25, 81.0),
        (-8.25, -1.50, 127.0),
        (7.25, -3.75, 12.0),
        (-9.75, -2.75, 96.0),
    )
)
"""Lenses to work a habit through, beside the one in question."""
_WORKED = {
    "lenses exchanged": "Exchanged, R -1.00 DS and L -2.50 DS are written R -2.50 DS and L -1.00 DS.",
    "eyepiece not set": "An eyepiece that is out by 0.37 D moves every drum reading by 0.37 D.",
    "near total written as add": "Distance +1.00 and near +3.25 make an addition of +2.25, not +3.25.",
    "prism read away from the reference point": "A -4.00 DS lens read 5 mm off its centre shows 2.00 Δ of its own.",
    "put on round numbers": "-2.75 put on -3.00 is a quarter of a dioptre out.",
    "centimetres for millimetres": "6.2 cm are written 62.",
}
"""Habits over a pair, on other numbers."""


def in_brief(refused: Sequence[str]) -> list[str]:
    """Sentences beside what cannot be read; where they are long the first, and the names of the others."""
    if sum(len(sentence.split()) for sentence in refused) <= MOST_WORDS // 2:
        return list(refused)
    labels = [sentence.partition(":")[0] for sentence in refused[1:]]
    others = ", ".join(label[:1].lower() + label[1:] for label in labels)
    return [refused[0], *([f"Not read either: {others}."] if others else [])]


def look_again(
    missed: Iterable[str],
    where: str = "bench",
    wrong: Mapping[str, str] | None = None,
    none_there: bool = False,
) -> list[str]:
    """Where to look, skill by skill; what is wrong with the notation is told elsewhere.

    `none_there` says that a cylinder was written of spheres alone.
    """
    told = []
    for skill in missed:
        eyes, part = (wrong or {}).get(skill, ""), "eye" if skill == "centres" else "lens"
        of = f" of the {EYES[eyes]} {part} is not right yet" if eyes in EYES else " is not right yet"
        again = LOOK_AGAIN[where].get(skill, "")
        if skill == "cylinder" and none_there:
            again = f"{again.partition(': ')[0]}: {NO_CYLINDER}"
        told.append(again.replace(" is not right yet", of))
    return [sentence for sentence in told if sentence]


def habit_told(
    habits: Sequence[Slip], where: str = "bench", tie: str = "", eyes: Sequence[str] = ()
) -> tuple[str, str]:
    """What was done and what to do instead, one account for one habit or for two together.

    `tie` is what may as well be so; `eyes` the one lens that each shows in, or "".
    """
    mends = " ".join(_mends(habits, where))
    if len(habits) == 1:
        did = habits[0].habit
        # On paper a number leads back to one habit; a reading only looks like it.
        did = f"It seems {did[0].lower()}{did[1:]}" if where == "bench" or tie else did
        return _beside(eyes[0] if eyes else "", did), mends
    sides = [f" ({EYES[eye]} lens)" if eye in EYES else "" for eye in (*eyes, "", "")]
    names = ", then ".join(f"{entry.name}{side}" for entry, side in zip(habits, sides, strict=False))
    return f"Two habits together would lead to this: {names}.", mends


def _mends(habits: Sequence[Slip], where: str) -> list[str]:
    """What to do instead, once where two habits ask for the same."""
    return list({mend[:20]: mend for entry in habits if (mend := entry.mend_for(where))}.values())


def account(
    marks: Marks,
    habits: Sequence[Slip] = (),
    *,
    where: str = "bench",
    form: str = "minus",
    wrote: Prescription | None = None,
    true: Triple | None = None,
    refused: Sequence[str] = (),
    missing: Sequence[str] = (),
    unwritten: Collection[str] = (),
    notation: Sequence[str] = (),
    either: Sequence[tuple[str, ...]] = (),
    pair: Mapping[str, tuple[Prescription | None, Triple]] | None = None,
    wrong: Mapping[str, str] | None = None,
    touched: Sequence[str] = (),
) -> tuple[str, ...]:
    """What to say of an answer that is not right, in at most `MOST_WORDS` words.

    Parameters
    ----------
    marks : Marks
        What is right and what is not.
    habits : sequence of Slip
        What explains it; none, one, or two that work together in this order.
    where : {"bench", "paper"}
        Whether it was read or worked out.
    form : {"minus", "plus"}
        The form asked for.
    wrote, true : Prescription and Triple, optional
        The line, and the lens in the form asked for, where one lens is asked.
    refused : sequence of str
        Sentences beside what cannot be read.
    missing, unwritten : sequence of str
        What was asked for and not written, and the skills lost by it.
    notation : sequence of str
        What could be misread.
    either : sequence of tuple of str
        The names of the habits of each explanation that this lens cannot tell from the first, the first among them.
    pair, wrong, touched : mapping, mapping, sequence of str, optional
        Of a pair: the line and the lens of each eye, the eyes where each skill is not right,
        and the eyes that each habit touches.
    """
    if len(touched) == len(habits) == 2 and habits[1].comes_before(habits[0]):
        touched = touched[::-1]
    if len((wrong or {}).get("prism", "")) == 1:
        habits = [slip(_ONE_OF_A_LENS.get(entry.name, entry.name)) for entry in habits]
        either = [tuple(_ONE_OF_A_LENS.get(name, name) for name in names) for names in either]
    habits = _in_order(habits)
    lines: Mapping[str, tuple[Prescription | None, Triple | None]] = pair or {"R": (wrote, true)}
    if pair and "form" in marks.missed:
        other = [
            eye for eye, (line, _) in pair.items() if line is not None and line.form not in ("sphere", form)
        ]
        wrong = {**(wrong or {}), "form": "".join(other)}
    spoilt = {skill for entry in habits for skill in entry.spoils}
    silent = set() if "axis" in marks.skills and _difference_right(wrote, true, form) else {"cylinder"}
    if "form" in marks.missed and not all(_as_written(*each) for each in lines.values()):
        silent |= {"sphere", "cylinder", "axis"}  # the lens may be right, and none of its numbers
    lenses = [lens for _, lens in lines.values() if lens is not None]
    spheres = bool(lenses) and all(abs(lens.cylinder) < SMALLEST_CYLINDER for lens in lenses)
    rivals = _rivals(either, spheres)
    if _OF_THE_PEN & {*(entry.name for entry in habits), *(name for names in rivals for name in names)}:
        silent |= {"notation"}
    right = [skill for skill in marks.skills if skill not in {*marks.missed, *spoilt, *silent}]
    shown = [
        _shows_in(entry, eyes, wrong or {}, habits) for entry, eyes in zip(habits, touched, strict=False)
    ]
    # What a habit explains is not told as wrong by itself beside it.
    explained = _explained(habits, touched, wrong or {}, lines, form)
    open_yet = [skill for skill in marks.missed if skill not in {*unwritten, *explained, "notation"}]
    parts: list[tuple[int, str]] = [(0, sentence) for sentence in in_brief(refused)]
    if habits:
        tie = may_as_well(rivals)
        did, _ = habit_told(habits, where, tie, [each if len(each) == 1 else "" for each in shown])
        of = next((eye for each in shown for eye in each), "R")
        line, lens = (pair or {}).get(of, (wrote, true))
        # What the notation asks for already is not asked for again.
        signless = any("has no sign" in sentence for sentence in (*refused, *notation))
        asked = slip("minus sign left out").mend_for(where) if signless else ""
        mends = [mend for mend in _mends(habits, where) if mend != asked]
        parts += [
            (1, did),
            (4, _led_to(habits, line, lens, form, of if pair else "") if marks.counts else ""),
            # The second of two where there is room.
            *((2 + at, mend) for at, mend in enumerate(mends)),
            (2, tie),
        ]
    parts.append((2, f"Not written: {', '.join(map(_named, missing))}." if missing else ""))
    flat = _overlooked(lines) if {"axis", "form"} & set(open_yet) else ""
    if flat:
        told = OVERLOOKED[where]
        parts.append((2, _beside(flat, told) if pair else told))
        others = [line for eye, (line, _) in lines.items() if line is not None and eye not in flat]
        if all(line.form in ("sphere", form) for line in others):
            open_yet = [skill for skill in open_yet if skill != "form"]
        told_by_it = [
            skill for skill in ("cylinder", "axis") if set((wrong or {}).get(skill, "")) <= set(flat)
        ]
        open_yet = [skill for skill in open_yet if skill not in told_by_it]
    if pair:
        # What could not be read was told beside its field, and nobody knows whether it is wrong.
        open_yet = [skill for skill in open_yet if skill == "style" or (wrong or {}).get(skill)]
    if where == "bench" and wrote is not None and true is not None and "sphere" in open_yet:
        if abs(wrote.sphere - true.sphere) <= UNSETTLED and not flat:
            parts.append((2, NOT_SETTLED))
            open_yet.remove("sphere")
    cylinders = {
        eye: abs(lens.cylinder) > SMALLEST_CYLINDER for eye, (_, lens) in lines.items() if lens is not None
    }
    none_there = (
        where == "bench"
        and bool(cylinders)
        and not any(there for eye, there in cylinders.items() if eye in (wrong or {}).get("cylinder", eye))
    )
    # Where a habit tells of the one lens, it is the other that is looked at again.
    rest = {
        skill: "".join(eye for eye in eyes if not _told_of(habits, touched, skill, eye)) or eyes
        for skill, eyes in (wrong or {}).items()
    }
    parts += [(3, sentence) for sentence in look_again(open_yet, where, rest, none_there)]
    # What it is comes before what to do about it, and is never left out.
    parts += [(3 if at else 1, sentence) for at, sentence in enumerate(notation)]
    parts.append((6, f"Right so far: {', '.join(right)}." if right else ""))
    if habits:
        twin, more = _twin(habits, form, lenses, spheres)
        parts += [(5, twin), (7, more), (8, _taught(habits))]
    return _fitted([part for part in parts if part[1]])


def _told_of(habits: Sequence[Slip], touched: Sequence[str], skill: str, eye: str) -> bool:
    return any(skill in entry.spoils and eye in eyes for entry, eyes in zip(habits, touched, strict=False))


def _taught(habits: Sequence[Slip]) -> str:
    """Where the step stands that the habit misses."""
    chapters = sorted({entry.chapter for entry in habits})
    return f"See chapter{'s' * (len(chapters) > 1)} {' and '.join(map(str, chapters))}."


def _named(missing: str) -> str:
    eye, _, what = missing.partition(" ")
    return f"{EYES[eye]} {what}" if eye in EYES else missing


def _overlooked(lines: Mapping[str, tuple[Prescription | None, Triple | None]]) -> str:
    """The eyes where a sphere was written of a lens whose cylinder cannot settle away."""
    return "".join(
        eye
        for eye, (line, lens) in lines.items()
        if line is not None and not line.cylinder and lens is not None
        if abs(lens.cylinder) > DIFFERENCE_WITHIN
    )


def _beside(eyes: str, sentence: str) -> str:
    """A sentence with the lens that it is said of, where it is one."""
    return (
        f"{EYES[eyes].capitalize()} lens: {sentence[0].lower()}{sentence[1:]}" if eyes in EYES else sentence
    )


def _as_written(wrote: Prescription | None, true: Triple | None) -> bool:
    """Whether the sphere is right as the number that stands there, and not of the lens converted."""
    return wrote is None or true is None or abs(wrote.sphere - true.sphere) <= POWER_WITHIN


def _in_order(habits: Sequence[Slip]) -> Sequence[Slip]:
    """Two habits in the order of the work: what is done at the instrument comes before what is written."""
    return habits[::-1] if len(habits) == 2 and habits[1].comes_before(habits[0]) else habits


def _rivals(either: Sequence[tuple[str, ...]], spheres: bool) -> list[tuple[str, ...]]:
    """What may as well be so, without what is the same said twice: a sphere is one reading, and its whole line."""
    told: dict[frozenset[str], tuple[str, ...]] = {}
    for names in either:
        if not told or not (spheres and "both readings" in " ".join(names)):
            same = frozenset(_ONE_OF_A_SPHERE.get(name, name) if spheres else name for name in names)
            told.setdefault(same, tuple(entry.name for entry in _in_order([slip(name) for name in names])))
    return [*told.values()][1:]


def _shows_in(entry: Slip, eyes: str, wrong: Mapping[str, str], habits: Sequence[Slip] = ()) -> str:
    """Of the lenses that a habit touches those where something is not right that it spoils."""
    spoilt = set(entry.spoils)
    if len(habits) > 1 and spoilt & _OF_A_LINE:
        # A line that two habits spoil no longer tells by its numbers which of them spoilt which.
        spoilt |= _OF_A_LINE
    seen = {eye for skill in spoilt for eye in wrong.get(skill, "")}
    return "".join(eye for eye in eyes if eye in seen) or eyes


def _explained(
    habits: Sequence[Slip],
    touched: Sequence[str],
    wrong: Mapping[str, str],
    lines: Mapping[str, tuple[Prescription | None, Triple | None]],
    form: str,
) -> set[str]:
    """The skills that the habits spoil wherever they are not right."""
    found = {skill for entry in habits for skill in entry.spoils}
    line, left = _OF_A_LINE, set()
    for eye, (wrote, _) in lines.items():
        here = [
            each
            for each, eyes in zip(habits, touched or ["R"] * 2, strict=False)
            if eye in eyes or any(way.prism_write == "all here" for way in each.ways)
        ]
        spoilt = {skill for entry in here for skill in entry.spoils}
        # Two habits spoil more than each by itself, and a line in the other form is no longer told by its numbers.
        if spoilt & line and (len(here) > 1 or (wrote is not None and wrote.form not in ("sphere", form))):
            spoilt |= line
            found |= line
        left |= {skill for skill, eyes in wrong.items() if eye in eyes and skill not in spoilt}
    return found - left


def _difference_right(wrote: Prescription | None, true: Triple | None, form: str) -> bool:
    """Whether the cylinder is right as a number; it earns its marks also where only its meridian is."""
    if wrote is None or true is None:
        return True
    return (
        min(abs(way.cylinder - true.cylinder) for way in (wrote, in_form(wrote, form))) <= DIFFERENCE_WITHIN
    )


def _fitted(parts: list[tuple[int, str]]) -> tuple[str, ...]:
    """The parts that weigh most and fit, in the order in which they are told."""
    kept, words = set(), 0
    for place in sorted(range(len(parts)), key=lambda place: parts[place][0]):
        length = len(parts[place][1].split())
        if words + length <= MOST_WORDS:
            kept.add(place)
            words += length
    return tuple(sentence for place, (_, sentence) in enumerate(parts) if place in kept)


# --- on other numbers, and on these ------------------------------------------------------


def _of_a_line(habits: Sequence[Slip]) -> list[Slip]:
    """The habits as models of one line; none where one of them is more than that."""
    return list(habits) if all(entry.of_a_line for entry in habits) else []


def _through(slips: Sequence[Slip], lens: Triple, form: str) -> Triple | None:
    made: Triple | None = lens
    for entry in slips:
        made = None if made is None else entry.shown(made, form)
    return made


def _line(lens: Triple) -> str:
    if abs(lens.cylinder) < 0.005:
        return f"{written(lens.sphere)} DS"
    sphere = written(lens.sphere) if lens.sphere else "pl"
    return f"{sphere} {written(lens.cylinder)} x {round(lens.axis):03d}"


def _led_to(
    habits: Sequence[Slip], wrote: Prescription | None, true: Triple | None, form: str, eye: str
) -> str:
    slips = _of_a_line(habits)
    made = _through(slips, true, form) if slips and true is not None and wrote is not None else None
    if made is None or wrote is None:
        return ""
    line = settle(Power.from_sphere_cylinder(*made), form="minus" if made.cylinder < 0 else "plus").choice
    of = f" for the {EYES[eye]} lens" if eye else ""
    leads = "the habit leads" if len(slips) == 1 else "the two lead"
    if not line.power.is_close(wrote.power, UNSETTLED):
        return ""
    if line.same_power(wrote):
        return f"You wrote {wrote.distance}{of}, just what {leads} to."
    return f"You wrote {wrote.distance}{of}, close to the {line.distance} that {leads} to."


def _numbers(lens: Triple) -> set[float]:
    across = lens.sphere + lens.cylinder
    turns = (lens.axis, (lens.axis + 90.0) % 180.0, 180.0 - lens.axis)
    axes = turns if abs(lens.cylinder) >= SMALLEST_CYLINDER else ()
    powers = (lens.sphere, lens.cylinder, across, lens.sphere + 2.0 * lens.cylinder)
    return {round(abs(power) * 4.0) / 4.0 for power in powers if abs(power) >= 0.12} | {
        1000.0 + round(axis) for axis in axes
    }


def _twin(habits: Sequence[Slip], form: str, lenses: Sequence[Triple], spheres: bool) -> tuple[str, str]:
    """The habit worked through on other numbers, and one more to do."""
    # Nothing in the twin may be a number of the lens in question; to a sphere the twin is a sphere.
    told_not = {number for lens in lenses for number in _numbers(lens)}
    slips = _of_a_line(habits)
    if not slips:
        told = _WORKED.get(habits[0].name, "") if len(habits) == 1 else ""
        powers = {round(float(power) * 4.0) / 4.0 for power in re.findall(r"\d+\.\d\d", told)}
        return ("" if powers & told_not else told), ""
    shown = []
    for each in _TWINS:
        turned = Triple(each.sphere + each.cylinder, -each.cylinder, (each.axis + 90 - 1) % 180 + 1)
        lens = Triple(each.sphere, 0.0, 180.0) if spheres else turned if form == "plus" else each
        made = _through(slips, lens, form)
        if made is not None and not (_numbers(lens) | _numbers(made)) & told_not:
            shown.append((lens, made))
    if not shown:
        return "", ""
    # On the steps that a ticket has, where the habit leaves them there.
    shown.sort(key=lambda worked: any(power % 0.25 for power in worked[1][:2]))
    twin = f"With {'this habit' if len(slips) == 1 else 'both'} {_line(shown[0][0])} becomes {_line(shown[0][1])}."
    return twin, f"One more to do: what would {_line(shown[1][0])} become?" if len(shown) > 1 else ""
