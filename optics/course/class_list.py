"""The class list, as platforms export it and as the course keeps it."""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from optics.course.dates import date_in
from optics.course.folder import CLASS_LIST, Course, write_table
from optics.errors import OpticsError

IDENTIFIER = re.compile(r"[A-Za-z0-9][A-Za-z0-9._@+-]{0,63}")
# Windows keeps these names for itself, whatever their ending.
RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)
SHORTEST_IDENTIFIER = 3


@dataclass(frozen=True, slots=True)
class Learner:
    """One line of the class list.

    Parameters
    ----------
    identifier : str
        Names the learner's folders.
    name, email, platform : str
        As the list has them; `platform` is what the learning platform counts them by.
    """

    identifier: str
    name: str = ""
    email: str = ""
    platform: str = ""


def folded(text: str) -> str:
    """Text for comparing names: no capitals, accents or signs, words parted by one space."""
    plain = unicodedata.normalize("NFKD", text).casefold()
    plain = "".join(mark for mark in plain if not unicodedata.combining(mark))
    return " ".join(re.findall(r"[^\W_]+", plain))


def checked_identifier(identifier: str) -> str:
    """An identifier that can be a folder's name on any machine.

    Raises
    ------
    OpticsError
        Where it cannot.
    """
    identifier = identifier.strip()
    usable = IDENTIFIER.fullmatch(identifier) and not RESERVED.fullmatch(identifier)
    if not usable or identifier.endswith(".") or ".." in identifier:
        raise OpticsError(
            f'The identifier "{identifier[:70]}" cannot be used.',
            "It is made of letters without accents, digits, and . _ - @ +, and names a folder.",
            "Give the learner's number, or the name without spaces.",
        )
    return identifier


@dataclass(frozen=True, slots=True)
class ClassList:
    """A class list as it was understood.

    Parameters
    ----------
    learners : tuple of Learner
        In its order.
    columns : dict of str to str
        Which of its columns was taken for what.
    left : tuple of str
        The columns that were taken for nothing.
    """

    learners: tuple[Learner, ...]
    columns: Mapping[str, str]
    left: tuple[str, ...] = ()

    def __str__(self) -> str:
        taken = ", ".join(f'{what} from "{column}"' for what, column in self.columns.items())
        some = "; ".join(
            " ".join(filter(None, (each.identifier, each.name, each.email, each.platform)))
            for each in self.learners[:3]
        )
        said = [f"{len(self.learners)} learners; {taken}.", f"The first are: {some}."]
        if self.left:
            said.append(f"Left aside: {', '.join(self.left)}.")
        if len({"given", "family"} & set(self.columns)) == 1:
            said.append("Only one half of the names was found; without the other many cannot be told apart.")
        return " ".join(said)


_EMAIL = re.compile(r"[^@\s]+@[^@\s]+\.[^@\s]+")
# Words in the head of a column, in the order in which they are believed.
_HEADS = {
    "id": (
        "id",
        "id number",
        "student id",
        "student number",
        "number",
        "matriculation",
        "username",
        "user",
        "login",
    ),
    "platform": ("platform", "participant", "user id", "identifier"),
    "given": ("given", "given name", "first name", "firstname", "first", "forename", "vorname"),
    "family": ("family", "family name", "last name", "lastname", "last", "surname", "nachname"),
    "name": ("name", "full name", "fullname", "student", "learner"),
}


def _table(path: Path) -> tuple[list[str], list[list[str]]]:
    """Heads and rows of a CSV as any spreadsheet or platform saves it."""
    try:
        data = path.read_bytes()
    except OSError:
        raise OpticsError(
            f"The class list {path} cannot be opened.", "It is a CSV file.", "Check the name."
        ) from None
    if data[:2] in {b"\xff\xfe", b"\xfe\xff"}:
        text = data.decode("utf-16", "replace")
    else:
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = data.decode("cp1252", "replace")
    first_line = text.partition("\n")[0]
    stroke = max(",;\t", key=first_line.count)
    try:
        heads, *rows = list(csv.reader(io.StringIO(text), delimiter=stroke)) or [[]]
    except csv.Error:
        heads, rows = [], []
    heads = [head.strip() for head in heads]
    cells = [[cell.strip().lstrip("'") for cell in row] + [""] * (len(heads) - len(row)) for row in rows]
    return heads, [row for row in cells if any(row)]


def _columns(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> dict[str, int]:
    """Which column holds what: by its head, and by what stands in it."""
    found: dict[str, int] = {}

    def values(place: int) -> list[str]:
        return [row[place] for row in rows if row[place]]

    def usable(place: int, spaced: bool = False) -> bool:
        given = [value.casefold() for value in values(place)]
        given = [_number_in(value) for value in given] if spaced else given
        return bool(given) and len(set(given)) == len(given) and not any(" " in value for value in given)

    free = list(range(len(heads)))
    for place in free:
        given = values(place)
        if given and sum(bool(_EMAIL.fullmatch(value)) for value in given) >= 0.8 * len(given):
            found.setdefault("email", place)
    free = [place for place in free if place not in found.values()]
    for what, words in _HEADS.items():
        for word in words:
            # Some write "Given name(s)".
            fits = [place for place in free if folded(heads[place]).removesuffix(" s") == word]
            if what == "platform":
                fits = [place for place in fits if usable(place, spaced=True)]
            if fits:
                found[what] = fits[0]
                free.remove(fits[0])
                break
    coded = [
        place
        for place in free
        if usable(place)
        and any(c.isdigit() for v in values(place) for c in v)
        and not any(map(date_in, values(place)))
    ]
    for what in ("id", "platform"):
        if what not in found and coded:
            found[what] = coded.pop(0)
    # Where nothing else tells people apart, their addresses do.
    if "id" not in found and "email" in found and usable(found["email"]):
        found["id"] = found["email"]
    return found


def _number_in(text: str) -> str:
    """The number in "Participant 55301"; the text itself where there is none."""
    return "-".join(re.findall(r"\d+", text)) or text


def read_class_list(path: Path) -> ClassList:
    """The class list, as a spreadsheet or a learning platform saves it.

    Columns are known by their heads and by what they hold: a number or user name that
    tells everybody apart, a name in one column or two, an e-mail address, the platform's
    own number.

    Raises
    ------
    OpticsError
        Where a column is missing, or an identifier is unusable or there twice.
    """
    heads, rows = _table(path)
    columns = _columns(heads, rows)
    if "id" not in columns or not {"name", "given", "family"} & set(columns):
        raise OpticsError(
            f"The class list {path} has the columns {', '.join(filter(None, heads)) or 'none'}.",
            "It needs a number or user name that tells everybody apart, and the names.",
            "Let its first line read: id,name",
        )

    def cell(row: Sequence[str], what: str) -> str:
        return row[columns[what]] if what in columns else ""

    learners: dict[str, Learner] = {}
    for row in rows:
        identifier = cell(row, "id")
        if not identifier:
            continue
        checked_identifier(identifier)
        # Folders do not tell capitals apart on every machine.
        if identifier.casefold() in learners:
            raise OpticsError(
                f'The identifier "{identifier}" stands twice in the class list {path}.',
                "Each learner has one of their own.",
                "Mend the list.",
            )
        two = " ".join(filter(None, (cell(row, "given"), cell(row, "family"))))
        platform = _number_in(cell(row, "platform"))
        learners[identifier.casefold()] = Learner(
            identifier, two or cell(row, "name"), cell(row, "email"), platform
        )
    taken = (
        {what: heads[place] for what, place in columns.items() if not (two and what == "name")}
        if rows
        else {}
    )
    left = tuple(head for head in heads if head and head not in taken.values())
    return ClassList(tuple(learners.values()), taken, left)


def keep_class_list(course: Course, learners: Sequence[Learner]) -> None:
    """Keep the class list in the course folder, in our own columns."""
    rows = [(each.identifier, each.name, each.email, each.platform) for each in learners]
    write_table(course.root / CLASS_LIST, ("id", "name", "email", "platform"), rows)


def class_list(course: Course, given: Path | None = None) -> tuple[Learner, ...]:
    """The class list given, else the one kept in the course; empty where there is none."""
    path = given or course.root / CLASS_LIST
    return read_class_list(path).learners if given or path.is_file() else ()


def aliases(learners: Sequence[Learner]) -> dict[str, str]:
    """Every way to write a listed person that is nobody else's too, with their identifier."""
    whose: dict[str, set[str]] = defaultdict(set)
    for learner in learners:
        words = learner.name.replace(",", " ").split()
        ways = {learner.identifier, learner.email, learner.name, " ".join([*words[-1:], *words[:-1]])}
        ways |= {", ".join([words[-1], " ".join(words[:-1])])} if len(words) > 1 else set()
        ways |= set(words[:1])
        for way in ways:
            whose["".join(way.split()).casefold()].add(learner.identifier)
    return {way: one.pop() for way, one in whose.items() if way and len(one) == 1}
