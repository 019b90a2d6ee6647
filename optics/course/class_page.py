"""The page of a class that an instructor reads in a minute: whom to see first, and what to talk about."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from html import escape

import numpy as np

from optics.course.results import Result, skill_pairs, sums
from optics.drawing.class_spread import FEWEST, class_spread
from optics.marking.habits import CATALOGUE
from optics.marking.marks import SKILLS

__all__ = ["class_page", "question_rows", "tells_apart", "trend"]

MOST_FIRST = 8
"""Learners in the first table: as many as one sees in a week."""
MOST_QUESTIONS = 10
COMES_BACK = 3
"""So often a habit shows before it is a reason to see somebody."""
FEWEST_LEARNERS = 10
"""Below this, whether a question tells learners apart is chance."""
TELLS_LITTLE = 0.1

_STYLE = """
body { font: 1rem/1.4 system-ui, sans-serif; color: #111; max-width: 70em; margin: 2em auto; padding: 0 1em; }
table { border-collapse: collapse; margin: 0.5em 0 1.2em; }
caption { text-align: left; font-weight: bold; padding: 0.3em 0; }
th, td { border: 1px solid #999; padding: 0.1em 0.5em; text-align: left; vertical-align: top; }
td.number { text-align: right; } td.number, td.name { white-space: nowrap; }
td.s0 { background: #bbb; font-weight: bold; } td.s1 { background: #ddd; } td.s2 { background: #f2f2f2; }
@media print {
  @page { size: A4; margin: 12mm; }
  body { font-size: 8pt; line-height: 1.15; margin: 0; max-width: none; padding: 0; }
  h1 { font-size: 13pt; margin: 0; }
  thead { display: table-header-group; } tr, figure { break-inside: avoid; }
  td { -webkit-print-color-adjust: exact; print-color-adjust: exact; }
}
"""


# --- what is found in the results ------------------------------------------------------------


def trend(found: Sequence[Result], habit: str) -> str:
    """Whether a habit grows or shrinks over the chapters: its share of answers, later half against earlier.

    Parameters
    ----------
    found : sequence of Result
        Of one learner or of a class, practice included.
    habit : str
        Its name.

    Returns
    -------
    str
        "growing", "shrinking", "steady", or "" where one chapter, or fewer than three such
        answers, tell nothing. Half as much again, or two thirds, is taken for a change.
    """
    known = next((entry.where for entry in CATALOGUE if entry.name == habit), frozenset())
    # A habit of the bench does not shrink on paper: only answers in which it can show are counted.
    answered = [r for r in found if r.taken and (habit in r.slips or not known or r.where in known)]
    chapters = sorted({result.chapter for result in answered})
    if len(chapters) < 2 or sum(habit in result.slips for result in answered) < COMES_BACK:
        return ""
    middle = chapters[len(chapters) // 2]
    earlier, later = (
        [habit in result.slips for result in answered if (result.chapter < middle) is before]
        for before in (True, False)
    )
    was, now = sum(earlier) / len(earlier), sum(later) / len(later)
    return "growing" if now >= 1.5 * was else "shrinking" if now <= was * 2 / 3 else "steady"


def tells_apart(found: Sequence[Result]) -> dict[tuple[str, str], float]:
    """How well each question tells strong learners from weak: its marks against all others.

    The correlation over learners between the share earned on the question and the share earned
    on the rest of what was handed in, the corrected item-total correlation of test theory
    (common practice). Questions that fewer than ten learners handed in, or on which all
    earned the same, are left out.
    """
    counted = [result for result in found if not result.practice and result.out_of]
    whole = sums((result.learner, result.mark, result.out_of) for result in counted)
    pairs: dict[tuple[str, str], list[tuple[float, float]]] = defaultdict(list)
    for result in counted:
        got, of = whole[result.learner]
        if of > result.out_of:
            rest = (got - result.mark) / (of - result.out_of)
            pairs[result.chapter, result.question].append((result.mark / result.out_of, rest))
    said = {}
    for key, shares in pairs.items():
        own, rest = np.array(shares).T
        if len(shares) >= FEWEST_LEARNERS and own.std() > 1e-9 and rest.std() > 1e-9:
            said[key] = float(np.corrcoef(own, rest)[0, 1])
    return said


def question_rows(found: Sequence[Result]) -> list[dict[str, object]]:
    """Each question that is marked, with its share of marks, how it tells learners apart, and what went wrong in it.

    Returns
    -------
    list of dict
        `chapter`, `question`, `practice`, `learners`, `percent`, `tells apart` ("" where unknown),
        `wrong as typed` (answers that two or more gave, on paper) and `habits`.
    """
    apart = tells_apart(found)
    by_question: dict[tuple[str, str], list[Result]] = defaultdict(list)
    for result in found:
        if not result.by_hand:
            by_question[result.chapter, result.question].append(result)
    rows = []
    for key, own in by_question.items():
        ((got, of),) = sums((None, result.mark, result.out_of) for result in own).values()
        # Unknown pairs differ between learners; the same text there means nothing.
        typed = Counter(result.answer for result in own if result.wrong and result.answer and not result.offs)
        habits = Counter(slip for result in own for slip in result.slips)
        rows.append(
            {
                "chapter": key[0],
                "question": key[1].removesuffix("-check"),
                "practice": own[0].practice,
                "learners": len(own),
                "percent": round(100 * got / of) if of else "",
                "tells apart": round(apart[key], 2) if key in apart else "",
                "wrong as typed": _counted(
                    Counter({text: n for text, n in typed.items() if n > 1}), 3, quoted=True
                ),
                "habits": _counted(habits, 3),
            }
        )
    return rows


def _counted(counter: Counter[str], most: int, quoted: bool = False) -> str:
    mark = '"' if quoted else ""
    return "; ".join(f"{mark}{what}{mark} ({count})" for what, count in counter.most_common(most))


def _first(
    found: Mapping[str, Sequence[Result]], late: Mapping[str, Mapping[str, str]], chapters: Sequence[str]
) -> list[tuple[str, list[str]]]:
    """Whom to see, and why: what would harm first, then what is missing, then what comes back, then low marks."""
    ranked = []
    for learner, own in found.items():
        harmful = [f"{_short(r.chapter)} {r.question.removesuffix('-check')}" for r in own if r.harmful]
        missing = [_short(chapter) for chapter in chapters if all(r.chapter != chapter for r in own)]
        habits = [(count, habit) for habit, count in _habits(own).most_common(2) if count >= COMES_BACK]
        got, of = _whole(own)
        unexplained = sum(r.wrong and not r.slips for r in own)
        reasons = []
        if harmful:
            reasons.append(
                f"would harm as written: {', '.join(harmful[:3])}{' and more' * (len(harmful) > 3)}"
            )
        if missing:
            reasons.append("nothing came" if not own else f"missing: {', '.join(missing)}")
        reasons += [f"{habit}, {count} times{_after(trend(own, habit))}" for count, habit in habits]
        if of and got < of / 2:
            reasons.append(f"{100 * got / of:.0f} % of the marks")
        if unexplained >= COMES_BACK:
            reasons.append(f"{unexplained} wrong answers that no habit explains")
        if late[learner]:
            reasons.append("late: " + ", ".join(f"{_short(c)} by {how}" for c, how in late[learner].items()))
        worst = habits[0][0] if habits else 0
        share = got / of if of else 0.0
        if harmful or missing or habits or (of and share < 0.5) or unexplained >= COMES_BACK:
            ranked.append(((-len(harmful), -len(missing), -worst, share), learner, reasons))
    return [(learner, reasons) for _, learner, reasons in sorted(ranked)]


def _habits(own: Iterable[Result]) -> Counter[str]:
    return Counter(slip for result in own for slip in result.slips)


def _after(word: str) -> str:
    return f" ({word})" if word else ""


def _short(chapter: str) -> str:
    """The number of a chapter, which is what one says; its name where it has none."""
    number = chapter.partition("-")[0]
    return number if number.isdecimal() else chapter


def _whole(found: Sequence[Result]) -> tuple[float, float]:
    counted = [result for result in found if not result.practice]
    return sum(r.mark for r in counted), sum(r.out_of for r in counted)


# --- the page ----------------------------------------------------------------------------------


def _table(caption: str, header: Sequence[str], rows: Sequence[str]) -> str:
    if not rows:
        return ""
    head = "".join(f'<th scope="col">{escape(title)}</th>' for title in header)
    return (
        f"<table><caption>{escape(caption)}</caption><thead><tr>{head}</tr></thead>"
        f"<tbody>{''.join(rows)}</tbody></table>"
    )


def _name(name: str) -> str:
    return f'<td class="name">{escape(name)}</td>'


def _row(*cells: str) -> str:
    return f"<tr>{''.join(cell if cell.startswith('<td') else f'<td>{cell}</td>' for cell in cells)}</tr>"


def _share(got: float, of: float) -> str:
    if not of:
        return '<td class="number"></td>'
    percent = round(100 * got / of)
    # Darker is weaker, and the figure says it without the shade.
    shade = "s0" if percent < 50 else "s1" if percent < 70 else "s2" if percent < 90 else ""
    return f'<td class="number {shade}">{percent}</td>'


def _sentences(found: Sequence[Result], nothing_came: int, learners: int) -> str:
    counted = [result for result in found if not result.practice]
    wrong = [result for result in found if result.wrong]
    unexplained = sum(not result.slips for result in wrong)
    waiting = sum(result.by_hand for result in found)
    said = [f"{learners} learners, {len(counted)} answers with marks."]
    if nothing_came:
        said.append(f"Nothing came from {nothing_came}.")
    said.append(
        f"Of {len(wrong)} wrong answers, practice included, a habit explains {len(wrong) - unexplained}, "
        f"and nothing explains {unexplained}."
    )
    if waiting:
        said.append(f"{waiting} answers still wait for a mark by hand, in formgrader.")
    return " ".join(said)


def class_page(
    title: str,
    found: Sequence[Result],
    names: Mapping[str, str],
    late: Mapping[str, Mapping[str, str]],
) -> str:
    """The class report as a page of HTML, without links or scripts.

    Parameters
    ----------
    title : str
        Heading.
    found : sequence of Result
        Every question of every learner.
    names : dict of str to str
        Everybody's name by identifier, those from whom nothing came included.
    late : dict of str to dict
        By learner and chapter how late it came, where it did.

    Returns
    -------
    str
        What is known and no more: a learner's weakness is counted from the marks, a habit is named
        only where it explains an answer.
    """
    chapters = sorted({result.chapter for result in found})
    by_learner = {who: [result for result in found if result.learner == who] for who in names}
    first = _first(by_learner, late, chapters)
    present = {skill for skill, _, _ in skill_pairs([r for r in found if not r.practice])}
    skills = [skill for skill in (*SKILLS, *sorted(present - set(SKILLS))) if skill in present]
    learner_rows = []
    for who, own in by_learner.items():
        by_skill = sums(skill_pairs([result for result in own if not result.practice]))
        shown = "; ".join(
            f"{habit} ({count}){_after(trend(own, habit))}" for habit, count in _habits(own).most_common(2)
        )
        cells = (_share(*by_skill.get(skill, (0.0, 0.0))) for skill in skills)
        learner_rows.append(_row(escape(who), _name(names[who]), _share(*_whole(own)), *cells, escape(shown)))
    habit_rows = []
    for habit, count in _habits(found).most_common():
        theirs = [result for result in found if habit in result.slips]
        over = Counter(_short(result.chapter) for result in theirs)
        where = ", ".join(f"{chapter}: {times}" for chapter, times in sorted(over.items()))
        people = len({result.learner for result in theirs})
        habit_rows.append(
            _row(
                escape(f"{habit} ({count})"),
                f'<td class="number">{people}</td>',
                escape(where),
                trend(found, habit),
            )
        )
    asked = question_rows(found)
    worst = sorted(asked, key=lambda row: 101 if row["percent"] == "" else float(str(row["percent"])))
    talk = [
        _row(
            escape(_short(str(row["chapter"]))),
            escape(f"{row['question']}{' (practice)' if row['practice'] else ''}"),
            f'<td class="number">{row["percent"]}</td>',
            _apart(row["tells apart"]),
            escape(str(row["wrong as typed"])),
            escape(str(row["habits"])),
        )
        for row in worst[:MOST_QUESTIONS]
    ]
    errors = {
        names[who] or who: [amount for r in own for _, skill, amount in r.offs if skill == "sphere"]
        for who, own in by_learner.items()
    }
    plot = ""
    if any(len(each) >= FEWEST for each in errors.values()):
        plot = class_spread(errors)._repr_html_()
    more = f" The other {len(asked) - MOST_QUESTIONS} stand in questions.csv." * (len(asked) > MOST_QUESTIONS)
    return f"""<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title><style>{_STYLE}</style></head>
<body><h1>{escape(title)}</h1>
<p>{escape(_sentences(found, sum(not own for own in by_learner.values()), len(names)))}</p>
{_table("See first", ["Learner", "Name", "Why"], [_row(escape(who), _name(names[who]), escape("; ".join(why))) for who, why in first[:MOST_FIRST]])}
{f"<p>{len(first) - MOST_FIRST} more have a reason; it stands in their line below.</p>" if len(first) > MOST_FIRST else ""}
{_table("Learners by skill, % of the marks", ["Learner", "Name", "All", *skills, "Habits, with the answers they explain"], learner_rows)}
{_table("Habits of the class, practice included", ["Habit (answers)", "Learners", "By chapter", "Over the chapters"], habit_rows)}
{_table("Questions to talk about, hardest first", ["Chapter", "Question", "% of marks", "Tells apart", "Wrong, as typed", "Habits"], talk)}
<p>Tells apart: whether those who do well elsewhere do well here, from -1 to +1; near 0 or below it the question may be
unclear.{more}</p>
{plot}
</body></html>
"""


def _apart(value: object) -> str:
    if value == "":
        return '<td class="number"></td>'
    low = " (little)" if float(str(value)) < TELLS_LITTLE else ""
    return f'<td class="number">{float(str(value)):+.2f}{low}</td>'
