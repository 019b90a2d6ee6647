"""Telling whose a submission is, and of which chapter.

Nothing is guessed silently: where two signs point to different people, or one
sign to two people, the answer is a sentence and not a name.
"""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path, PurePosixPath

from nbformat.notebooknode import NotebookNode

from optics.course.dates import without_dates
from optics.course.folder import CLASS_LIST, Course, write_whole
from optics.course.reading import assigned_names, read_answers
from optics.errors import OpticsError

__all__ = [
    "ClassList",
    "Learner",
    "Who",
    "aliases",
    "chapter_of",
    "checked_identifier",
    "class_list",
    "keep_class_list",
    "read_class_list",
    "sender_of",
    "who_sent",
]

IDENTIFIER = re.compile(r"[A-Za-z0-9][A-Za-z0-9._@+-]{0,63}")
# Windows keeps these names for itself, whatever their ending.
RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)
SHORTEST_IDENTIFIER = 3
# What learning platforms and browsers add to a file's name.
ADDED = re.compile(
    r"assignsubmission|onlinetext|submission|\bfile\b|\blate\b|\battempt\b|\bcopy\b|\bkopie\b|\(\d+\)|\bcopy of\b|\bv?\d+\b"
)


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


@dataclass(frozen=True, slots=True)
class Who:
    """Whose a submission is, or why that cannot be told.

    Parameters
    ----------
    identifier, trouble : str
        One of the two.
    typed : bool
        Whether only the answer typed inside tells it.
    note : str
        A sentence where another name was typed inside.
    """

    identifier: str = ""
    trouble: str = ""
    typed: bool = False
    note: str = ""


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
    """

    learners: tuple[Learner, ...]
    columns: Mapping[str, str]

    def __str__(self) -> str:
        taken = ", ".join(f'{what} from "{column}"' for what, column in self.columns.items())
        some = "; ".join(
            " ".join(filter(None, (each.identifier, each.name, each.email, each.platform)))
            for each in self.learners[:3]
        )
        return f"{len(self.learners)} learners; {taken}. The first are: {some}."


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
            fits = [place for place in free if folded(heads[place]) == word]
            if what == "platform":
                fits = [place for place in fits if usable(place, spaced=True)]
            if fits:
                found[what] = fits[0]
                free.remove(fits[0])
                break
    coded = [place for place in free if usable(place) and any(c.isdigit() for v in values(place) for c in v)]
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
    return ClassList(tuple(learners.values()), taken)


def keep_class_list(course: Course, learners: Sequence[Learner]) -> None:
    """Keep the class list in the course folder, in our own columns."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["id", "name", "email", "platform"])
    writer.writerows([each.identifier, each.name, each.email, each.platform] for each in learners)
    write_whole(course.root / CLASS_LIST, "\ufeff" + text.getvalue())


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


# --- what stands in a path ---------------------------------------------------------


def sender_of(path: str, chapters: Sequence[str] = ()) -> str:
    """What tells senders apart in a path: the platform's number, else its folder; "" where neither is."""
    plain = PurePosixPath(without_dates(_without_chapters(path, chapters)))
    if number := re.search(r"_(\d+)_", f"{plain}"):
        return number[1]
    return folded(" ".join(plain.parts[:-1]))


# --- whose -----------------------------------------------------------------------


def _names_own_answer(notebook: NotebookNode) -> str:
    """What the learner typed as `learner = "..."`."""
    for cell in notebook.cells:
        if cell.cell_type == "code" and "learner" in assigned_names(cell.source):
            answer = read_answers(cell.source).values.get("learner")
            if isinstance(answer, str | int) and str(answer).strip():
                return str(answer).strip()
    return ""


def _listed(text: str, learners: Sequence[Learner]) -> list[Learner]:
    """Learners whose whole name or identifier stands in a text, in any order."""
    words = folded(text).split()
    together = f" {' '.join(words)} "
    numbered = [
        learner
        for learner in learners
        # A lone "2" in a file's name is more often an attempt than a learner.
        if any(
            len(sign) >= SHORTEST_IDENTIFIER and f" {folded(sign)} " in together
            for sign in (learner.identifier, learner.email, learner.platform)
        )
    ]
    names = [(learner, set(folded(learner.name).split())) for learner in learners]
    found = [(learner, name) for learner, name in names if name and name <= set(words)]
    # "Ann Lee" stands in "Lee Ann Marie" too; the fuller name is meant.
    named = [learner for learner, name in found if not any(name < other for _, other in found)]
    # Two of one name are told apart by their identifiers; a name and somebody
    # else's identifier leave both standing.
    agreed = [learner for learner in named if learner in numbered]
    return agreed or [*named, *numbered]


def _from_answer(answer: str, learners: Sequence[Learner]) -> list[Learner]:
    squeezed = folded(answer).replace(" ", "")
    exact = [
        learner
        for learner in learners
        if squeezed
        in {folded(w).replace(" ", "") for w in (learner.identifier, learner.name, learner.email) if w}
    ]
    return exact or _listed(answer, learners)


def who_sent(
    path: str, notebook: NotebookNode, learners: Sequence[Learner], chapters: Sequence[str] = ()
) -> Who:
    """Whose submission this is.

    Parameters
    ----------
    path : str
        The file's path as it came, folders included.
    notebook : NotebookNode
        Its content.
    learners : sequence of Learner
        The class list; empty where there is none.
    chapters : sequence of str
        Names of chapters, which are no part of a person's name.

    Returns
    -------
    Who
        An identifier, or a sentence why there is none.
    """
    answer = _names_own_answer(notebook)
    if not learners:
        return _without_list(path, answer, chapters)
    by_path = _listed(without_dates(_without_chapters(path, chapters)), learners)
    by_answer = _from_answer(answer, learners) if answer else []
    fits = by_path or by_answer
    if by_path and by_answer:
        fits = [learner for learner in by_path if learner in by_answer]
        if not fits:
            return Who(
                trouble=f"Its name points to {_all(by_path)}, but the answer typed inside to {_all(by_answer)}; "
                "the pairs belong to the answer."
            )
    if len(fits) == 1:
        odd = by_path and answer and not by_answer
        note = f'The name typed inside, "{answer[:40]}", is nobody\'s in the class list.' if odd else ""
        return Who(fits[0].identifier, typed=not by_path, note=note)
    if fits:
        return Who(trouble=f"It fits several learners: {_all(fits)}.")
    typed = f'; the answer typed inside is "{answer[:40]}"' if answer else ""
    return Who(trouble=f"It fits nobody in the class list{typed}.")


def _all(learners: Sequence[Learner]) -> str:
    return ", ".join(learner.identifier for learner in learners)


def _without_chapters(path: str, chapters: Sequence[str]) -> str:
    for chapter in chapters:
        path = re.sub(re.escape(chapter), " ", path, flags=re.IGNORECASE)
    return path


def _without_list(path: str, answer: str, chapters: Sequence[str]) -> Who:
    """An identifier from the platform's folder or file name, else from the answer, else from any file name."""
    plain = PurePosixPath(without_dates(_without_chapters(path, chapters)))
    numbered = next((part for part in plain.parts if re.search(r"_\d+_", part)), "")
    sent_by = _words_in(numbered.partition("_")[0])
    typed = folded(answer)
    words = sent_by or typed or _words_in(plain.name)
    if not words:
        return Who(
            trouble="Nothing in it says whose it is: no name was typed inside, and the file's name has none."
        )
    note = ""
    if sent_by and typed and not set(typed.split()) <= set(sent_by.split()):
        note = f'The name typed inside is "{answer[:40]}", the sender\'s "{sent_by}".'
    return Who(_as_identifier(words), typed=not sent_by and bool(typed), note=note)


def _words_in(name: str) -> str:
    stem = re.sub(r"(\.ipynb)?(\.json|\.txt)?$", "", name, flags=re.IGNORECASE)
    words = folded(ADDED.sub(" ", stem.replace("_", " ").casefold()))
    return " ".join(word for word in words.split() if not word.isdigit())


def _as_identifier(words: str) -> str:
    """A name as a folder's name on any machine; letters of other alphabets become a number."""
    letters = re.sub(r"[^a-z0-9]+", "-", words.encode("ascii", "ignore").decode()).strip("-")[:55]
    if not words.isascii():
        letters = f"{letters}-{sha256(words.encode('utf-8', 'replace')).hexdigest()[:6]}".lstrip("-")
    return f"x-{letters}" if RESERVED.fullmatch(letters) else letters


# --- which chapter ------------------------------------------------------------------


def chapter_of(path: str, notebook: NotebookNode, released: Mapping[str, NotebookNode]) -> str:
    """Which chapter a notebook belongs to, by its cells first and its name second.

    Parameters
    ----------
    path : str
        The file's path as it came.
    notebook : NotebookNode
        Its content.
    released : mapping of str to NotebookNode
        The released notebooks by chapter.

    Returns
    -------
    str
        The chapter, "" where it is none of them.
    """
    have = _marks_of(notebook)
    common = {chapter: len(have & _marks_of(original)) for chapter, original in released.items()}
    best = max(common.values(), default=0)
    leaders = [chapter for chapter, count in common.items() if count == best]
    if best >= 2 and len(leaders) == 1:
        return leaders[0]
    named = [chapter for chapter in released if chapter.casefold() in path.casefold()]
    return named[0] if len(named) == 1 and common[named[0]] else ""


def _marks_of(notebook: NotebookNode) -> set[str]:
    """What tells a chapter's notebook: the names of its cells, and of its answers."""
    marks = set()
    for cell in notebook.cells:
        key = cell.metadata.get("nbgrader", {})
        if isinstance(key, dict) and key.get("grade_id"):
            marks.add(f"cell {key['grade_id']}")
        marks |= (
            {f"answer {name}" for name in assigned_names(cell.source)} if cell.cell_type == "code" else set()
        )
    return marks
