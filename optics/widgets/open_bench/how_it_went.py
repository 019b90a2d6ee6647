"""How a ticket was: what was right, how far off, which habit explains it, as words for a page."""

from __future__ import annotations

from html import escape

from optics.marking.account import habit_told
from optics.marking.diagnosis import Diagnosis
from optics.marking.marks import PairMarks
from optics.progress.page import PAGE, states_in_words
from optics.progress.progress import Progress


def sentence_html(*sentences: str, fault: bool = False) -> str:
    """Sentences in a paragraph that a screen reader reads out."""
    mark = "border-left:4px dashed #d55e00;padding-left:0.5em;" if fault else ""
    return f'<p role="status" style="{PAGE};{mark}">{escape(" ".join(sentences))}</p>'


def outcome_html(marks: PairMarks, found: Diagnosis) -> str:
    """What was right, how far off, and the habit behind it.

    Parameters
    ----------
    marks : PairMarks
        How the ticket was marked.
    found : Diagnosis
        What explains it.
    """
    missed = marks.marks.missed
    right = [skill for skill in marks.marks.skills if skill not in missed]
    if not missed:
        head = "Right: everything on this ticket that is marked is what the pair is."
    else:
        head = f"{len(right)} of {len(marks.marks.skills)} right. Look again at: {', '.join(missed)}."
    parts = [f"<p><strong>{escape(head)}</strong></p>"]
    if right and missed:
        parts.append(f"<p>Right: {escape(', '.join(right))}.</p>")
    if marks.offs:
        rows = "".join(
            f"<li>{'✓' if off.right else '✗'} {escape(off.sentence)}</li>"
            for off in sorted(marks.offs, key=lambda off: off.right)
        )
        parts.append(
            f'<p>How far off, written less true:</p><ul style="list-style:none;margin:0 0 0.5em;padding-left:1em">{rows}</ul>'
        )
    if marks.missing:
        parts.append(f"<p>Not written: {escape(', '.join(marks.missing))}.</p>")
    parts += [f"<p>{escape(sentence)}</p>" for sentence in marks.remarks]
    if missed and found:
        names = ", ".join(found.names)
        told = " ".join((*habit_told(found.slips, tie=found.tie), found.tie)).rstrip()
        parts.append(f"<p><strong>Habit: {escape(names)}.</strong> {escape(told)}</p>")
    elif missed:
        parts.append("<p>No one habit explains all of it. Go through the replay and compare each number.</p>")
    if missed and found.seen:
        parts.append(f"<p>Your moves on the bench: {escape(' '.join(found.seen))}</p>")
    parts.append("<p>Beside the eyepiece above, the same pair is read again, step by step.</p>")
    return f'<div role="status" style="{PAGE}">{"".join(parts)}</div>'


def progress_html(progress: Progress, style: str, file_name: str) -> str:
    """Where each skill stands for one lens style."""
    told = states_in_words(progress.skills(style))
    if not told:
        return ""
    return (
        f'<p style="{PAGE}">Your skills with {escape(style)} pairs. {escape(told)} '
        f"This is kept in {escape(file_name)}, beside this notebook. It is yours: nobody marks it, and you may delete it.</p>"
    )
