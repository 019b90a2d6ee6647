"""The words a notebook uses: one import, then a call in the trade's own terms.

Everything heavy is imported inside the functions, so that marking a class does
not load what it does not show.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from optics import checks as check
from optics.checks.typed import answer_in_sentences
from optics.errors import OpticsError

if TYPE_CHECKING:
    from pathlib import Path

    from optics.drawing.diagram import Diagram
    from optics.drawing.sheets import Sheet
    from optics.drawing.verdict_table import VerdictTable
    from optics.lens.power import Power
    from optics.lens.prescription import Prescription
    from optics.pair.records import PairRecord
    from optics.specimens.specimen import Specimen
    from optics.widgets.focimeter.bench import Bench
    from optics.widgets.open_bench.open_bench import OpenBench
    from optics.widgets.pair.front_view import PairView

__all__ = [
    "against_order",
    "at_the_line",
    "bench",
    "charts",
    "check",
    "compared",
    "crib",
    "crossed_line",
    "drum_readings",
    "eyepiece",
    "eyepiece_strip",
    "held",
    "homework",
    "in_the_corridor",
    "inked_places",
    "instrument",
    "my_marks",
    "my_progress",
    "my_spread",
    "open_bench",
    "own_ticket",
    "power_cross",
    "prentice",
    "prism",
    "progressive",
    "reading_form",
    "segment",
    "settling",
    "tilted",
    "tray",
    "two_readers",
    "wearer",
]


def bench(pair: str, learner: str, folder: str = ".", **options: Any) -> Bench | None:
    """The bench with the sealed pair that lies before this learner.

    Parameters
    ----------
    pair : str
        Letter of the pair.
    learner : str
        The name typed at the top of the chapter.
    folder : str
        The chapter's folder.
    **options
        Passed on to the bench: `chapter=5` shows only what has been introduced up to
        there, `eye_setting=0` has the eyepiece set already.

    Returns
    -------
    Bench or None
        None, with a sentence shown, while no name has been typed.

    Notes
    -----
    Running the cell again shows the same bench, with the readings on its pad.
    """
    from optics.specimens.sealed import open_pairs
    from optics.widgets.focimeter.bench import Bench

    if _nameless(learner):
        return None
    box = open_pairs(folder)
    seed = box.bench_seed(pair, learner)
    key = (str(seed), pair, learner, repr(sorted(options.items())))
    if key not in _benches:
        specimen = box.pair(pair, learner)
        options = {"zero_error": specimen.zero_error, **_introduced(options)}
        # A pair that came in bent or smeared is read as it lies on its tray, until it is put right.
        view = _tray_of(specimen, (str(seed), pair, learner)) if specimen.conditions else None
        made = view.spectacles if view else specimen.spectacles
        laid = _benches[key] = Bench(made, seed=seed, pair=pair, **options)
        if view:
            view.observe(lambda _change: laid.lay(view.spectacles), ("trued", "wiped"))
    return _benches[key]


def tray(pair: str, learner: str, folder: str = ".", *, chapter: int | None = None) -> PairView | None:
    """The sealed pair on its tray, as it came in: to look over, to true, to hold before the crossed line.

    Parameters
    ----------
    pair, learner, folder
        As for `bench`, which reads the same pair as it lies here.
    chapter : int, optional
        `chapter=8` shows only what has been introduced up to there.

    Returns
    -------
    PairView or None
        None, with a sentence shown, while no name has been typed.
    """
    from optics.specimens.sealed import open_pairs

    if _nameless(learner):
        return None
    box = open_pairs(folder)
    view = _tray_of(box.pair(pair, learner), (str(box.bench_seed(pair, learner)), pair, learner))
    if chapter is not None:
        view._parts = [part for part, first in _ON_THE_TRAY.items() if first <= chapter]
    return view


def _tray_of(specimen: Specimen, key: tuple[str, str, str]) -> PairView:
    from optics.widgets.pair.front_view import PairView

    # Two chapters may know a pair by one letter and seed.
    if key not in _trays or _trays[key]._pair != specimen.spectacles:
        _trays[key] = PairView(specimen.spectacles, specimen.frame, specimen.conditions)
    return _trays[key]


_trays: dict[tuple[str, str, str], PairView] = {}


_KNOWN: dict[int, tuple[str, ...]] = {
    0: ("stage",),
    3: ("stage", "eyepiece", "aside", "wheel"),
    4: ("stage", "eyepiece", "aside", "wheel", "pad"),
    7: ("stage", "lock", "eyepiece", "aside", "wheel", "pad", "compensator", "dot"),
    9: ("stage", "lock", "eyepiece", "aside", "wheel", "pad", "compensator", "dot", "side"),
}
"""What the chapters have introduced beside the drum, from each of these on."""


def _introduced(options: dict[str, Any]) -> dict[str, Any]:
    """Options of the bench, with `chapter` as the parts that it shows."""
    from optics.widgets.focimeter.bench import PARTS

    chapter = options.pop("chapter", None)
    if chapter is None:
        return options
    known = _KNOWN[max((first for first in _KNOWN if first <= chapter), default=0)]
    if "eyepiece" not in known:  # nobody can set what is not shown
        options.setdefault("eye_setting", 0)
    return {"parts": [part for part in PARTS if part in known], **options}


_ON_THE_TRAY = {"look": 8, "hand": 8, "true": 8, "rule": 9, "chart": 10}
"""The jobs of the tray, and the chapter that introduces each."""


_benches: dict[tuple[str, ...], Bench] = {}
_tables: dict[tuple[str, str], OpenBench] = {}


def open_bench(name: str = "", folder: str = ".", **options: Any) -> OpenBench:
    """The open bench: unknown pairs without end, to read and to ask about.

    Parameters
    ----------
    name : str
        A name of its own for a second bench in the same notebook.
    folder : str
        Where progress and what is typed are kept: beside the notebook.
    **options
        What is chosen first; see `optics.widgets.open_bench.open_bench.OpenBench`. With a
        `seed` a fresh bench is laid out.

    Notes
    -----
    Running the cell again shows the same bench, with what is typed on its ticket.
    """
    from pathlib import Path

    from optics.widgets.open_bench.open_bench import OpenBench

    key = (name, str(Path(folder).resolve()))
    if key not in _tables or options:
        _tables[key] = OpenBench(name=name, folder=folder, **options)
    return _tables[key]


def power_cross(lens: str | Prescription | Power, **options: Any) -> Diagram:
    """The power cross of a lens; see `optics.drawing.power_cross`."""
    from optics.drawing.power_cross import power_cross as draw

    return draw(lens, **options)


def eyepiece(lens: str, **options: Any) -> Diagram:
    """What the eyepiece shows of a lens; see `optics.drawing.eyepiece`."""
    from optics.drawing.eyepiece import eyepiece as draw

    return draw(lens, **options)


def prism(given: str, **options: Any) -> Diagram:
    """Prism on the eyepiece's rings; see `optics.drawing.prism_displacement`."""
    from optics.drawing.prism_displacement import prism_displacement as draw

    return draw(given, **options)


def prentice(lens: str, looked: str) -> Diagram:
    """A lens with its eye looked through beside its centre, "8 mm down"; see `optics.drawing.prentice`."""
    from optics.drawing.prentice import prentice as draw
    from optics.lens.parsing import parse, parse_place

    line = parse(lens)
    return draw(line, *parse_place(looked, line.eye or "R"))


def crossed_line(lens: str, **options: Any) -> Diagram:
    """The crossed line through a lens in the hand; see `optics.drawing.crossed_line`."""
    from optics.drawing.crossed_line import crossed_line as draw

    return draw(lens, **options)


def tilted(lens: str, degrees: float) -> None:
    """Say what a lens leaning on the stop shows: by Martin's formula, and traced through both surfaces.

    Parameters
    ----------
    lens : str
        A lens without cylinder, such as "-6.00 DS".
    degrees : float
        How far it leans about the horizontal.
    """
    from optics.lens.parsing import parse
    from optics.lens.power import Power
    from optics.lens.thick import ThickLens
    from optics.lens.tilt import Tilted, martin
    from optics.specimens.making import INDEX, usual_front_curve, usual_thickness_mm

    power = parse(lens).power
    sphere, cylinder = martin(power.mean, degrees, INDEX)
    front = Power.from_sphere_cylinder(usual_front_curve(power))
    square = ThickLens.made_to(power, front, usual_thickness_mm(power, 0.0, INDEX), INDEX)
    over = Tilted(lens=square, tilt_degrees=degrees, index=INDEX).over_stop(0.0, 0.0)
    form = "minus" if cylinder < 0 else "plus"
    traced, turned, axis = over.power.sphere_cylinder(form)
    _say(
        f"{lens} leaning by {degrees:g} degrees. By Martin's formula: {sphere:+.2f} {cylinder:+.2f} x 180. "
        f"Traced through both surfaces: {traced:+.2f} {turned:+.2f} x {axis:03.0f}.",
        state="For your information",
    )


def wearer(pair: str, learner: str, folder: str = ".") -> None:
    """Say where the wearer of an unknown pair looks through it, as the shop's record has it.

    Parameters
    ----------
    pair, learner, folder
        As for `bench`.
    """
    from optics.specimens.sealed import open_pairs
    from optics.specimens.steps import by_rule

    if _nameless(learner):
        return
    made = open_pairs(folder).pair(pair, learner).spectacles
    told = []
    for eye, name in (("R", "right"), ("L", "left")):
        # A record is kept as a rule gives it.
        x, y = map(by_rule, made.reference_point_mm(eye))
        level = f"{abs(y):g} mm {'above' if y > 0 else 'below'} the datum line" if y else "on the datum line"
        told.append(f"the {name} eye {abs(x):g} mm from the middle of the bridge and {level}")
    _say(f"From the record: {'; '.join(told)}.", state="For your information")


def eyepiece_strip(lens: str, drums: Sequence[float], **options: Any) -> Diagram:
    """The eyepiece as the drum or the wheel is turned; see `optics.drawing.eyepiece_strip`."""
    from optics.drawing.eyepiece import eyepiece_strip as draw

    return draw(lens, drums, **options)


def segment(lens: str, **measures: Any) -> Diagram:
    """A lined lens, "R +0.50 DS add +2.00", with its segment; measures as for `optics.lens.segment.Segment`."""
    from optics.drawing.lens_marks import multifocal_lens
    from optics.drawing.to_file import lined_of

    return multifocal_lens(lined_of(lens, **measures))


def progressive(lens: str, show: str = "marks") -> Diagram:
    """A progressive lens, "R +0.50 DS add +2.00": its "marks", or its "power" from place to place."""
    from optics.drawing.to_file import KINDS

    return KINDS["contours" if show == "power" else "progressive"].draw(lens)


def in_the_corridor(lens: str) -> Diagram:
    """The eyepiece half way down a progressive's corridor, the drum above, at and below the power there.

    Parameters
    ----------
    lens : str
        As for `progressive`.
    """
    from optics.drawing.eyepiece import eyepiece_strip as draw
    from optics.drawing.to_file import progressive_of

    made = progressive_of(lens)
    near = made.near_reference_point
    met = made.over_stop(near[0] / 2.0, (made.prism_reference_point[1] + near[1]) / 2.0, made.carried_by)
    power = float(met.read.mean)
    return draw(met, [power + 0.35, power, power - 0.35], wheel=180)


def inked_places(pair: str, learner: str, folder: str = ".", **options: Any) -> Any:
    """Buttons that bring an inked mark over the stop, once the pair is marked up on its tray.

    Parameters
    ----------
    pair, learner, folder, **options
        As for `bench`, whose stage they move.
    """
    from optics.widgets.open_bench.open_bench import InkedPlaces

    laid, view = bench(pair, learner, folder, **options), tray(pair, learner, folder)
    return None if laid is None or view is None else InkedPlaces(laid, view)


def at_the_line(lens: str, **measures: Any) -> Diagram:
    """The eyepiece with a segment's line across the stop: the drum at the distance, between, and at the near power.

    Parameters
    ----------
    lens, **measures
        As for `segment`.
    """
    from optics.drawing.describe import spoken
    from optics.drawing.diagram import Diagram
    from optics.drawing.eyepiece import eyepiece_strip as draw
    from optics.drawing.to_file import lined_of
    from optics.lens.parsing import parse

    made = lined_of(lens, **measures)
    far, add = float(made.power.mean), parse(lens).add or 0.0
    drums = (far, far + add / 2, far + add)
    drawn = draw(made.over_stop(*made.segment_top), drums, wheel=180)
    told = (
        "Three views in the eyepiece, the line of a segment across the stop."
        f" Drum {spoken(drums[0])}: one picture of the lines is sharp and another, lower down, is a blur."
        f" Drum {spoken(drums[1])}: both are blurred."
        f" Drum {spoken(drums[2])}: the lower picture is sharp and the upper one is a blur."
    )
    return Diagram(drawn.figure, told, title="Two pictures at the line")


def instrument(**options: Any) -> Diagram:
    """The focimeter with its parts named; see `optics.drawing.instrument`."""
    from optics.drawing.instrument import instrument as draw

    return draw(**options)


def settling(
    sphere_lines: float, cylinder_lines: float | None = None, wheel: float = 180, **options: Any
) -> Diagram:
    """One or two drum readings between their steps; see `optics.drawing.settling`."""
    from optics.drawing.settling import settling as draw
    from optics.lens.power import Power

    second = sphere_lines if cylinder_lines is None else cylinder_lines
    return draw(Power.from_line_readings(sphere_lines, second, wheel), **options)


def homework(
    tasks: str, count: int = 6, number: int = 1, *, lenses: str = "", file: str = "", **options: Any
) -> Sheet | None:
    """A homework sheet with its answers; see `optics.drawing.sheets.sheet`.

    Parameters
    ----------
    tasks : str
        What it asks; several with blanks between make a mixed sheet.
    count, number : int
        How many of each, and the number of the sheet.
    lenses : str
        Lenses of one's own instead, one to a line.
    file : str
        Where the sheet is saved, ending in .pdf, its answers beside it; nowhere where
        none is given.
    **options
        Title, shop and paper.

    Returns
    -------
    Sheet or None
        None, with a sentence shown, where it cannot be made.
    """
    from optics.drawing.sheets import lenses_in, sheet

    try:
        own = lenses_in(lenses) if lenses.strip() else None
        made = sheet(tasks.split(), count, number, lenses=own, **options)
        if file:
            questions, answers = made.save(file)
            _say(f"The sheet lies in {questions}, its answers in {answers}.", state="For your information")
    except OpticsError as error:
        _say(str(error), state="Not yet")
        return None
    return made


def crib(paper: str = "A4", file: str = "") -> Diagram | None:
    """The crib for the bench, its first page shown; see `optics.drawing.crib`.

    Parameters
    ----------
    paper : {"A4", "Letter"}
        What it is printed on.
    file : str
        Where both pages are saved, ending in .pdf; nowhere where none is given.
    """
    from optics.drawing.crib import crib as draw

    return _saved(lambda: draw(paper), "crib", file)


def charts(paper: str = "A4", file: str = "") -> Diagram | None:
    """The mark-up charts of the course's progressives, to print at true size.

    Parameters
    ----------
    paper, file
        As for `crib`.
    """
    from optics.drawing.mark_up_charts import mark_up_charts as draw

    return _saved(lambda: (draw(paper),), "page of charts", file)


def reading_form(paper: str = "A4", file: str = "", **options: Any) -> Diagram | None:
    """A form to print for reading a real pair; see `optics.drawing.reading_form`.

    Parameters
    ----------
    paper, file
        As for `crib`.
    **options
        The title.
    """
    from optics.drawing.reading_form import reading_form as draw

    return _saved(lambda: (draw(paper, **options),), "form", file)


def _saved(draw: Callable[[], Sequence[Diagram]], name: str, file: str) -> Diagram | None:
    """The first page of something to print, saved where a file is named."""
    from optics.drawing.diagram import bound, checked_target, written_to

    try:
        pages = draw()
        if file:
            saved = written_to(checked_target(file, (".pdf",)), bound(pages, pages[0].title))
            _say(f"The {name} lies in {saved}.", state="For your information")
    except OpticsError as error:
        _say(str(error), state="Not yet")
        return None
    return pages[0]


def my_spread(readings: str, known: str = "") -> Diagram | None:
    """Repeated readings of one real lens, one to a line; see `optics.drawing.spread`."""
    from optics.drawing.sheets import lenses_in
    from optics.drawing.spread import spread as draw
    from optics.instrument.repeats import spread as scatter

    def drawn() -> Sequence[Diagram]:
        lines = lenses_in(readings)
        picture = draw(lines, known or None)
        _say(scatter([line.power for line in lines]).sentence, state="For your information")
        return (picture,)

    return _saved(drawn, "picture", "")


def two_readers(first: str, second: str) -> Diagram | None:
    """The same real lenses read by two people, one to a line; see `optics.drawing.agreement`."""
    from optics.drawing.agreement import agreement as draw
    from optics.drawing.sheets import lenses_in
    from optics.instrument.repeats import agreement as differ

    def drawn() -> Sequence[Diagram]:
        one, other = lenses_in(first), lenses_in(second)
        picture = draw(one, other)
        _say(differ([a.power for a in one], [b.power for b in other]).sentence, state="For your information")
        return (picture,)

    return _saved(drawn, "picture", "")


ONE_PD, HEIGHT = (20.0, 45.0), (5.0, 45.0)
"""From the middle of the bridge to one centre, and over the lowest point of a lens, millimetres: what
spectacles have, from a child's to a large frame's (common practice)."""


def own_ticket(
    right: str = "",
    left: str = "",
    *,
    pd_right: str = "",
    pd_left: str = "",
    height_right: str = "",
    height_left: str = "",
    style: str = "",
    remarks: str = "",
    number: str = "",
    learner: str = "",
    **beside: str,
) -> Diagram | None:
    """The ticket of a real pair, to print; see `optics.drawing.job_ticket`.

    Addition and prism stand in the line of their lens, or `beside` it as on the ticket
    of a chapter: `add_right`, `add_left`, `prism_right`, `prism_left`.
    With the `number` of a practice pair and a name it is written to a small file as well,
    which the instructor marks with `python -m optics kit mark`.
    """
    import csv
    from pathlib import Path

    from optics.drawing.job_ticket import job_ticket as draw
    from optics.drawing.reading_form import PAIR_NUMBER
    from optics.lens.numbers import length_mm

    typed = {"right": right, "left": left}

    def handed() -> None:
        if not PAIR_NUMBER.fullmatch(number):
            raise OpticsError(
                "The number of the pair cannot be read.",
                "It has letters, figures and hyphens.",
                "Copy it from its label.",
            )
        if not all(text.strip() for text in (learner, *typed.values())):
            raise OpticsError(
                "A practice pair is marked from a name and both lenses.", "One is empty.", "Fill it in."
            )
        file, name = Path(f"pair-{number}.csv"), learner.strip()
        rows = []
        if file.is_file():
            with file.open(encoding="utf-8", newline="") as before:
                rows = list(csv.reader(before))[1:]
        # Another's ticket of the same pair is kept; one's own of before gives way.
        others = [row for row in rows if row and row[0] != name]
        heads = ("learner", "number", "right", "left")
        with file.open("w", encoding="utf-8", newline="") as out:
            csv.writer(out).writerows([heads, *others, (name, number, *typed.values())])
        again = " It takes the place of your ticket of before." if len(rows) > len(others) else ""
        _say(f"Hand {file} to your instructor, who has the powers.{again}", state="For your information")

    def measured(text: str, what: str, least: float, most: float) -> float | None:
        if not str(text).strip():
            return None
        value = length_mm(text, what)
        if not least <= value <= most:
            raise OpticsError(
                f"The {what} is {value:g} mm.",
                f"For one lens it lies between {least:g} and {most:g} mm.",
                "Measure it again, in millimetres.",
            )
        return value

    number = str(number).strip()

    def drawn() -> Sequence[Diagram]:
        typed.update(_with_beside(typed, beside))
        ticket = (
            draw(
                typed["right"] or None,
                typed["left"] or None,
                pd_mm=(measured(pd_right, "right PD", *ONE_PD), measured(pd_left, "left PD", *ONE_PD)),
                height_mm=(
                    measured(height_right, "right height", *HEIGHT),
                    measured(height_left, "left height", *HEIGHT),
                ),
                lens_style=style,
                remarks=remarks,
                job=number,
                headed="a real pair",
            ),
        )
        if number:
            handed()
        return ticket

    return _saved(drawn, "ticket", "")


def _with_beside(lines: Mapping[str, str], beside: Mapping[str, str]) -> dict[str, str]:
    """The lines that have an addition or a prism in a field of its own, each in one piece."""
    from dataclasses import replace

    from optics.lens.prism import EYES
    from optics.marking.read import field_name, fields_asked, read_answer

    fields = fields_asked(("add", "prism"))
    if unknown := [name for name in beside if name not in fields]:
        raise OpticsError(
            f'This ticket has no "{unknown[0]}".',
            f"Beside what stands in its cell it takes {', '.join(fields)}.",
            "Mend the name, or write it under remarks.",
        )
    told = {name: text for name, text in beside.items() if str(text).strip()}
    ticket = read_answer({**lines, **told})
    whole = {}
    for eye, side in EYES.items():
        here = [name for name in told if name.endswith(side)]
        for name in (side, *here) if here else ():
            if name in ticket.refused:
                raise ticket.refused[name]
        line = ticket.of(eye).line
        if here and line is None:
            raise OpticsError(
                f"There is a {field_name(here[0])} and no {side} line.",
                "It belongs to the power of its lens.",
                f"Write the {side} line too.",
            )
        if here and line is not None:
            whole[side] = str(replace(line, eye=None))
    return whole


def drum_readings(rows: Mapping[str, Sequence[float | str]], known: float | None = None) -> Diagram | None:
    """Repeated drum readings on a number line; see `optics.drawing.drum_readings`.

    Readings may be text as a learner typed it. None, with a sentence shown, while
    there are none.
    """
    from optics.drawing.drum_readings import drum_readings as draw
    from optics.lens.numbers import power_of
    from optics.marking.replies import unanswered

    try:
        typed = {
            words: [power_of(v) if isinstance(v, str) else v for v in values if not unanswered(v)]
            for words, values in rows.items()
        }
    except OpticsError as error:
        _say(str(error), state="Not yet")
        return None
    if not all(typed.values()):
        _say("Type your readings between the quotes and run that cell, then this one.")
        return None
    return draw(typed, known)


def against_order(
    *,
    order: str,
    found: str | Sequence[str],
    order_mm: float,
    found_mm: float | str,
    standard: str = "ANSI Z80.1-2015",
) -> VerdictTable | None:
    """A pair held against its order, row by row of a published table.

    Parameters
    ----------
    order : str
        Right and left, for example `"R -2.00 DS; L +1.25 -0.50 x 090"`.
    found : str or (str, str)
        What was read: right and left, in one text or in two; "no prism" where there was
        none, because silence means that nobody looked.
    order_mm, found_mm : float
        Distance between the centres, millimetres.
    standard : str
        Name of the table.

    Returns
    -------
    VerdictTable or None
        None, with a sentence shown, while nothing was read.
    """
    from optics.drawing.verdict_table import VerdictTable
    from optics.judging.standards import load
    from optics.judging.verify import verify
    from optics.lens.numbers import length_mm
    from optics.marking.replies import unanswered

    if any(unanswered(part) for part in ([found] if isinstance(found, str) else [*found, found_mm])):
        distance = " and the distance" * (isinstance(found_mm, str))
        _say(f"Write both lenses{distance} first and run that cell, then this one.")
        return None

    try:
        read = _on_paper(found, length_mm(found_mm))
    except OpticsError as error:
        _say(str(error), state="Not yet")
        return None
    return VerdictTable(verify(load(standard), _on_paper(order, order_mm), read))


def _on_paper(text: str | Sequence[str], both_mm: float | None = None) -> PairRecord:
    """A pair as it stands on paper, right and left in one text or in two."""
    from optics.lens.parsing import parse, parse_pair
    from optics.pair.records import LensRecord, PairRecord

    lines = parse_pair(text) if isinstance(text, str) else [parse(line) for line in text]
    right, left = (LensRecord(line=line, pd_mm=both_mm and both_mm / 2) for line in lines)
    return PairRecord(right=right, left=left)


def my_progress(folder: str = ".") -> None:
    """Skills by chapter and at the open bench, what to do next, and one's own lean over time.

    Parameters
    ----------
    folder : str
        The workbook's folder, in which the chapters' folders lie.
    """
    from pathlib import Path

    from IPython.display import HTML, display

    from optics.drawing.spread import mean_powers
    from optics.lens.power import Power
    from optics.progress.file import PROGRESS_FILE, read_progress
    from optics.progress.page import progress_page

    root = Path(folder)
    progress, told = read_progress(root / PROGRESS_FILE)
    chapters = sorted(
        path.parent.name for path in root.glob("[0-9][0-9]-*/*.ipynb") if path.stem == path.parent.name
    )
    display(HTML(progress_page(progress, chapters, told)))
    apart = [power for _, _, power in progress.differences()]
    if len(apart) > 1:
        display(mean_powers(apart, Power.from_sphere_cylinder(0.0), "written less the lens, D"))


def my_marks() -> None:
    """Say the marks of this chapter as it was last saved: practice, and what else may be told.

    Somebody who learns alone is told the marks of the unknown pairs too.
    """
    import os
    import subprocess
    import sys
    from datetime import datetime
    from importlib.util import find_spec
    from pathlib import Path

    from optics.marking.telling import Reply, tell

    here = Path.cwd()
    # JupyterLab tells a kernel for which notebook it runs.
    name = Path(os.environ.get("JPY_SESSION_NAME", "")).name
    file = here / name if name.endswith(".ipynb") else here / f"{here.name}.ipynb"
    if not file.is_file():
        _say(f"There is no chapter saved in {here}. Save it, and run this cell again.", state="Not yet")
        return
    if "### BEGIN SOLUTION" in file.read_text("utf-8", errors="replace"):
        _say("This is the chapter's source, with its solutions: what is handed out is marked.")
        return
    saved = f"As you last saved it, at {datetime.fromtimestamp(file.stat().st_mtime):%H:%M}:"
    if find_spec("optics.course.self_study") is None:  # a learner's copy for a class marks nothing
        tell(Reply(state="Marked", sentences=(saved, *_practice_in(file))))
        return
    # Marking runs by itself, so that nothing in this notebook can disturb it.
    done = subprocess.run(
        [sys.executable, "-m", "optics", "mark-mine", "--no-page", str(file)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=os.environ | {"PYTHONIOENCODING": "utf-8"},
        check=False,
    )
    sentences = (saved, *(done.stdout if done.returncode == 0 else done.stderr).splitlines())
    tell(Reply(state="Marked" if done.returncode == 0 else "Not yet", sentences=sentences))


def _stands(states: Collection[str | None]) -> bool | str | None:
    """Whether a check said right; None where it was not run, or found nothing to say it of; `NO_NAME`."""
    from optics.marking.telling import NO_NAME

    if NO_NAME in states:
        return NO_NAME
    return "Right" in states or (False if set(states) - {None, "Not answered yet"} else None)


def _practice_in(file: Path) -> tuple[str, ...]:
    """How practice stands, from what the checks of a saved chapter said."""
    import json

    from optics.marking.telling import LATER, MARKS_MIME, so_far

    try:
        cells = json.loads(file.read_text("utf-8"))["cells"]
        rights = {
            cell["metadata"]["nbgrader"]["grade_id"]: _stands(
                {output.get("data", {}).get(MARKS_MIME, {}).get("state") for output in cell["outputs"]}
            )
            for cell in cells
            if cell["cell_type"] == "code"
            and "check." in "".join(cell["source"])
            and not cell["metadata"].get("nbgrader", {"grade": True})["grade"]
        }
    except (ValueError, KeyError, TypeError, AttributeError):
        return ("The saved chapter cannot be read.", LATER)
    return so_far(rights), LATER


def held(ticket: Mapping[str, str], pair: str, learner: str, folder: str = ".") -> VerdictTable | None:
    """One's own ticket held against the order of the pair, row by row: read first, look afterwards.

    Parameters
    ----------
    ticket : mapping of str to str
        As it was typed; the order is not shown before it has both lenses.
    pair, learner, folder
        As for `bench`.

    Returns
    -------
    VerdictTable or None
        None, with a sentence shown, while a line is missing.
    """
    from optics.drawing.verdict_table import VerdictTable
    from optics.judging.standards import load
    from optics.judging.verify import verify
    from optics.marking.read import read_answer
    from optics.specimens.sealed import open_pairs

    if _nameless(learner):
        return None
    try:
        found = read_answer(ticket).record()
    except OpticsError as error:
        _say(str(error))
        return None
    made = open_pairs(folder).pair(pair, learner)
    order = made.order
    told = [f"{name}: {order.of(eye).line}" for eye, name in (("R", "Right"), ("L", "left"))]
    words = f"Ordered. {'; '.join(told)}. Prism that is not written was not ordered."
    _say(words, state="For your information")
    return VerdictTable(verify(load(made.brief.table), made.order, found))


def compared(old: str, new: str, standard: str = "ANSI Z80.1-2015") -> None:
    """An old pair beside a new one, both as they were read: where to begin.

    Parameters
    ----------
    old, new : str
        Right and left of each, as `practice_bench` takes them.
    standard : str
        The table that serves as the yardstick.
    """
    from optics.judging.compare import compare
    from optics.judging.standards import load

    found = compare(load(standard), _on_paper(old), _on_paper(new))
    _say(
        " ".join([*(each.sentence for each in found.deciding), found.sentence]), state="For your information"
    )


def _nameless(learner: object) -> bool:
    """Whether no name was typed yet, which is then said: it decides which pair lies on the bench."""
    from optics.checks.bench import NAME_FIRST

    nameless = not isinstance(learner, str) or not learner.strip()
    if nameless:
        _say(f"{NAME_FIRST} Run that cell, then this one.")
    return nameless


def _say(sentence: str, state: str = "Not answered yet") -> None:
    from optics.marking.telling import Reply, tell

    tell(Reply(state=state, sentences=(sentence,)))


answer_in_sentences()
