"""What a class can do: marks by learner, question and skill, and its commonest slips."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from html import escape
from pathlib import Path

from nbgrader.api import SubmittedAssignment

from optics.course.feedback import new_folder, plain_field
from optics.course.folder import Course, write_whole
from optics.course.gather import lateness
from optics.course.grader import gradebook
from optics.course.handed_out import stamp_of
from optics.course.names import class_list
from optics.marking.telling import MARKS_MIME

__all__ = ["Result", "results", "write_report"]


@dataclass(frozen=True, slots=True)
class Result:
    """One question of one learner.

    Parameters
    ----------
    learner, name, chapter, question : str
        Whose and which; the question by the name of its check cell.
    mark, out_of : float
        Marks got and marks possible; in practice, as the check told them.
    by_hand : bool
        Whether it still waits for a mark given by hand.
    practice : bool
        Whether it is practice, which counts for nothing but tells of habits.
    skills : dict of str to (float, float)
        For each skill the marks got and possible, as the check gave them.
    slips : tuple of str
        Habits that explain a wrong answer.
    """

    learner: str
    name: str
    chapter: str
    question: str
    mark: float
    out_of: float
    by_hand: bool
    practice: bool
    skills: Mapping[str, tuple[float, float]]
    slips: tuple[str, ...]


def _told(path: Path) -> dict[str, dict]:
    """What each check had to say as data, by the name of its cell."""
    found: dict[str, dict] = {}
    if not path.is_file():
        return found
    for cell in json.loads(path.read_text("utf-8"))["cells"]:
        name = cell["metadata"].get("nbgrader", {}).get("grade_id", "")
        for output in cell.get("outputs", ()):
            said = output.get("data", {}).get(MARKS_MIME)
            # The last word is the hidden check's, which gives the marks.
            if name and isinstance(said, dict) and said.get("skills"):
                found[name] = said
    return found


def results(course: Course, chapters: Sequence[str] = ()) -> list[Result]:
    """Every question of every learner, in the order of chapter, learner, question."""
    found = []
    chosen = course.chosen(chapters, "release")
    with gradebook(course) as book:
        known = {assignment.name for assignment in book.assignments}
        for chapter in chosen:
            submissions = book.assignment_submissions(chapter) if chapter in known else []
            for submission in sorted(submissions, key=lambda each: each.student.id):
                found += _of_one(
                    submission, chapter, _told(course.notebook("autograded", chapter, submission.student.id))
                )
    return found


def _of_one(submission: SubmittedAssignment, chapter: str, told: dict[str, dict]) -> list[Result]:
    """One learner's questions of one chapter: those with marks, then practice."""
    student = submission.student
    whose = (student.id, " ".join(filter(None, (student.first_name, student.last_name))), chapter)
    found = []
    for grade in (grade for notebook in submission.notebooks for grade in notebook.grades):
        said = told.pop(grade.name, {})
        score, points, by_hand = grade.score or 0.0, grade.max_score, grade.needs_manual_grade
        found.append(
            Result(
                *whose,
                grade.name,
                float(score),
                float(points),
                bool(by_hand),
                False,
                *_skills_and_slips(said),
            )
        )
    for name, said in told.items():
        skills, slips = _skills_and_slips(said)
        got, of = (round(sum(pair[side] for pair in skills.values()), 2) for side in (0, 1))
        found.append(Result(*whose, name, got, of, False, True, skills, slips))
    return found


def _skills_and_slips(said: dict) -> tuple[dict[str, tuple[float, float]], tuple[str, ...]]:
    skills = {skill: (float(got), float(of)) for skill, (got, of) in said.get("skills", {}).items()}
    return skills, tuple(said.get("slips", ()))


def _csv(path: Path, header: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header)
    writer.writerows([plain_field(value) for value in row] for row in rows)
    # Spreadsheets take a file without this mark for another alphabet.
    write_whole(path, "\ufeff" + text.getvalue())


def _sums(pairs: Iterable[tuple[object, float, float]]) -> dict:
    """Marks got and possible, summed by key, in order of appearance."""
    sums: dict = {}
    for key, got, of in pairs:
        before = sums.get(key, (0.0, 0.0))
        sums[key] = (before[0] + got, before[1] + of)
    return sums


def _skill_pairs(found: Sequence[Result]) -> Iterable[tuple[str, float, float]]:
    return ((skill, got, of) for result in found for skill, (got, of) in result.skills.items())


def _slips_by_question(found: Sequence[Result]) -> dict[tuple[str, str], Counter]:
    slips: dict[tuple[str, str], Counter] = defaultdict(Counter)
    for result in found:
        slips[result.chapter, result.question].update(result.slips)
    return slips


def write_report(course: Course, chapters: Sequence[str] = ()) -> Path:
    """Write the class report into a new folder.

    Returns
    -------
    Path
        The folder, with `marks.csv` (a line a question), `totals.csv` (a line a
        learner), `skills.csv`, `slips.csv`, and `class.html` to read.
    """
    found = results(course, chapters)
    counted = [result for result in found if not result.practice]
    folder = new_folder(course, "class")
    _csv(
        folder / "marks.csv",
        ["id", "name", "chapter", "question", "mark", "out of", "waits for a mark by hand", "slips"],
        (
            (
                r.learner,
                r.name,
                r.chapter,
                r.question,
                round(r.mark, 2),
                r.out_of,
                "yes" if r.by_hand else "",
                "; ".join(r.slips),
            )
            for r in counted
        ),
    )
    _write_totals(folder / "totals.csv", found, course)
    _csv(
        folder / "skills.csv",
        ["id", "name", "chapter", "question", "practice", "skill", "mark", "out of"],
        (
            (r.learner, r.name, r.chapter, r.question, "yes" if r.practice else "", skill, got, of)
            for r in found
            for skill, (got, of) in r.skills.items()
        ),
    )
    slips = _slips_by_question(found)
    _csv(
        folder / "slips.csv",
        ["chapter", "question", "slip", "learners"],
        ((*key, slip, count) for key, counter in slips.items() for slip, count in counter.most_common()),
    )
    intake = course.intake.name
    write_whole(folder / "class.html", _page(f"Class report, intake {intake}", found, slips))
    return folder


def _lateness(course: Course, learner: str, chapters: Sequence[str]) -> str:
    """How late each chapter came, by the deadline of the intake it was handed out to."""
    said = []
    intakes = {intake.name: intake for intake in reversed(course.intakes())}
    for chapter in chapters:
        submitted = course.notebook("submitted", chapter, learner)
        moment = submitted.with_name("timestamp.txt")
        if not submitted.is_file() or not moment.is_file():
            continue
        try:
            sent = datetime.fromisoformat(moment.read_text("utf-8").strip()).astimezone().replace(tzinfo=None)
            stamp = stamp_of(json.loads(submitted.read_text("utf-8")).get("metadata"))
        except (ValueError, AttributeError):
            continue
        intake = intakes.get(stamp.intake, course.intake)
        if late := lateness(intake.deadline(chapter, learner), sent):
            said.append(f"{chapter}: {late}")
    return "; ".join(said)


def _write_totals(path: Path, found: Sequence[Result], course: Course) -> None:
    """A line a learner, of the class list or not: marks by chapter, and the share of marks by skill."""
    chapters = list(dict.fromkeys(result.chapter for result in found))
    skills = list(dict.fromkeys(skill for skill, _, _ in _skill_pairs(found)))
    listed = {each.identifier: each for each in class_list(course)}
    rows: list[list[object]] = []
    everybody = dict.fromkeys([*(result.learner for result in found), *listed])
    for learner in everybody:
        known = listed.get(learner)
        own = [result for result in found if result.learner == learner and not result.practice]
        if not own:
            if known:
                rows.append([learner, known.name, known.email, "", "", "nothing came"])
            continue
        by_chapter = _sums((r.chapter, r.mark, r.out_of) for r in own)
        by_skill = _sums(_skill_pairs(own))
        row: list[object] = [
            learner,
            own[0].name or (known.name if known else ""),
            known.email if known else "",
            round(sum(r.mark for r in own), 2),
            sum(r.out_of for r in own),
            _lateness(course, learner, chapters),
        ]
        row += [round(by_chapter[c][0], 2) if c in by_chapter else "" for c in chapters]
        row += [
            round(100 * by_skill[s][0] / by_skill[s][1]) if by_skill.get(s, (0, 0))[1] else "" for s in skills
        ]
        rows.append(row)
    _csv(
        path,
        ["id", "name", "email", "marks", "out of", "late", *chapters, *(f"{skill} %" for skill in skills)],
        rows,
    )


# --- the page ---------------------------------------------------------------------------

_STYLE = """
body { font: 1rem/1.5 system-ui, sans-serif; color: #111; max-width: 60em; margin: 2em auto; padding: 0 1em; }
table { border-collapse: collapse; margin: 0.5em 0 1.5em; }
caption { text-align: left; font-weight: bold; padding: 0.3em 0; }
th, td { border: 1px solid #999; padding: 0.2em 0.7em; text-align: left; vertical-align: top; }
td.number { text-align: right; white-space: nowrap; }
meter { width: 8em; }
@media print { table { break-inside: avoid; } }
"""


def _share(got: float, of: float) -> str:
    percent = round(100 * got / of) if of else 0
    return f'<td class="number">{percent} % <meter min="0" max="100" value="{percent}" aria-hidden="true"></meter></td>'


def _whole(found: Sequence[Result]) -> tuple[float, float]:
    counted = [result for result in found if not result.practice]
    return sum(r.mark for r in counted), sum(r.out_of for r in counted)


def _table(caption: str, header: Sequence[str], rows: Sequence[str]) -> str:
    if not rows:
        return ""
    head = "".join(f'<th scope="col">{escape(title)}</th>' for title in header)
    return f"<table><caption>{escape(caption)}</caption><tr>{head}</tr>{''.join(rows)}</table>"


def _page(title: str, found: Sequence[Result], slips: Mapping[tuple[str, str], Counter]) -> str:
    learners = list(dict.fromkeys(result.learner for result in found))
    counted = [result for result in found if not result.practice]
    waiting = sum(result.by_hand for result in found)
    questions = _sums(((r.chapter, r.question, r.practice), r.mark, r.out_of) for r in found)
    question_rows = []
    for (chapter, question, practice), (got, of) in questions.items():
        common = "; ".join(f"{slip} ({count})" for slip, count in slips[chapter, question].most_common(3))
        question_rows.append(
            f"<tr><td>{escape(chapter)}</td>"
            f"<td>{escape(question.removesuffix('-check'))}{' (practice)' if practice else ''}</td>"
            f"{_share(got, of)}<td>{escape(common)}</td></tr>"
        )
    skill_rows = [
        f"<tr><td>{escape(s)}</td>{_share(*sums)}</tr>" for s, sums in _sums(_skill_pairs(counted)).items()
    ]
    overall = sum(slips.values(), Counter())
    slip_rows = [
        f'<tr><td>{escape(slip)}</td><td class="number">{count}</td></tr>'
        for slip, count in overall.most_common()
    ]
    learner_rows = []
    for learner in learners:
        own = [result for result in found if result.learner == learner]
        habits = Counter(slip for result in own for slip in result.slips)
        shown = "; ".join(f"{slip} ({count})" for slip, count in habits.most_common(2))
        learner_rows.append(
            f"<tr><td>{escape(learner)}</td><td>{escape(own[0].name)}</td>"
            f"{_share(*_whole(own))}<td>{escape(shown)}</td></tr>"
        )
    hand = f"<p>{waiting} answers still wait for a mark by hand, in formgrader.</p>" if waiting else ""
    return f"""<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title><style>{_STYLE}</style></head>
<body><h1>{escape(title)}</h1>
<p>{len(learners)} learners, {len(counted)} answers with marks. A slip is the habit that explains a wrong answer; it is
named only where it does, in practice too. The figures are shares of the marks possible.</p>{hand}
{_table("Skills", ["Skill", "Marks"], skill_rows)}
{_table("Commonest slips", ["Slip", "Answers"], slip_rows)}
{_table("By question", ["Chapter", "Question", "Marks", "Commonest slips"], question_rows)}
{_table("By learner", ["Learner", "Name", "Marks", "Own slips"], learner_rows)}
</body></html>
"""
