"""The first screen of a feedback page: marks by skill, the habit, its twin, what to do next.

All of it comes from what the checks said, which stands in the marked notebook as data,
so that notebook, page and class report say the same in the same words.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from html import escape
from typing import Any

from optics.marking.account import LOOK_AGAIN
from optics.marking.marks import SKILLS
from optics.marking.telling import MARKS_MIME

__all__ = ["overview"]


def _said(notebook: Any) -> Iterator[tuple[str, dict[str, Any]]]:
    """The last word of each check, with the name of its question."""
    for cell in notebook.cells:
        found = None
        for output in cell.get("outputs", ()):
            data = output.get("data", {}).get(MARKS_MIME)
            found = data if isinstance(data, dict) and data.get("skills") else found
        if found is not None:
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
    harmful, at_the_bench = [], False
    for name, data in _said(notebook):
        slips = tuple(map(str, data.get("slips", ())))
        if slips:
            habits[slips] += 1
            told.setdefault(slips, (name, [str(sentence) for sentence in data.get("told", ())]))
        at_the_bench = at_the_bench or data.get("where") == "bench"
        if not data.get("counts"):
            continue
        harmful += [name] if "at most" in data else []
        for skill, (got, of) in data["skills"].items():
            mine = sums.setdefault(str(skill), [0.0, 0.0])
            mine[0], mine[1] = mine[0] + float(got), mine[1] + float(of)
    if not sums and not habits:
        return ""
    parts = ["<div><h2>At a glance</h2>"]
    sums = {skill: sums[skill] for skill in (*SKILLS, *sorted(sums)) if skill in sums}
    if sums:
        parts.append(_table(sums))
    if harmful:
        parts.append(
            f"<p>As written this would hurt its wearer, so it earned at most half: {escape(', '.join(harmful))}.</p>"
        )
    if habits:
        slips, times = habits.most_common(1)[0]
        name, sentences = told[slips]
        often = f" It shows {times} times." if times > 1 else ""
        parts.append(f"<p><strong>Your habit: {escape(', then '.join(slips))}.</strong>{often}</p>")
        first = [sentence for sentence in sentences if not sentence.startswith("Right so far")]
        parts.append(f"<p>{escape(name.capitalize())}: {escape(' '.join(first))}</p>" if first else "")
    parts.append(
        f"<p><strong>Next:</strong> {escape(_next(sums, 'bench' if at_the_bench else 'paper'))}</p></div>"
    )
    return "".join(parts)


def _table(sums: dict[str, list[float]]) -> str:
    """One row of skills, one of what they earned; the percentage says what a bar would."""
    heads = "".join(f'<th scope="col">{escape(skill)}</th>' for skill in sums)
    cells = "".join(f"<td>{100.0 * got / of:.0f} %</td>" for got, of in sums.values() if of)
    return (
        "<table><caption>Marks by skill, of the questions that count</caption>"
        f"<thead><tr>{heads}</tr></thead><tbody><tr>{cells}</tr></tbody></table>"
    )


def _next(sums: dict[str, list[float]], where: str) -> str:
    """The weakest skill, and the step to look at again."""
    weakest = min(sums, key=lambda skill: sums[skill][0] / sums[skill][1], default="")
    if not weakest or sums[weakest][0] >= sums[weakest][1] - 1e-9:
        return "everything that counts is right; go on to the next chapter."
    step = LOOK_AGAIN[where].get(weakest, "")
    if weakest == "form":
        step = "write in the cylinder form that the question asks for."
    if weakest == "notation":
        step = "two decimals, the axis in three digits, every sign, DS behind a sphere."
    step = step.partition("yet: ")[2] or step
    return (
        f"{weakest}. {step[:1].upper()}{step[1:]}" if step else f"{weakest}: go through its questions below."
    )
