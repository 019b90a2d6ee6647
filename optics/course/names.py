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
from pathlib import Path, PurePosixPath

from nbformat.notebooknode import NotebookNode

from optics.course.folder import CLASS_LIST, Course
from optics.course.reading import assigned_names, read_answers
from optics.errors import OpticsError

__all__ = [
    "Learner",
    "Who",
    "aliases",
    "chapter_of",
    "checked_identifier",
    "class_list",
    "read_class_list",
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
    """One line of the class list."""

    identifier: str
    name: str = ""


@dataclass(frozen=True, slots=True)
class Who:
    """Whose a submission is, or why that cannot be told."""

    identifier: str = ""
    trouble: str = ""


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


def read_class_list(path: Path) -> tuple[Learner, ...]:
    """The class list: a CSV with the columns `id` and `name`.

    Raises
    ------
    OpticsError
        Where a column is missing, or an identifier is unusable or there twice.
    """
    try:
        text = path.read_text("utf-8-sig")
    except UnicodeDecodeError:
        text = path.read_text("cp1252", errors="replace")
    except OSError:
        raise OpticsError(
            f"The class list {path} cannot be opened.", "It is a CSV file.", "Check the name."
        ) from None
    first_line = text.partition("\n")[0]
    rows = csv.DictReader(
        io.StringIO(text), delimiter=";" if first_line.count(";") > first_line.count(",") else ","
    )
    columns = {(name or "").strip().lower(): name for name in rows.fieldnames or ()}
    if "id" not in columns or "name" not in columns:
        raise OpticsError(
            f"The class list {path} has the columns {', '.join(filter(None, columns)) or 'none'}.",
            "It needs the columns id and name.",
            "Let its first line read: id,name",
        )
    learners: dict[str, Learner] = {}
    for row in rows:
        identifier = (row[columns["id"]] or "").strip()
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
        learners[identifier.casefold()] = Learner(identifier, (row[columns["name"]] or "").strip())
    return tuple(learners.values())


def class_list(course: Course, given: Path | None = None) -> tuple[Learner, ...]:
    """The class list given, else the one kept in the course; empty where there is none."""
    path = given or course.root / CLASS_LIST
    return read_class_list(path) if given or path.is_file() else ()


def aliases(learners: Sequence[Learner]) -> dict[str, str]:
    """Every way to write a listed person that is nobody else's too, with their identifier."""
    whose: dict[str, set[str]] = defaultdict(set)
    for learner in learners:
        words = learner.name.replace(",", " ").split()
        ways = {learner.identifier, learner.name, " ".join([*words[-1:], *words[:-1]])}
        ways |= {", ".join([words[-1], " ".join(words[:-1])])} if len(words) > 1 else set()
        ways |= set(words[:1])
        for way in ways:
            whose["".join(way.split()).casefold()].add(learner.identifier)
    return {way: one.pop() for way, one in whose.items() if way and len(one) == 1}


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
        if len(learner.identifier) >= SHORTEST_IDENTIFIER and f" {folded(learner.identifier)} " in together
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
        if squeezed in {folded(learner.identifier).replace(" ", ""), folded(learner.name).replace(" ", "")}
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
    by_path = _listed(_without_chapters(path, chapters), learners)
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
        return Who(fits[0].identifier)
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
    """An identifier made from the answer, else from the file's name."""
    words = folded(answer)
    if not words:
        name = PurePosixPath(_without_chapters(path, chapters)).name
        stem = re.sub(r"(\.ipynb)?(\.json|\.txt)?$", "", name, flags=re.IGNORECASE)
        words = folded(ADDED.sub(" ", stem.replace("_", " ").casefold()))
        words = " ".join(word for word in words.split() if not word.isdigit())
    identifier = re.sub(r"[^a-z0-9]+", "-", words.encode("ascii", "ignore").decode()).strip("-")[:64]
    if not identifier:
        return Who(
            trouble="Nothing in it says whose it is: no name was typed inside, and the file's name has none."
        )
    return Who(identifier)


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
