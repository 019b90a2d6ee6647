"""As it was read: the moves that a hand made on the bench, shown again as a line and as pictures.

They travel in the outputs of the notebook that was handed in. Marking puts them under
the question, so that they are seen in formgrader and on the feedback page; the report
links a page of its own for each chapter of each learner. No mark rests on them.
"""

from __future__ import annotations

import base64
import json
from html import escape
from pathlib import Path

import nbformat
from nbformat.notebooknode import NotebookNode

from optics.course.folder import Course, write_whole
from optics.course.looking_closer import lay_before
from optics.course.opening import load_notebook
from optics.errors import OpticsError
from optics.instrument.trace import BEGUN_LATE, THINNED, TRACE_MIME, Trace, traces_in
from optics.lens.lens import EMPTY
from optics.specimens.specimen import Specimen

MOST_QUESTIONS, MOST_PICTURES, MOST_ON_A_PAGE = 24, 24, 60
"""Of one notebook, of one question, and of the notebook again, so that whatever was handed in, marking is not held up."""
MOST_LETTERS = 6_000
"""Of the line of the work; a long one is cut there."""
PIXELS = 200
LARGEST = 50_000_000
FOLDER = "as it was read"
MARK = "as it was read"
"""In an output's metadata: it shows moves and is no reply."""
CAUTION = (
    "From the moves kept in the notebook. A notebook can be edited, so this is for looking and talking, "
    "and no mark rests on it."
)


def moves_kept(course: Course, learner: str, chapter: str) -> dict[str, Trace]:
    """The moves that were handed in with each question, by the id of its cell."""
    original = _as_it_came(course, learner, chapter)
    if original is None:
        return {}
    return dict(traces_in(json.loads(original.read_text("utf-8", "replace")), MOST_QUESTIONS))


def shown_again(
    course: Course, learner: str, chapter: str, kept: dict[str, Trace]
) -> dict[str, NotebookNode]:
    """An output for each question whose moves are kept, by the id of its cell."""
    before = lay_before(course, learner, chapter) if kept else None
    left, shown = MOST_ON_A_PAGE, {}
    for cell, trace in kept.items():
        letter = trace.pair.strip()
        pair = before[0].pair(letter, before[1]) if before and letter in before[0].briefs else None
        told, pictures = _told(trace, pair, min(left, MOST_PICTURES))
        left -= pictures
        html = f"<details><summary>As it was read{f', pair {escape(letter)}' if letter else ''}</summary>{told}</details>"
        shown[cell] = nbformat.v4.new_output(
            "display_data", data={"text/html": html}, metadata={"optics": MARK}
        )
    return shown


def page_of(course: Course, learner: str, chapter: str) -> Path | None:
    """The page of what was marked, written where it is not there yet; none where no moves were handed in."""
    marked = course.notebook("autograded", chapter, learner)
    if not marked.is_file() or MARK.encode() not in (data := marked.read_bytes()):
        return None
    page = _place(course, learner, chapter)
    if not page.is_file() or page.stat().st_mtime < marked.stat().st_mtime:
        shown = {
            cell["metadata"].get("nbgrader", {}).get("grade_id", ""): output
            for cell in json.loads(data)["cells"]
            for output in cell.get("outputs", ())
            if output.get("metadata", {}).get("optics") == MARK
        }
        _write(page, learner, chapter, shown)
    return page


def as_it_was_read(course: Course, learner: str, chapter: str) -> Path:
    """Write a page that shows how a learner read the pairs of a chapter, marked or not.

    Returns
    -------
    Path
        The page, under the course's reports.
    """
    (chapter,) = course.chosen([chapter], "release")
    shown = shown_again(course, learner, chapter, moves_kept(course, learner, chapter))
    if not shown:
        raise OpticsError(
            f"There are no moves kept in what came from {learner} for {chapter}.",
            "They lie in the outputs of the notebook as it was handed in, unless that was switched off or cleared.",
            "Ask the learner to show you at the bench.",
        )
    return _write(_place(course, learner, chapter), learner, chapter, shown)


def _place(course: Course, learner: str, chapter: str) -> Path:
    return course.root / "reports" / FOLDER / f"{learner}-{chapter}.html"


def _write(page: Path, learner: str, chapter: str, shown: dict[str, NotebookNode]) -> Path:
    title = f"{learner}, {chapter}: as it was read"
    parts = (
        f'<section id="{escape(cell)}"><h2>{escape(cell.removesuffix("-check"))}</h2>'
        f"{''.join(output['data']['text/html']).replace('<details>', '<details open>', 1)}</section>"
        for cell, output in shown.items()
    )
    write_whole(
        page,
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title>'
        "<style>body { font: 1rem/1.5 system-ui, sans-serif; max-width: 60em; margin: 2em auto; padding: 0 1em; }"
        " td { border: 1px solid #999; padding: 0.3em 0.7em; } table { border-collapse: collapse; }</style></head>"
        f"<body><h1>{escape(title)}</h1>{''.join(parts)}</body></html>\n",
    )
    return page


def _as_it_came(course: Course, learner: str, chapter: str) -> Path | None:
    """The file that is marked as it was handed in, moves and all; none where it holds no moves."""
    submitted = course.notebook("submitted", chapter, learner)
    if not submitted.is_file():
        return None
    came = [path for path in (course.root / "inbox" / learner / chapter).glob("*") if path.is_file()]
    stands = None
    # What came by an exchange lies in no inbox; there the submission still has its outputs.
    for path in (*sorted(came, key=lambda each: -each.stat().st_mtime), submitted):
        if path.stat().st_size > LARGEST or TRACE_MIME.encode() not in (data := path.read_bytes()):
            continue
        if path == submitted:
            return path
        stands = stands or _sources(submitted.read_bytes())
        if _sources(data) == stands:
            return path
    return None


def _sources(data: bytes) -> list[str]:
    return [cell.source for cell in load_notebook(data)[0].cells]


def _told(trace: Trace, pair: Specimen | None, most: int) -> tuple[str, int]:
    """The line of the work, and what stood in the eyepiece at each reading; and how many pictures that were."""
    seconds = trace.moves[-1].ms // 1000 if trace.moves else 0
    noted = [place for place, move in enumerate(trace.moves) if move.control == "noted"]
    # Who strikes a reading out, sets the eyepiece and reads again has set it first.
    first = next(iter(trace.noted), len(trace.moves))
    set_first = any(move.control == "eyepiece" for move in trace.moves[:first])
    turned = f"The eyepiece was {'turned' if set_first else 'not turned'}"
    said = [
        f"{len(trace.turns)} turns of a control in {seconds // 60} min {seconds % 60} s.",
        # Of what was done before the record began it knows nothing.
        f"{turned}{' before the first reading' if trace.noted else ''}."
        if set_first or not trace.late
        else "",
        f"{len(trace.noted)} reading{' was' if len(trace.noted) == 1 else 's were'} noted.",
        BEGUN_LATE if trace.late else "",
        THINNED if trace.thinned else "",
        "" if trace.whole else "There was no more room for the moves after these.",
    ]
    line = " → ".join(
        f"{trace.moves[made - 1].words} ({trace.moves[made - 1].ms // 1000} s)" for made in trace.turns
    )
    if len(line) > MOST_LETTERS:
        line = line[:MOST_LETTERS].rpartition(" → ")[0] + " …"
    wanted = (noted or list(trace.turns))[:most] if pair is not None else []
    rows = "".join(_picture(trace, pair, made) for made in wanted if pair is not None)
    table = f"<table>{rows}</table>" if rows else ""
    words = escape(" ".join(filter(None, said)))
    return f"<p>{words}</p><p>{escape(line)}</p>{table}<p><small>{CAUTION}</small></p>", len(wanted)


def _picture(trace: Trace, pair: Specimen, moves: int) -> str:
    """A row with the view in the eyepiece after so many moves, and how everything stood."""
    # Only where there is something to draw: these load Matplotlib, which marking does without.
    from optics.drawing import describe, style
    from optics.drawing.eyepiece import brightness_png

    stood, settings = trace.after(moves), trace.settings(moves)
    met = EMPTY
    if stood["aside"] != "yes":
        place = (float(stood["stage_x_mm"]), float(stood["stage_y_mm"]))
        met = pair.spectacles.over_stop(str(stood["lens"]), *place, str(stood["against"]))
    png = brightness_png(trace.picture(pair.spectacles, moves, PIXELS))
    noted = trace.moves[moves].value if moves < len(trace.moves) else ""
    words = [
        "right lens" if stood["lens"] == "R" else "left lens",
        f"{noted} lines noted" if noted in ("sphere", "cylinder") else "",
        f"drum {style.shown(settings.drum)}, wheel {style.degrees_shown(settings.wheel)}",
    ]
    alt = escape(describe.eyepiece(settings, met), quote=True)
    data = base64.b64encode(png).decode()
    return (
        f'<tr><td><img width="{PIXELS}" height="{PIXELS}" alt="{alt}" src="data:image/png;base64,{data}"></td>'
        f"<td>{'<br>'.join(escape(word) for word in words if word)}</td></tr>"
    )
