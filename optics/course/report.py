"""The class report: tables for a spreadsheet, and a page that an instructor reads in a minute."""

from __future__ import annotations

import json
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from urllib.parse import quote

from optics.course.as_it_was_read import page_of
from optics.course.choices import described
from optics.course.class_findings import question_rows, see_first
from optics.course.class_list import Learner, class_list
from optics.course.class_page import class_page
from optics.course.dates import lateness
from optics.course.feedback import new_folder
from optics.course.folder import Course, write_table, write_whole
from optics.course.handed_out import stamp_of
from optics.course.results import Result, results, skill_pairs, sums


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
        learner), `see-first.csv`, `questions.csv`, `skills.csv`, `slips.csv`, and `class.html` to read.
    """
    found = results(course, chapters)
    counted = [result for result in found if not result.practice]
    folder = new_folder(course, "class")
    write_table(
        folder / "marks.csv",
        [
            "id",
            "name",
            "chapter",
            "question",
            "mark",
            "out of",
            "waits for a mark by hand",
            "slips",
            "answer",
        ],
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
                r.answer,
            )
            for r in counted
        ),
    )
    chapters_came = list(dict.fromkeys(result.chapter for result in found))
    listed = {each.identifier: each for each in class_list(course)}
    everybody = {result.learner: result.name for result in found}
    everybody |= {who: each.name or everybody.get(who, "") for who, each in listed.items()}
    late = {who: _lateness(course, who, chapters_came) for who in everybody}
    _write_totals(folder / "totals.csv", found, listed, late)
    write_table(
        folder / "skills.csv",
        ["id", "name", "chapter", "question", "practice", "skill", "mark", "out of"],
        (
            (r.learner, r.name, r.chapter, r.question, "yes" if r.practice else "", skill, got, of)
            for r in found
            for skill, (got, of) in r.skills.items()
        ),
    )
    slips = _slips_by_question(found)
    write_table(
        folder / "slips.csv",
        ["chapter", "question", "slip", "learners"],
        ((*key, slip, count) for key, counter in slips.items() for slip, count in counter.most_common()),
    )
    overdue = _overdue(course, found, everybody)
    by_learner = {who: [result for result in found if result.learner == who] for who in everybody}
    write_table(
        folder / "see-first.csv",
        ["id", "name", "why"],
        ([who, everybody[who], "; ".join(why)] for who, why in see_first(by_learner, late, overdue)),
    )
    asked = question_rows(found)
    if asked:
        write_table(
            folder / "questions.csv",
            list(asked[0]),
            (
                ["yes" if cell is True else "" if cell is False else cell for cell in row.values()]
                for row in asked
            ),
        )
    title = f"Class report, intake {course.intake.name}"
    moves = {
        (who, chapter): quote(f"../{page.relative_to(folder.parent).as_posix()}")
        for who, chapter in sorted({(result.learner, result.chapter) for result in found})
        if (page := page_of(course, who, chapter))
    }
    write_whole(
        folder / "class.html",
        class_page(title, found, everybody, late, overdue, moves, described(course.intake)),
    )
    return folder


def _lateness(course: Course, learner: str, chapters: Sequence[str]) -> dict[str, str]:
    """How late each chapter came that did, by the deadline of the intake it was handed out to."""
    said = {}
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
            said[chapter] = late
    return said


def _overdue(course: Course, found: Sequence[Result], everybody: Iterable[str]) -> dict[str, list[str]]:
    """Chapters of the report and the intake that did not come from a learner, with no more time for them."""
    own = course.intake.chapters
    came = {(result.learner, result.chapter) for result in found}
    chapters = sorted({result.chapter for result in found if not own or result.chapter in own})
    now = datetime.now()
    said: dict[str, list[str]] = {}
    for who in everybody:
        for chapter in chapters:
            due = course.intake.deadline(chapter, who)
            if (who, chapter) not in came and (not due or datetime.fromisoformat(due) < now):
                said.setdefault(who, []).append(chapter)
    return said


def _write_totals(
    path: Path, found: Sequence[Result], listed: Mapping[str, Learner], late: Mapping[str, Mapping[str, str]]
) -> None:
    """A line a learner, of the class list or not: marks by chapter, and the share of marks by skill."""
    chapters = list(dict.fromkeys(result.chapter for result in found))
    skills = list(dict.fromkeys(skill for skill, _, _ in skill_pairs(found)))
    rows: list[list[object]] = []
    for learner, lateness_by_chapter in late.items():
        known = listed.get(learner)
        own = [result for result in found if result.learner == learner and not result.practice]
        if not own:
            if known:
                rows.append([learner, known.name, known.email, "", "", "nothing came"])
            continue
        by_chapter = sums((r.chapter, r.mark, r.out_of) for r in own)
        by_skill = sums(skill_pairs(own))
        row: list[object] = [
            learner,
            own[0].name or (known.name if known else ""),
            known.email if known else "",
            round(sum(r.mark for r in own), 2),
            sum(r.out_of for r in own),
            "; ".join(f"{chapter}: {how}" for chapter, how in lateness_by_chapter.items()),
        ]
        row += [round(by_chapter[c][0], 2) if c in by_chapter else "" for c in chapters]
        row += [
            round(100 * by_skill[s][0] / by_skill[s][1]) if by_skill.get(s, (0, 0))[1] else "" for s in skills
        ]
        rows.append(row)
    write_table(
        path,
        ["id", "name", "email", "marks", "out of", "late", *chapters, *(f"{skill} %" for skill in skills)],
        rows,
    )
