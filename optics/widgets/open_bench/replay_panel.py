"""The same pair read the right way, step by step: each step sets tray and bench, and says why."""

from __future__ import annotations

from html import escape

import ipywidgets as widgets
import numpy as np

from optics.apprentices.replaying import Step, replay
from optics.instrument.trace import BEGUN_LATE, THINNED, TRAY, Trace, trace_from
from optics.specimens.briefs import FRONT_BENT, PROGRESSIVE, SMEARED, TEMPLE_TWISTED
from optics.specimens.specimen import Specimen
from optics.widgets.focimeter.bench import STAGE_HEIGHT_MM, Bench
from optics.widgets.open_bench.how_it_went import PAGE
from optics.widgets.pair.front_view import PairView


class ReplayPanel(widgets.VBox):
    """Back and Next through the right way to read a pair; empty until it is offered.

    Attributes
    ----------
    steps : tuple of Step
        The steps; empty until it is offered.
    at : int
        The step that is shown.
    """

    def __init__(self) -> None:
        self.back = widgets.Button(description="Back", tooltip="One step back")
        self.next = widgets.Button(description="Next", tooltip="One step on")
        self.words = widgets.HTML()
        self.steps: tuple[Step, ...] = ()
        self.at = -1
        self.mine_back = widgets.Button(description="My move before", tooltip="One move of my own back")
        self.mine_next = widgets.Button(description="My next move", tooltip="One move of my own on")
        self.mine_words = widgets.HTML()
        self.mine: Trace | None = None
        self.mine_at = 0
        super().__init__()
        self.back.on_click(lambda _button: self.go(self.at - 1))
        self.next.on_click(lambda _button: self.go(self.at + 1))
        self.mine_back.on_click(lambda _button: self.go_mine(self.mine_at - 1))
        self.mine_next.on_click(lambda _button: self.go_mine(self.mine_at + 1))

    def lay(self, pair: Specimen, bench: Bench, view: PairView) -> None:
        """Take another pair; nothing of it is shown yet."""
        self._pair, self._bench, self._view = pair, bench, view
        self.steps, self.at = (), -1
        self.children = ()

    def offer(self, form: str) -> None:
        """Offer the replay; tray and bench stay as they are until Next is pressed."""
        self.steps, self.at = replay(self._pair, self._bench._eye_setting, form), -1
        self.words.value = _paragraph(
            f"The same pair read again, in {len(self.steps)} steps. Each step sets tray and bench: look through the eyepiece."
        )
        self.back.disabled, self.next.disabled = True, False
        title = widgets.HTML('<h3 style="margin:0.6em 0 0.2em">The same pair, step by step</h3>')
        self.children = (title, widgets.HBox([self.back, self.next]), self.words, *self._offer_mine())

    def _offer_mine(self) -> list[widgets.Widget]:
        """My own reading again, where the moves were kept."""
        trace = self._bench.trace
        self.mine, self.mine_at = (trace_from(trace.bundle), 0) if trace and trace.moves else (None, 0)
        if self.mine is None:
            return []
        self.mine_words.value = _paragraph(
            f"Your own reading, in {len(self.mine.turns)} moves.",
            *([BEGUN_LATE] * self.mine.late),
            *([THINNED] * self.mine.thinned),
        )
        self.mine_back.disabled, self.mine_next.disabled = True, False
        title = widgets.HTML('<h3 style="margin:0.6em 0 0.2em">My own reading again</h3>')
        return [title, widgets.HBox([self.mine_back, self.mine_next]), self.mine_words]

    def go_mine(self, at: int) -> None:
        """Show one move of one's own, counted from 1; 0 is how the bench was found."""
        assert self.mine is not None, "offered only where moves were kept"
        turns = self.mine.turns
        if not 0 <= at <= len(turns):
            return
        self.mine_at, made = at, turns[at - 1] if at else 0
        stood = self.mine.after(made)
        on_bench = {name: value for name, value in stood.items() if name not in TRAY}
        self._bench.show(**{**on_bench, "aside": stood["aside"] == "yes"})
        if set(TRAY) <= set(stood):
            self._view.lay_chart_again(stood, self.mine.inked(made))
        told = "How you found the bench."
        if at:
            move = self.mine.moves[made - 1]
            minutes, seconds = divmod(move.ms // 1000, 60)
            told = f"Your move {at} of {len(turns)}, after {minutes}:{seconds:02d}: {move.words}."
        self.mine_words.value = _paragraph(told)
        self.mine_back.disabled, self.mine_next.disabled = at == 0, at == len(turns)

    def go(self, at: int) -> None:
        """Show one step, counted from 0."""
        if not 0 <= at < len(self.steps):
            return
        self.at, step = at, self.steps[at]
        self._set(step)
        lines = [f"Step {at + 1} of {len(self.steps)}. {step.words}", f"Seen: {step.seen}"]
        if step.noted:
            lines.append(f"Written down: {step.noted}")
        self.words.value = _paragraph(*lines)
        self.back.disabled, self.next.disabled = at == 0, at == len(self.steps) - 1

    # --- hands ------------------------------------------------------------------------

    def _set(self, step: Step) -> None:
        view, bench = self._view, self._bench
        view.held_lens = ""
        view.trued = bool({TEMPLE_TWISTED, FRONT_BENT} & set(step.mended))
        view.wiped = SMEARED in step.mended
        if self._pair.style == PROGRESSIVE and step.reads not in ("style", "condition", "zero"):
            view.mark_up()
        # Subtracting, measuring and writing leave the bench as the last reading left it.
        laid = (each for each in self.steps[self.at :: -1] if each.stage_mm or each.reads == "zero")
        bench_step = next(laid, step)
        self._set_bench(bench_step)
        # A progressive is inked from its rings and not dotted at a crossing.
        if step.reads == "crossing" and step.eye and step.stage_mm and self._pair.style != PROGRESSIVE:
            bench.dots = {**bench.dots, step.eye: list(step.stage_mm)}
        self._lay_the_rule(step)

    def _set_bench(self, step: Step) -> None:
        settings = step.settings
        x, y = settings.compensator_x, settings.compensator_y
        stood = {
            "eyepiece": settings.eyepiece,
            "drum": round(settings.drum, 2),
            "wheel": settings.wheel,
            "compensator": float(np.hypot(x, y).round(2)),
            "compensator_base": float(np.rad2deg(np.arctan2(y, x)).round() % 360),
            "against": step.against,
            "aside": step.reads == "zero",
        }
        if step.eye is not None:
            stood["lens"] = step.eye
        if step.stage_mm is not None:
            height = float(np.clip(step.stage_mm[1], -STAGE_HEIGHT_MM, STAGE_HEIGHT_MM))
            stood |= {"stage_x_mm": round(step.stage_mm[0], 1), "stage_y_mm": round(height, 1)}
        self._bench.show(**stood)

    def _lay_the_rule(self, step: Step) -> None:
        view = self._view
        if step.eye is None or step.reads not in ("PD", "height"):
            return
        length = float(step.noted)
        if step.reads == "PD":
            view.rule_lies, view.rule_y_mm = "across", -30.0
            view.rule_x_mm = -length if step.eye == "R" else 0.0
        else:
            place = self._pair.point_mm(step.eye, "height")
            assert place is not None, "only lenses with a height have this step"
            view.rule_lies, view.rule_x_mm = "upright", round(place[0], 1)
            view.rule_y_mm = self._pair.frame.height_above_datum_mm(0.0)
        view.rule_to_mm = length


def _paragraph(*lines: str) -> str:
    body = "<br>".join(escape(line) for line in lines)
    return f'<p role="status" style="{PAGE}">{body}</p>'
