"""Real pairs in a box: a register, labels with a number, loans, worksheets, and what was read of each.

The powers stay on the instructor's machine: labels and worksheets carry the number only.
What learners read is held against the register, and against what others read of the same
pair, because a pair that everybody reads differently is a wrong entry or a damaged pair.
"""

from __future__ import annotations

import csv
import io
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from html import escape
from pathlib import Path

import numpy as np

from optics.course.folder import Course, write_table, write_whole
from optics.drawing.diagram import bound
from optics.drawing.reading_form import PAIR_NUMBER, reading_form
from optics.errors import OpticsError
from optics.judging.standards import load
from optics.judging.verdicts import judge_lens, together
from optics.lens.parsing import parse
from optics.lens.power import Power
from optics.lens.prescription import Prescription
from optics.lens.prism import EYES

FOLDER = "kit"
REGISTER, LOANS, READINGS = "register.csv", "loans.csv", "readings.csv"
STANDARD = "ISO 21987:2009"
"""The table that decides."""
ENOUGH = 3
"""So many learners must agree before their reading is held against the register."""
AGREE = 0.19
"""Spread, dioptres, within which readings of one lens count as alike."""


@dataclass(frozen=True, slots=True)
class KitPair:
    """One real pair, verified.

    Parameters
    ----------
    number : str
        What is stuck on it.
    right, left : Prescription
        As verified at the instructor's focimeter.
    """

    number: str
    right: Prescription
    left: Prescription

    def of(self, eye: str) -> Prescription:
        """The lens of one eye."""
        return self.right if eye == "R" else self.left


def _rows(path: Path, wanted: Sequence[str]) -> list[dict[str, str]]:
    try:
        text = path.read_text("utf-8-sig")
    except (OSError, UnicodeDecodeError):
        raise OpticsError(
            f"The file {path} cannot be read.",
            "It is a CSV in UTF-8.",
            f"Its columns are {', '.join(wanted)}.",
        ) from None
    stroke = max(",;\t", key=text.partition("\n")[0].count)
    reader = csv.DictReader(io.StringIO(text), delimiter=stroke)
    heads = [(head or "").strip().casefold() for head in reader.fieldnames or ()]
    if missing := [head for head in wanted if head not in heads]:
        raise OpticsError(
            f"The file {path} has no column {', '.join(missing)}.",
            f"It needs: {', '.join(wanted)}.",
            f"Let its first line read: {','.join(wanted)}",
        )
    reader.fieldnames = heads
    rows = []
    for row in reader:
        # What stands beyond the last column is gathered under no head.
        if any(str(beyond).strip() for beyond in row.pop(None, ())):
            raise OpticsError(
                f"Line {reader.line_num} of {path.name} has more fields than its first line.",
                "A decimal comma parts a number in two.",
                "Write decimal points, and read it again. Nothing was kept.",
            )
        rows.append({head: (row.get(head) or "").strip().lstrip("'") for head in wanted})
    return [row for row in rows if any(row.values())]


def _as_registered(known: dict[str, KitPair], number: str) -> str:
    """A pair's number as the register has it, in capitals or not."""
    return {each.casefold(): each for each in known}.get(number.strip().casefold(), number)


def read_register(path: Path) -> dict[str, KitPair]:
    """Read and check a register: a CSV with the columns number, right, left.

    Raises
    ------
    OpticsError
        With every line that cannot be used.
    """
    found: dict[str, KitPair] = {}
    wrong = []
    for line, row in enumerate(_rows(path, ("number", "right", "left")), 2):
        number = row["number"]
        if not PAIR_NUMBER.fullmatch(number):
            wrong.append(f'line {line}: "{number[:20]}" is no number of letters and digits')
        elif number.casefold() in {each.casefold() for each in found}:
            wrong.append(f"line {line}: pair {number} is there twice")
        else:
            try:
                found[number] = KitPair(number, parse(row["right"], "R"), parse(row["left"], "L"))
            except OpticsError as reason:
                wrong.append(f"line {line}: {reason.args[0] if reason.args else reason}")
    if wrong or not found:
        raise OpticsError(
            f"The register {path} cannot be used: {'; '.join(wrong) or 'it has no pair'}.",
            "Each line has a number of its own and both lenses, written like -2.25 -0.75 x 015.",
            "Mend these lines and read it again. Nothing was kept.",
        )
    return found


def register(course: Course, given: Path | None = None) -> dict[str, KitPair]:
    """The course's register; a file given is checked, and kept in its place."""
    path = course.root / FOLDER / REGISTER
    if given is not None:
        found = read_register(given)
        heads = ("number", "right", "left")
        write_table(path, heads, ([row[head] for head in heads] for row in _rows(given, heads)))
        return found
    if not path.is_file():
        raise OpticsError(
            "This course has no register of real pairs.",
            "It is a CSV with the columns number, right, left, as verified.",
            "Give one: `python -m optics kit register FILE`.",
        )
    return read_register(path)


def _chosen(course: Course, numbers: Sequence[str]) -> list[KitPair]:
    known = register(course)
    numbers = [_as_registered(known, number) for number in numbers]
    if unknown := [number for number in numbers if number not in known]:
        raise OpticsError(
            f"There is no pair {', '.join(unknown)} in the register.",
            f"Its pairs are {', '.join(known)}.",
            "Check the number.",
        )
    return [known[number] for number in numbers or known]


def labels(course: Course, numbers: Sequence[str] = ()) -> Path:
    """A page of labels to print: the number, and a code that holds the number, never the power."""
    try:
        import segno
    except ImportError:
        raise OpticsError(
            "Labels need the package segno, which draws the codes.",
            "It is not part of every installation.",
            "Install it: python -m pip install segno",
        ) from None
    cells = "".join(
        f"<figure>{segno.make(pair.number, error='m', micro=False).svg_inline(scale=3, title=f'Pair {pair.number}')}"
        f"<figcaption>{escape(pair.number)}</figcaption></figure>"
        for pair in _chosen(course, numbers)
    )
    path = course.root / FOLDER / "labels.html"
    write_whole(
        path,
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>Labels</title><style>'
        "body { font: bold 14pt/1 system-ui, sans-serif; } figure { display: inline-block; width: 30mm; margin: 3mm;"
        " text-align: center; break-inside: avoid; border: 1px dotted #999; padding: 2mm; }</style></head>"
        f"<body>{cells}</body></html>\n",
    )
    return path


def worksheets(course: Course, numbers: Sequence[str] = (), paper: str = "A4") -> Path:
    """A form to print for each pair, with its number at the head and no power."""
    path = course.root / FOLDER / "worksheets.pdf"
    pages = [reading_form(paper, f"Pair {pair.number}", pair.number) for pair in _chosen(course, numbers)]
    write_whole(path, bound(pages, "Worksheets"))
    return path


def lend(course: Course, number: str, learner: str = "") -> str:
    """Note that a pair goes to a learner; without one, that it has come back.

    Raises
    ------
    OpticsError
        Where it is out already, or not out.
    """
    number = _chosen(course, [number])[0].number
    path = course.root / FOLDER / LOANS
    heads = ("number", "learner", "out", "back")
    rows = _rows(path, heads) if path.is_file() else []
    out = next((row for row in rows if row["number"] == number and not row["back"]), None)
    today = date.today().isoformat()
    if learner and out:
        raise OpticsError(
            f"Pair {number} is out with {out['learner']} since {out['out']}.",
            "A pair is with one person.",
            "Note first that it is back.",
        )
    if not learner and not out:
        raise OpticsError(f"Pair {number} is not out.", "Only what is out comes back.", "Check the number.")
    if out:
        out["back"] = today
    else:
        rows.append({"number": number, "learner": learner, "out": today, "back": ""})
    write_table(path, heads, ([row[head] for head in heads] for row in rows))
    return f"Pair {number} is with {learner} from {today}." if learner else f"Pair {number} is back."


def mark_readings(course: Course, given: Path | None = None) -> str:
    """Hold what learners read of real pairs against the register, and each pair against its own history.

    Parameters
    ----------
    course : Course
        The course.
    given : Path, optional
        A CSV with the columns learner, number, right, left; its readings are kept.

    Returns
    -------
    str
        A line for each reading, and one for each pair that everybody reads differently.
    """
    known = register(course)
    path = course.root / FOLDER / READINGS
    heads = ("learner", "number", "right", "left")
    rows = _rows(path, heads) if path.is_file() else []
    if given is not None:
        rows += [row for row in _rows(given, heads) if row not in rows]
        write_table(path, heads, ([row[head] for head in heads] for row in rows))
    table = load(STANDARD)
    lines = []
    read: dict[tuple[str, str], dict[str, Power]] = defaultdict(dict)
    for row in rows:
        said = []
        number = _as_registered(known, row["number"])
        if number not in known:
            lines.append(f"{row['learner']}, pair {row['number']}: it is not in the register.")
            continue
        for eye, side in EYES.items():
            try:
                line = parse(row[side], eye)
            except OpticsError as reason:
                said.append(f"{side} lens not read: {str(reason).rstrip('.')}")
                continue
            read[number, eye][row["learner"]] = line.power
            verdicts = judge_lens(table, known[number].of(eye), line, eye=eye)
            passed = together(verdicts)
            words = {True: "within tolerance", False: "outside tolerance", None: "not yet known"}[passed]
            off = [verdict.quantity for verdict in verdicts if verdict.passed is False]
            said.append(f"{side} lens {words}{' in ' if off else ''}{', '.join(off)}")
        lines.append(f"{row['learner']}, pair {number}: {'; '.join(said)}.")
    lines += _odd(known, read)
    return "\n".join([f"Judged by {STANDARD}; a reading is not an order.", *lines])


def _odd(known: dict[str, KitPair], read: dict[tuple[str, str], dict[str, Power]]) -> list[str]:
    """A sentence for each lens that several read alike and otherwise than the register has it."""
    said = []
    for (number, eye), powers in sorted(read.items()):
        if len(powers) < ENOUGH:
            continue
        own = known[number].of(eye).power
        # The middle one in each component, which one gross misreading does not move.
        middle = Power(np.median([power.vector for power in powers.values()], axis=0))
        alike = sum(float((power - middle).strength) <= AGREE for power in powers.values())
        if alike >= ENOUGH and 2 * alike > len(powers) and float((middle - own).strength) > AGREE:
            said.append(
                f"Pair {number}, {EYES[eye]} lens: {alike} of {len(powers)} learners read alike, and otherwise than the "
                "register has it. Read it again yourself before you mark by it."
            )
    return said
