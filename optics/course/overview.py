"""The first screen of a feedback page: marks by skill, the habit, its twin, what to do next.

All of it comes from what the checks said, which stands in the marked notebook as data,
so that notebook, page and class report say the same in the same words.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from html import escape
from typing import Any

from nbgrader.utils import compute_checksum

from optics.marking.account import LOOK_AGAIN
from optics.marking.marks import SKILLS
from optics.marking.telling import last_word, skills_told


def _said(notebook: Any) -> Iterator[tuple[str, dict[str, Any]]]:
    """The last word of each check, with the name of its question."""
    for cell in notebook.cells:
        if found := last_word(cell):
            name = cell.metadata.get("nbgrader", {}).get("grade_id", "")
            yield name.removesuffix("-check").replace("-", " "), found


def overview(notebook: Any) -> str:
    """Marks by skill, the habit that cost most, and what to do next, as HTML without links or scripts.

    Parameters
    ----------
    notebook : NotebookNode
        A marked notebook.

    Returns
    -------
    str
        Empty where no check has said anything.
    """
    sums: dict[str, list[float]] = {}
    habits: Counter[tuple[str, ...]] = Counter()
    told: dict[tuple[str, ...], tuple[str, list[str]]] = {}
    harmful, empty, at_the_bench = [], [], False
    for name, data in _said(notebook):
        slips = tuple(map(str, data.get("slips", ())))
        if slips:
            habits[slips] += 1
            sentences = [str(sentence) for sentence in data.get("told", ())]
            # Best told where it stands alone and is worked through; otherwise where it showed first.
            if slips not in told or _plainness(sentences) > _plainness(told[slips][1]):
                told[slips] = name, sentences
        at_the_bench = at_the_bench or data.get("where") == "bench"
        if not data.get("counts"):
            continue
        harmful += [name] if "at most" in data else []
        empty += [name] if data.get("state") == "Not answered yet" else []
        for skill, (got, of) in skills_told(data).items():
            mine = sums.setdefault(skill, [0.0, 0.0])
            mine[0], mine[1] = mine[0] + got, mine[1] + of
    if not sums and not habits:
        return ""
    reasons = dict(_by_hand(notebook))
    empty += [name for name, written in reasons.items() if not written]
    parts = ["<div><h2>At a glance</h2>"]
    sums = {skill: sums[skill] for skill in (*SKILLS, *sorted(sums)) if skill in sums}
    if sums:
        parts.append(_table(sums))
    if harmful:
        parts.append(
            f"<p>As written this would hurt its wearer, so it earned at most half: {escape(', '.join(harmful))}.</p>"
        )
    if empty:
        parts.append(f"<p>Left empty: {escape(', '.join(empty))}.</p>")
    if habits:
        slips, times = habits.most_common(1)[0]
        name, sentences = told[slips]
        # Once is no habit yet.
        head, often = ("Your habit", f" It shows {times} times.") if times > 1 else ("Seen once", "")
        parts.append(f"<p><strong>{head}: {escape(', then '.join(slips))}.</strong>{often}</p>")
        first = [sentence for sentence in sentences if not sentence.startswith("Right so far")]
        parts.append(f"<p>{escape(name.capitalize())}: {escape(' '.join(first))}</p>" if first else "")
    step = _next(sums, "bench" if at_the_bench else "paper")
    if not step and empty:
        step = "what you wrote is right; answer what was left empty."
    elif not step and reasons:
        step = f"every line is right; see what your instructor gave for {', '.join(reasons)}."
    step = step or "everything that counts is right; go on to the next chapter."
    parts.append(f"<p><strong>Next:</strong> {escape(step)}</p></div>")
    return "".join(parts)


def _plainness(sentences: list[str]) -> tuple[bool, bool]:
    """Whether a reply stands without another that may as well be, and works the habit through."""
    return (
        not any("it could equally be" in sentence for sentence in sentences),
        any(sentence.startswith(("With this habit ", "With both ")) for sentence in sentences),
    )


def _by_hand(notebook: Any) -> Iterator[tuple[str, bool]]:
    """What is marked by hand, and whether anything was written there."""
    for cell in notebook.cells:
        entry = cell.metadata.get("nbgrader", {})
        if entry.get("grade") and entry.get("solution"):
            name = str(entry.get("grade_id", "")).replace("-", " ")
            yield name, entry.get("checksum") != compute_checksum(cell)


def _table(sums: dict[str, list[float]]) -> str:
    """One row of skills, one of what they earned; the percentage says what a bar would."""
    heads = "".join(f'<th scope="col">{escape(skill)}</th>' for skill in sums)
    cells = "".join(f"<td>{100.0 * got / of:.0f} %</td>" for got, of in sums.values() if of)
    return (
        "<table><caption>Marks by skill, of the questions that count</caption>"
        f"<thead><tr>{heads}</tr></thead><tbody><tr>{cells}</tr></tbody></table>"
    )


def _next(sums: dict[str, list[float]], where: str) -> str:
    """The weakest skill, and the step to look at again; nothing where all is right."""
    weakest = min(sums, key=lambda skill: sums[skill][0] / sums[skill][1], default="")
    if not weakest or sums[weakest][0] >= sums[weakest][1] - 1e-9:
        return ""
    step = LOOK_AGAIN[where].get(weakest, "")
    if weakest == "form":
        step = "write in the cylinder form that the question asks for."
    if weakest == "notation":
        step = "two decimals, the axis in three digits, every sign, DS behind a sphere."
    step = step.partition("yet: ")[2] or step
    return (
        f"{weakest}. {step[:1].upper()}{step[1:]}" if step else f"{weakest}: go through its questions below."
    )
