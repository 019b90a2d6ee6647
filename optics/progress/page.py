"""One's own progress as a page: skills by chapter and at the open bench, and what to do next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape

from optics.progress.progress import DONE, NOT_YET, ONCE, TRY_AGAIN, Progress, own_spread
from optics.specimens.briefs import STYLES

PAGE = "max-width:44em;line-height:1.4;font-size:max(15px, var(--jp-content-font-size1, 15px))"
"""How words stand on the page, as large as those of the panels."""
WORDS = {
    DONE: "right twice in a row",
    ONCE: "right once, one more makes sure",
    TRY_AGAIN: "to be tried again",
}
ENOUGH = 4
"""So many lenses before one's own lean is spoken of."""
SMALL_LEAN = 0.06
"""A mean difference below this is no lean that a focimeter could show, dioptres."""


def states_in_words(states: Mapping[str, str], words: Mapping[str, str] = WORDS) -> str:
    """Skills grouped by where they stand; empty where none was asked for."""
    groups = {
        said: ", ".join(skill for skill, state in states.items() if state == wanted)
        for wanted, said in words.items()
    }
    told = ". ".join(f"{said}: {skills}" for said, skills in groups.items() if skills)
    return f"{told[:1].upper()}{told[1:]}." if told else ""


def next_step(progress: Progress, chapters: Sequence[str]) -> str:
    """What to do next, in one sentence.

    Parameters
    ----------
    progress : Progress
        What was done.
    chapters : sequence of str
        Names of the workbook's chapters, in order.
    """
    if not chapters:
        return "No chapters lie here: open this page from the workbook's own folder."
    begun = [name for name in chapters if name in progress.chapters]
    for name in begun:
        again = [skill for skill, state in progress.chapters[name].states.items() if state == TRY_AGAIN]
        if again:
            return f"Go back to {title(name)}: {', '.join(again)}."
    ahead = [name for name in chapters if name not in progress.chapters]
    if ahead:
        return f"Go on with {title(ahead[0])}; its last cell says your marks."
    return "Every chapter is done. The open bench has pairs without end."


def title(chapter: str) -> str:
    """A chapter's folder as it is said: "05-reading-a-cylinder" is chapter 5, reading a cylinder."""
    number, _, words = chapter.partition("-")
    return f"chapter {int(number)}, {words.replace('-', ' ')}" if number.isdigit() else chapter


def progress_page(progress: Progress, chapters: Sequence[str], told: Sequence[str] = ()) -> str:
    """The page as HTML.

    Parameters
    ----------
    progress : Progress
        What was done.
    chapters : sequence of str
        Names of the workbook's chapters, in order.
    told : sequence of str
        What else there is to tell, such as a file that was set aside.
    """
    parts = [f"<p><b>What to do next.</b> {escape(next_step(progress, chapters))}</p>"]
    parts += [f"<p>{escape(sentence)}</p>" for sentence in told]
    rows = []
    for name in chapters:
        done = progress.chapters.get(name)
        states = done.states if done else {}
        cells = [title(name)] + [
            ", ".join(s for s, state in states.items() if state == wanted) for wanted in (DONE, TRY_AGAIN)
        ]
        if not done:
            cells[1] = NOT_YET
        rows.append("".join(f"<td style='text-align:left'>{escape(cell)}</td>" for cell in cells))
    heads = "".join(f"<th style='text-align:left'>{head}</th>" for head in ("chapter", DONE, TRY_AGAIN))
    body = "".join(f"<tr>{row}</tr>" for row in rows)
    parts.append(f"<table><thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table>")
    for style in STYLES:
        words = states_in_words(progress.skills(style))
        if words:
            parts.append(f"<p><b>Open bench, {escape(style)}.</b> {escape(words)}</p>")
    parts += [f"<p>{escape(sentence)}</p>" for sentence in (_lean(progress), _habits(progress)) if sentence]
    return f'<div style="{PAGE}">{"".join(parts)}</div>'


def _lean(progress: Progress) -> str:
    """How one's own readings lie beside the lenses, as far as they tell."""
    found = own_spread(progress)
    if found is None or found.count < ENOUGH:
        return ""
    mean = float(found.mean.mean)
    lean = (
        "they lean to neither side"
        if abs(mean) < SMALL_LEAN
        else f"on the whole they lean {abs(mean):.2f} D to {'plus' if mean > 0 else 'minus'}: look at the "
        "eyepiece and at zero"
    )
    return (
        f"Of {found.count} lenses read on the open bench, 95 of 100 lie within {1.96 * found.deviation[0]:.2f} D "
        f"of your own mean, and {lean}."
    )


def _habits(progress: Progress) -> str:
    counts = dict(progress.habits())
    for chapter in progress.chapters.values():
        for name in chapter.slips:
            counts[name] = counts.get(name, 0) + 1
    often = [name for name, count in sorted(counts.items(), key=lambda each: -each[1]) if count > 1]
    return f"Met more than once: {', '.join(often[:3])}." if often else ""
