"""Telling whose a submission is, and of which chapter.

Nothing is guessed silently: where two signs point to different people, or one
sign to two people, the answer is a sentence and not a name.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import PurePosixPath

from nbformat.notebooknode import NotebookNode

from optics.course.class_list import RESERVED, SHORTEST_IDENTIFIER, Learner, folded
from optics.course.dates import without_dates
from optics.course.reading import assigned_names, read_answers

# What learning platforms and browsers add to a file's name.
ADDED = re.compile(
    r"assignsubmission|onlinetext|submission|\bfile\b|\blate\b|\battempt\b|\bcopy\b|\bkopie\b|\(\d+\)|\bcopy of\b|\bv?\d+\b"
)


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
    named = [f"{each.name} ({each.identifier})" if each.name else each.identifier for each in learners[:5]]
    return ", ".join(named + ([f"{len(learners) - 5} more"] if len(learners) > 5 else []))


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
