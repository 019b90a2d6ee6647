"""The page of a class that an instructor reads in a minute: whom to see first, and what to talk about."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from html import escape

from optics.course.class_findings import (
    after,
    counted,
    habits_of,
    question_rows,
    see_first,
    short,
    trend,
    whole,
)
from optics.course.results import Result, skill_pairs, sums
from optics.drawing.class_spread import FEWEST, class_spread
from optics.marking.marks import SKILLS

MOST_FIRST = 8
"""Learners in the first table: as many as one sees in a week."""
MOST_QUESTIONS = 10
TELLS_LITTLE = 0.1

_STYLE = """
body { font: 1rem/1.4 system-ui, sans-serif; color: #111; max-width: 70em; margin: 2em auto; padding: 0 1em; }
table { border-collapse: collapse; margin: 0.5em 0 1.2em; }
caption { text-align: left; font-weight: bold; padding: 0.3em 0; }
th, td { border: 1px solid #999; padding: 0.1em 0.5em; text-align: left; vertical-align: top; }
th.narrow { writing-mode: vertical-rl; white-space: nowrap; padding: 0.4em 0.1em; }
td.number { text-align: right; } td.number, td.name { white-space: nowrap; }
td.s0 { background: #bbb; font-weight: bold; } td.s1 { background: #ddd; } td.s2 { background: #f2f2f2; }
@media print {
  @page { size: A4; margin: 10mm; }
  body { font-size: 7.5pt; line-height: 1.1; margin: 0; max-width: none; padding: 0 1px 0 0; }
  h1 { font-size: 13pt; margin: 0; }
  table { margin: 0.2em 0 0.6em; } td, th { padding: 0 0.4em; } p { margin: 0.4em 0; }
  thead { display: table-header-group; } tr, figure { break-inside: avoid; }
  td { -webkit-print-color-adjust: exact; print-color-adjust: exact; }
}
"""


def _table(caption: str, header: Sequence[str], rows: Sequence[str], narrow: Collection[str] = ()) -> str:
    """A table with its caption; heads of narrow columns stand upright and leave the width to the words beside them."""
    if not rows:
        return ""
    kinds = [' class="narrow"' if title in narrow else "" for title in header]
    head = "".join(
        f'<th scope="col"{kind}>{escape(title)}</th>' for title, kind in zip(header, kinds, strict=True)
    )
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


def _sentences(found: Sequence[Result], learners: int) -> str:
    wrong = [result for result in found if result.wrong]
    unexplained = sum(not result.slips for result in wrong)
    waiting = sum(result.by_hand for result in found)
    said = [f"{learners} learners, {len(counted(found))} answers with marks."]
    said.append(
        f"Of {len(wrong)} wrong answer{'' if len(wrong) == 1 else 's'}, practice included, a habit explains {len(wrong) - unexplained}, "
        f"and nothing explains {unexplained}."
    )
    if empty := sum(result.empty for result in found):
        said.append(f"{empty} {'was' if empty == 1 else 'were'} left empty.")
    if waiting:
        said.append(
            f"{waiting} {'answer still waits' if waiting == 1 else 'answers still wait'} for a mark by hand, in formgrader."
        )
    return " ".join(said)


def _links(learner: str, moves: Mapping[tuple[str, str], str]) -> str:
    return " ".join(
        f'<a href="{escape(address, quote=True)}">{escape(short(chapter))}</a>'
        for (who, chapter), address in sorted(moves.items())
        if who == learner
    )


def _missing_and_late(
    by_learner: Mapping[str, Sequence[Result]],
    names: Mapping[str, str],
    late: Mapping[str, Mapping[str, str]],
    overdue: Mapping[str, Sequence[str]],
) -> list[str]:
    """A row for those from whom nothing came, then one for each chapter that some sent late or not at all."""

    def told(people: Sequence[str]) -> str:
        return escape(", ".join(people))

    nothing = [who for who, own in by_learner.items() if not own]
    rows = [_row("all", told([names[who] or who for who in nothing]), "")] if nothing else []
    for chapter in sorted({each for own in (*late.values(), *overdue.values()) for each in own}):
        missing = [names[who] or who for who, own in overdue.items() if chapter in own and who not in nothing]
        came_late = [f"{names[who] or who} by {own[chapter]}" for who, own in late.items() if chapter in own]
        if missing or came_late:
            rows.append(_row(escape(short(chapter)), told(missing), told(came_late)))
    return rows


def class_page(
    title: str,
    found: Sequence[Result],
    names: Mapping[str, str],
    late: Mapping[str, Mapping[str, str]],
    overdue: Mapping[str, Sequence[str]],
    moves: Mapping[tuple[str, str], str] | None = None,
    choices: str = "",
) -> str:
    """The class report as a page of HTML, without scripts.

    Parameters
    ----------
    title : str
        Heading.
    found : sequence of Result
        Every question of every learner.
    names : dict of str to str
        Everybody's name by identifier, those from whom nothing came included.
    late, overdue : dict
        As for `see_first`.
    moves : dict of (str, str) to str, optional
        By learner and chapter the address of the page that shows how the pairs were read.
    choices : str
        What the intake chose, in sentences.

    Returns
    -------
    str
        What is known and no more: a learner's weakness is counted from the marks, a habit is named
        only where it explains an answer.
    """
    by_learner: dict[str, list[Result]] = {who: [] for who in names}
    for result in found:
        by_learner[result.learner].append(result)
    first = see_first(by_learner, late, overdue)
    present = {skill for skill, _, _ in skill_pairs(counted(found))}
    skills = [skill for skill in (*SKILLS, *sorted(present - set(SKILLS))) if skill in present]
    learner_rows = []
    for who, own in by_learner.items():
        by_skill = sums(skill_pairs(counted(own)))
        shown = "; ".join(
            f"{habit} ({count}){after(trend(own, habit))}" for habit, count in habits_of(own).most_common(2)
        )
        cells = (_share(*by_skill.get(skill, (0.0, 0.0))) for skill in skills)
        row = [escape(who), _name(names[who]), _share(*whole(own)), *cells, escape(shown)]
        learner_rows.append(_row(*row, *([_links(who, moves)] if moves else [])))
    habit_rows = []
    for habit, count in habits_of(found).most_common():
        theirs = [result for result in found if habit in result.slips]
        over = Counter(short(result.chapter) for result in theirs)
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
            escape(short(str(row["chapter"]))),
            escape(f"{row['question']}{' (practice)' if row['practice'] else ''}"),
            f'<td class="number">{row["percent"]}</td>',
            _apart(row["tells apart"]),
            f'<td class="number">{row["left empty"]}</td>',
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
<p>{escape(_sentences(found, len(names)))}</p>{f"<p>{escape(choices)}</p>" if choices else ""}
{_table("See first", ["Learner", "Name", "Why"], [_row(escape(who), _name(names[who]), escape("; ".join(why))) for who, why in first[:MOST_FIRST]])}
{f"<p>{len(first) - MOST_FIRST} more have a reason: see-first.csv.</p>" if len(first) > MOST_FIRST else ""}
{_table("Missing and late", ["Chapter", "Missing", "Late"], _missing_and_late(by_learner, names, late, overdue))}
{_table("Learners by skill, % of the marks", ["Learner", "Name", "All", *skills, "Habits, with the answers they explain", *(["As it was read"] if moves else [])], learner_rows, skills)}
{_table("Habits of the class, practice included", ["Habit (answers)", "Learners", "By chapter", "Over the chapters"], habit_rows)}
{_table("Questions to talk about, hardest first", ["Chapter", "Question", "% of marks", "Tells apart", "Left empty", "Wrong, as typed", "Habits"], talk)}
<p>Where two habits lead to the same numbers, the one is counted that the learner's other answers show.
Tells apart: whether those who do well elsewhere do well here, from -1 to +1; near 0 or below it the question may be
unclear.{more}</p>
{plot}
</body></html>
"""


def _apart(value: object) -> str:
    if value == "":
        return '<td class="number"></td>'
    low = " (little)" if float(str(value)) < TELLS_LITTLE else ""
    return f'<td class="number">{float(str(value)):+.2f}{low}</td>'
