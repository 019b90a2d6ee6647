"""What the results of a class show: whom to see, how habits go, which questions tell learners apart."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from optics.course.results import Result, sums
from optics.marking.habits import CATALOGUE

COMES_BACK = 3
"""So often a habit shows before it is a reason to see somebody."""
CHANCE = 0.1
FEWEST_LEARNERS = 10
"""Below this, whether a question tells learners apart is chance."""


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
        answers, tell nothing. Half as much again, or two thirds, is taken for a change where so
        much would come of chance less than one time in ten (Fisher's exact test, one side);
        what may be chance is no change and no proof of none, and gets no word.
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
    if was * 2 / 3 < now < 1.5 * was:
        return "steady"
    if _chance(earlier, later) > CHANCE:
        return ""
    return "growing" if now > was else "shrinking"


def _chance(one: Sequence[bool], other: Sequence[bool]) -> float:
    """How often chance alone would part the answers with a habit at least as unevenly."""
    from scipy.stats import fisher_exact

    table = [[sum(each), len(each) - sum(each)] for each in (one, other)]
    return min(float(fisher_exact(table, alternative=side).pvalue) for side in ("less", "greater"))


def tells_apart(found: Sequence[Result]) -> dict[tuple[str, str], float]:
    """How well each question tells strong learners from weak: its marks against all others.

    The correlation over learners between the share earned on the question and the share earned
    on the rest of what was handed in, the corrected item-total correlation of test theory
    (common practice). Questions that fewer than ten learners handed in, or on which all
    earned the same, are left out.
    """
    marked = [result for result in counted(found) if result.out_of]
    everything = sums((result.learner, result.mark, result.out_of) for result in marked)
    pairs: dict[tuple[str, str], list[tuple[float, float]]] = defaultdict(list)
    for result in marked:
        got, of = everything[result.learner]
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
        `left empty`, `wrong as typed` (answers that two or more gave, on paper) and `habits`.
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
                "left empty": sum(result.empty for result in own) or "",
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


def see_first(
    found: Mapping[str, Sequence[Result]],
    late: Mapping[str, Mapping[str, str]],
    overdue: Mapping[str, Sequence[str]],
) -> list[tuple[str, list[str]]]:
    """Whom to see, and why: what would harm first, then what is overdue, then what comes back, then low marks.

    Parameters
    ----------
    found : dict of str to sequence of Result
        By learner.
    late, overdue : dict
        By learner how late each chapter came that did, and the chapters that should be here and are not.

    Returns
    -------
    list of (str, list of str)
        Learners who have a reason, with all their reasons. To have been late is none by itself.
    """
    ranked = []
    for learner, own in found.items():
        harmful = [
            f"{short(r.chapter)} {r.question.removesuffix('-check')}" for r in counted(own) if r.harmful
        ]
        missing = [short(chapter) for chapter in overdue.get(learner, ())]
        back = [(count, habit) for habit, count in habits_of(own).most_common(2) if count >= COMES_BACK]
        got, of = whole(own)
        unexplained = sum(r.wrong and not r.slips for r in own)
        reasons = []
        if harmful:
            reasons.append(
                f"would harm as written: {', '.join(harmful[:3])}{' and more' * (len(harmful) > 3)}"
            )
        if missing:
            reasons.append("nothing came" if not own else f"overdue: {', '.join(missing)}")
        reasons += [f"{habit}, {count} times{after(trend(own, habit))}" for count, habit in back]
        if of and got < of / 2:
            reasons.append(f"{100 * got / of:.0f} % of the marks")
        if unexplained >= COMES_BACK:
            reasons.append(f"{unexplained} wrong answers that no habit explains")
        if late.get(learner):
            reasons.append("late: " + ", ".join(f"{short(c)} by {how}" for c, how in late[learner].items()))
        worst = back[0][0] if back else 0
        share = got / of if of else 0.0
        if harmful or missing or back or (of and share < 0.5) or unexplained >= COMES_BACK:
            ranked.append(((-len(harmful), -len(missing), -worst, share), learner, reasons))
    return [(learner, reasons) for _, learner, reasons in sorted(ranked)]


def habits_of(own: Iterable[Result]) -> Counter[str]:
    """How many answers each habit explains."""
    return Counter(slip for result in own for slip in result.slips)


def after(word: str) -> str:
    """A word behind what it says, where there is one."""
    return f" ({word})" if word else ""


def short(chapter: str) -> str:
    """The number of a chapter, which is what one says; its name where it has none."""
    number = chapter.partition("-")[0]
    return number if number.isdecimal() else chapter


def whole(found: Sequence[Result]) -> tuple[float, float]:
    """Marks got and possible."""
    marked = counted(found)
    return sum(r.mark for r in marked), sum(r.out_of for r in marked)


def counted(found: Iterable[Result]) -> list[Result]:
    """Answers with marks: no practice, and none that still waits for a hand."""
    return [result for result in found if not result.practice and not result.by_hand]
