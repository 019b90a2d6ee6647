"""The open bench: one unknown pair after another, from choosing it to hearing how it went.

It puts together what is on the table: the pair on its tray, the focimeter and the
ticket. There is one pair and one truth: whoever trues the frame on the tray has
trued it on the stage.
"""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Any

import ipywidgets as widgets
import numpy as np
import traitlets

from optics.errors import OpticsError
from optics.instrument.trace import TRAY
from optics.lens.lens import BACK, FRONT
from optics.lens.prism import EYES
from optics.marking.diagnosis import Diagnosis, diagnose
from optics.marking.marks import mark_pair
from optics.progress.file import PROGRESS_FILE, note, read_progress
from optics.progress.progress import entry_of, next_difficulty
from optics.specimens.briefs import (
    CONDITIONS,
    DIFFICULTIES,
    PROGRESSIVE,
    STYLES,
    ZERO_ERROR,
    Brief,
    brief_for,
)
from optics.specimens.old_pair import old_pair
from optics.specimens.specimen import Specimen, make
from optics.specimens.steps import READ_PRISM, by_rule
from optics.widgets.focimeter.bench import STAGE_FAR_MM, STAGE_HEIGHT_MM, STAGE_NEAR_MM, Bench
from optics.widgets.open_bench.draft import keep_draft, kept_draft
from optics.widgets.open_bench.errand import COMPARE, ERRANDS, IDENTIFY, OLD, VERIFY, ErrandPanel
from optics.widgets.open_bench.how_it_went import outcome_html, progress_html, sentence_html
from optics.widgets.open_bench.replay_panel import ReplayPanel
from optics.widgets.pair.front_view import PairView
from optics.widgets.ticket.fields import read_fields
from optics.widgets.ticket.ticket import Ticket

FOLLOWS_ME, AS_IT_COMES = "follows me", "as it comes"
FAULTS = (AS_IT_COMES, "none", "often", ZERO_ERROR)
STRONGEST = (AS_IT_COMES, 2.0, 4.0, 6.0, 9.0, 12.0)
MARKS = {
    "distance": "Distance circle",
    "prism": "Prism reference point",
    "near": "Near circle",
}


class InkedPlaces(widgets.HBox):
    """Buttons that bring a mark over the stop, once the lens that lies there has it in ink.

    Parameters
    ----------
    bench : Bench
        Whose stage they move.
    view : PairView
        The tray on which the pair is marked up: the marks stand where they were put.
    noted : mapping of eye to (float, float), optional
        Where the wearer looks through, as the job says: it serves as the prism reference
        point of lenses that have none in ink.

    Attributes
    ----------
    buttons : dict of str to Button
        By the part that they bring.
    """

    def __init__(
        self, bench: Bench, view: PairView, noted: Mapping[str, tuple[float, float]] | None = None
    ) -> None:
        self._bench, self._view, self._noted = bench, view, dict(noted or {})
        self.buttons = {
            part: widgets.Button(description=text, layout=widgets.Layout(width="auto"))
            for part, text in MARKS.items()
        }
        row = widgets.Layout(flex_flow="row wrap", grid_gap="0.5em", align_items="center")
        words = widgets.HTML("Bring over the stop, once it is marked up:")
        super().__init__([words, *self.buttons.values()], layout=row)
        for part, each in self.buttons.items():
            each.on_click(lambda _button, part=part: self.bring(part))
        view.observe(lambda _change: self._show(), "inked")
        bench.beside(view, TRAY)
        bench.observe(lambda _change: self._show(), "lens")
        self._show()

    def _place(self, part: str) -> tuple[float, float] | None:
        place = self._view.ink_mm(self._bench.lens, part)
        return self._noted.get(self._bench.lens) if place is None and part == "prism" else place

    def _show(self) -> None:
        for part, each in self.buttons.items():
            each.disabled = self._place(part) is None

    def bring(self, part: str) -> None:
        """Bring a mark of the lens that lies over the stop to the middle of the stop."""
        place = self._place(part)
        if place is None:
            return
        with self._bench.hold_sync():
            away = float(np.clip(abs(place[0]), STAGE_NEAR_MM, STAGE_FAR_MM))
            self._bench.stage_x_mm = round(float(np.copysign(away, place[0])), 1)
            self._bench.stage_y_mm = round(float(np.clip(place[1], -STAGE_HEIGHT_MM, STAGE_HEIGHT_MM)), 1)


def brief_of(
    style: str, difficulty: int, seed: int, strongest: float | str = AS_IT_COMES, faults: str = AS_IT_COMES
) -> Brief:
    """The brief for what was chosen.

    Parameters
    ----------
    style, difficulty, seed
        As `brief_for` takes them.
    strongest : float or "as it comes"
        Strongest power, dioptres, in place of what goes with the difficulty.
    faults : {"as it comes", "none", "often", "zero error"}
        How often the pair is badly made, bent or smeared; or a good pair on an
        instrument that does not stand at zero.

    Examples
    --------
    >>> brief_of("bifocal", 1, seed=3, strongest=2.0).strongest
    2.0
    """
    brief = brief_for(style, difficulty, seed)
    if strongest != AS_IT_COMES:
        brief = replace(brief, strongest=float(strongest))
    if faults in ("none", ZERO_ERROR):
        brief = replace(brief, faulty=0.0, condition=(), fault=ZERO_ERROR if faults == ZERO_ERROR else "")
    elif faults == "often":
        chance = Random(f"often {seed}")
        brief = replace(brief, faulty=0.5, condition=tuple(chance.sample(CONDITIONS, k=chance.randint(1, 2))))
    return brief


class OpenBench(widgets.VBox):
    """Unknown pairs without end.

    Parameters
    ----------
    errand : {"identify", "duplicate", "verify", "compare"}
        What the pair is on the bench for.
    style, difficulty, strongest, faults
        What is chosen first; `difficulty` is "follows me" or 1 to 5.
    seed : int, optional
        Number of the first pair; by chance if left out.
    name : str
        Under which pair and ticket are kept, so that two benches keep apart.
    folder : path, optional
        Where progress and draft are kept; nothing is kept if left out.

    Attributes
    ----------
    specimen : Specimen
        The pair on the bench.
    view, bench, marks, ticket
        Tray, focimeter, the buttons for what is inked, and ticket.

    Examples
    --------
    >>> table = OpenBench(style="bifocal", difficulty=1, seed=3)
    >>> table.ask()
    >>> "Write what you read" in table.outcome.value
    True
    """

    ticket: Ticket
    _warned: bool

    def __init__(
        self,
        *,
        errand: str = IDENTIFY,
        style: str = STYLES[0],
        difficulty: int | str = FOLLOWS_ME,
        strongest: float | str = AS_IT_COMES,
        faults: str = AS_IT_COMES,
        seed: int | None = None,
        name: str = "",
        folder: Path | str | None = None,
    ) -> None:
        self._name, self._folder = name, None if folder is None else Path(folder)
        kept = {} if self._folder is None or seed is not None else kept_draft(name, self._folder)
        self.errand = _choice("Errand", ERRANDS, kept.get("errand"), errand)
        self.style = _choice("Style", STYLES, kept.get("style"), style)
        self.strongest = _choice("Strongest power, D", STRONGEST, kept.get("strongest"), strongest)
        steps = (FOLLOWS_ME, *DIFFICULTIES)
        self.difficulty = _choice("Difficulty", steps, kept.get("difficulty"), difficulty)
        self.faults = _choice("Faults", FAULTS, kept.get("faults"), faults)
        self.form = _choice("Cylinder form", ("minus", "plus"), kept.get("form"), "minus")
        self.next_pair = widgets.Button(description="Next pair", button_style="primary")
        self.told = widgets.HTML()
        self.how = widgets.Button(description="How did I do", button_style="primary")
        self.outcome = widgets.HTML()
        self.replay = ReplayPanel()
        self.panel = ErrandPanel()
        super().__init__()
        self.panel.show_order.on_click(lambda _button: self._keep())
        self.panel.on_bench.observe(lambda _change: self._change_pairs(), "value")
        self.panel.when_answered(self._keep_answers)
        self.next_pair.on_click(lambda _button: self.lay_next())
        self.how.on_click(lambda _button: self.ask())
        self.form.observe(lambda _change: self._keep(), "value")
        number = _whole(kept.get("seed")) if kept else None
        self._lay(
            number if number is not None else self._number(seed),
            typed=kept.get("typed"),
            step=_whole(kept.get("step")),
            judged=bool(kept.get("judged")),
            asked=kept.get("asked"),
            answers=kept.get("answers"),
            other=kept.get("other"),
        )
        self._lay_tray_again(kept.get("tray"))

    # --- a pair -----------------------------------------------------------------------

    def lay_next(self) -> None:
        """Take the next pair; a ticket that nobody has looked at is asked about once."""
        if self.ticket.typed and not self._judged and not self._warned:
            self._warned = True
            self.told.value = sentence_html(
                "You have written on this ticket and not yet asked how you did.",
                "Press Next pair again to give it up, or ask first.",
                fault=True,
            )
            return
        self._lay(self._number(None))
        self._keep()

    def _number(self, seed: int | None) -> int:
        return secrets.randbelow(10**6) if seed is None else seed

    def _step(self) -> int:
        if self.difficulty.value != FOLLOWS_ME:
            return int(self.difficulty.value)
        progress = read_progress(self._progress_file)[0] if self._folder else None
        return next_difficulty(progress, self.style.value) if progress else DIFFICULTIES[0]

    def _lay(
        self,
        seed: int,
        typed: Any = None,
        step: int | None = None,
        judged: bool = False,
        asked: Any = None,
        answers: Any = None,
        other: Any = None,
    ) -> None:
        self._laid = False
        self._step_now = step if step in DIFFICULTIES else self._step()
        chosen = {"strongest": self.strongest.value, "faults": self.faults.value}
        brief = brief_of(self.style.value, self._step_now, seed, **chosen)
        if self.errand.value == VERIFY and self.faults.value not in ("none", ZERO_ERROR):
            # One in two comes out wrong, or there would be little to decide.
            brief = replace(brief, faulty=0.5)
        self.specimen: Specimen = make(brief, seed)
        self._new = self.specimen
        self._old = old_pair(self.specimen, seed) if self.errand.value == COMPARE else None
        self._other_typed: dict[str, str] = dict(other) if isinstance(other, dict) else {}
        # How this pair was chosen: the menus may be on the next one already.
        self._chosen = {
            "errand": self.errand.value,
            "style": self.style.value,
            "difficulty": self.difficulty.value,
            **chosen,
        }
        self.seed, self._judged, self._warned = seed, judged, False
        asked, answers = (each if isinstance(each, dict) else None for each in (asked, answers))
        self.panel.lay(self.errand.value, self.specimen, asked, answers)
        self.panel.on_bench.value = self.panel.on_bench.options[0]
        self._lay_out(typed)
        self._laid = True

    def _keep_answers(self) -> None:
        if self._laid:  # not while a pair is being laid, whose answers these are not yet
            self._keep()

    def _change_pairs(self) -> None:
        """Lay the other of the two pairs; each keeps its ticket."""
        if self._old is None:
            return
        mine, self._other_typed = self._other_typed, dict(self.ticket.typed)
        self.specimen = self._old if self.panel.on_bench.value == OLD else self._new
        self._lay_out(mine)

    def _lay_out(self, typed: Any) -> None:
        """Put the pair on tray and stage, with its ticket."""
        seed = self.seed
        old = [getattr(self, name, None) for name in ("view", "bench", "marks", "ticket")]
        self.view = PairView(self.specimen.spectacles, self.specimen.frame, self.specimen.conditions)
        self.bench = Bench(self.view.spectacles, seed=seed, zero_error=self.specimen.zero_error)
        try:
            self.ticket = Ticket(typed if isinstance(typed, dict) else None, job=f"no. {seed}")
        except ValueError:  # a draft from another version
            self.ticket = Ticket(job=f"no. {seed}")
        self._together()
        self.panel.when_read(lambda: all(self.ticket.read.lens(eye) is not None for eye in "RL"))
        self.outcome.value = ""
        self.replay.lay(self.specimen, self.bench, self.view)
        self.told.value = sentence_html(
            f"Pair no. {seed}, difficulty {self._step_now} of {DIFFICULTIES[-1]}.", *self._from_the_wearer()
        )
        self.children = self._in_order()
        for each in old:
            if each is not None:
                each.close()

    def _together(self) -> None:
        """One pair: tray and stage follow each other."""
        view, bench = self.view, self.bench
        view.observe(lambda _change: bench.lay(view.spectacles), ("trued", "wiped"))
        traitlets.link((view, "dots"), (bench, "dots"))
        traitlets.link(
            (view, "turned_over"),
            (bench, "against"),
            transform=(lambda over: FRONT if over else BACK, lambda side: side == FRONT),
        )
        self.ticket.observe(lambda _change: self._keep(), "typed")
        view.observe(lambda _change: self._keep(), [*TRAY, "inked"])
        noted = {eye: self.specimen.spectacles.reference_point_mm(eye) for eye in "RL"}
        self.marks = InkedPlaces(bench, view, noted if self._needs_the_wearer else None)

    def _lay_tray_again(self, kept: Any) -> None:
        """Chart and ink as they were before a restart; a draft that was edited is left aside."""
        if self._old is None and isinstance(kept, dict):
            with suppress(KeyError, TypeError, ValueError, traitlets.TraitError):
                self.view.lay_as_it_was(kept["chart"], kept["inked"])

    def _from_the_wearer(self) -> tuple[str, ...]:
        """What comes with the job and no lens shows: where the wearer looks through, the side of an addition."""
        if self.specimen.style == PROGRESSIVE and self.specimen.addition_side("R") == BACK:
            return ("With the job comes the maker's leaflet: the addition is on the back of these lenses.",)
        if not self._needs_the_wearer:
            return ()
        places = " and ".join(
            f"{EYES[eye]} {by_rule(self.specimen.order.of(eye).pd_mm or 0.0):g} mm" for eye in "RL"
        )
        return (
            f"With the job comes a note: the wearer looks through at {places} from the middle of the bridge.",
        )

    @property
    def _needs_the_wearer(self) -> bool:
        prisms = [self.specimen.prism(eye).amount for eye in "RL"]
        return self.specimen.style != PROGRESSIVE and max(prisms) >= READ_PRISM

    # --- how it went --------------------------------------------------------------------

    def ask(self) -> None:
        """Say how the ticket is, and count the pair the first time it is asked for."""
        read = self.ticket.read
        if read.faults:
            fields = ", ".join(name.replace("_", " ") for name in read.faults)
            self.outcome.value = sentence_html(
                f"Not everything on the ticket can be read yet: {fields}.",
                "Mend it and ask again.",
                fault=True,
            )
            return
        if not read.answer:
            self.outcome.value = sentence_html("Write what you read on the ticket first.", fault=True)
            return
        if self.panel.wanting:
            self.outcome.value = sentence_html(self.panel.wanting, fault=True)
            return
        form = self.form.value
        marks = mark_pair(read.pair, self.specimen, form=form)
        missed = marks.marks.missed
        found = diagnose(read.pair, self.specimen, form, trace=self.bench.trace) if missed else Diagnosis()
        found = found.about(missed)
        html = outcome_html(marks, found)
        # The errand first: a pair read rightly may still be one that goes back.
        html = self._errand_told(read, marks.all_right) + html
        if self._folder is not None:
            html += self._note(marks, found)
        self.outcome.value = html
        self._judged = True
        self.replay.offer(form)
        self._keep()

    def _errand_told(self, read: Any, all_right: bool) -> str:
        mine, other = read.pair, read_fields(self._other_typed).pair if self._other_typed else None
        if self._old is not None and self.specimen is self._old:
            if other is None:
                return self.panel.told(mine, all_right, None, None)
            mine, other = other, mine
        return self.panel.told(mine, all_right, other, self._old)

    def _note(self, marks: Any, found: Any) -> str:
        style = self._chosen["style"]
        try:
            if self._judged:
                progress, told = read_progress(self._progress_file)
            else:
                slips = list(found.names)
                entry = entry_of(marks, style=style, difficulty=self._step_now, seed=self.seed, slips=slips)
                progress, told = note(entry, self._progress_file)
        except OpticsError as error:
            return sentence_html(str(error), fault=True)
        again = "This pair is counted already." if self._judged else ""
        return progress_html(progress, style, PROGRESS_FILE) + (
            sentence_html(*told, again) if told or again else ""
        )

    @property
    def _progress_file(self) -> Path:
        assert self._folder is not None, "asked only where progress is kept"
        return self._folder / PROGRESS_FILE

    def _keep(self) -> None:
        if self._folder is None:
            return
        # As text, because a browser cannot hold so large a number.
        state = {**self._chosen, "form": self.form.value, "seed": str(self.seed), "step": self._step_now}
        typed, other = dict(self.ticket.typed), self._other_typed
        if self._old is not None and self.specimen is self._old:
            typed, other = other, typed
        state |= {"typed": typed, "other": other, "judged": self._judged}
        state |= {"asked": self.panel.asked, "answers": self.panel.answers}
        state["tray"] = {"chart": self.view.chart_lies, "inked": self.view.inked}
        keep_draft(self._name, self._folder, state)

    # --- on the page ----------------------------------------------------------------------

    def _in_order(self) -> list[widgets.Widget]:
        row = widgets.Layout(flex_flow="row wrap", grid_gap="0.5em", align_items="center")
        choosing = [self.errand, self.style, self.strongest, self.difficulty, self.faults, self.next_pair]
        return [
            _title("Choose a pair"),
            widgets.HBox(choosing, layout=row),
            self.told,
            self.panel.task,
            *([self.panel.on_bench] if self._old is not None else []),
            _title("Look it over"),
            self.view,
            _title("Read it"),
            self.marks,
            # Beside the eyepiece, so that a step is read where it is seen.
            self.replay,
            self.bench,
            _title("Write the ticket"),
            widgets.HBox([self.form], layout=row),
            self.ticket,
            self.panel,
            widgets.HBox([self.how], layout=row),
            self.outcome,
        ]


def _title(text: str) -> widgets.HTML:
    return widgets.HTML(f'<h3 style="margin:0.6em 0 0.2em">{text}</h3>')


def _whole(value: Any) -> int | None:
    try:
        return int(value)
    except (TypeError, ValueError):
        return None


def _choice(name: str, options: tuple, kept: Any, given: Any) -> widgets.Dropdown:
    if given not in options:
        raise OpticsError(
            f'{name} is "{given}".',
            f"It is one of: {', '.join(map(str, options))}.",
            f'Try "{options[0]}".',
        )
    return widgets.Dropdown(
        options=[(f"{each:g}" if isinstance(each, float) else str(each), each) for each in options],
        value=kept if kept in options else given,
        description=name,
        style={"description_width": "initial"},
        layout=widgets.Layout(width="auto"),
    )
