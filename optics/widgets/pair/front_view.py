"""The pair on its tray: look it over, hold it before a cross, true it, mark it up, measure it.

The picture is drawn in the browser from lines that the kernel sends
(`optics.pair.appearance`), and the crossed line from the power and prism of the lens
before the eye, so that it answers the hand at once. Everything a hand can do is
a trait, so a lesson, a test or the bench beside it can do it too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

import anywidget
import numpy as np
import traitlets

from optics.errors import OpticsError
from optics.instrument.crossed_line import CrossSeen, cross_seen, told
from optics.instrument.trace import TRAY
from optics.lens.angles import rotation
from optics.lens.prism import EYES
from optics.lens.progressive import Progressive
from optics.pair.appearance import front_scene, mark_parts
from optics.pair.charts import REACH_DEGREES, REACH_MM, LaidChart, chart_with, charts
from optics.pair.frame import Frame
from optics.pair.scene import Bend, Scene, plain
from optics.pair.spectacles import Spectacles
from optics.specimens.briefs import FRONT_BENT, SMEARED, TEMPLE_TWISTED
from optics.specimens.conditions import Condition, laid_down
from optics.widgets import front_end
from optics.widgets.pair.lens_in_hand import LensInHand

REACH = {
    "rule_x_mm": (-80.0, 80.0),
    "rule_y_mm": (-45.0, 60.0),
    "rule_to_mm": (0.0, 150.0),
    "chart_x_mm": (-REACH_MM, REACH_MM),
    "chart_y_mm": (-REACH_MM, REACH_MM),
    "chart_turned_degrees": (-REACH_DEGREES, REACH_DEGREES),
    "moved_x_mm": (-20.0, 20.0),
    "moved_y_mm": (-15.0, 15.0),
    "turned_degrees": (-45.0, 45.0),
    "trial": (-15.0, 15.0),
    "from_eye_mm": (50.0, 400.0),
}
"""How far each hand can go: millimetres, degrees, or dioptres."""
UPRIGHT_RULE_MM = 60.0
"""How long the rule is that is stood upright on a lens."""

_FIND_RINGS = "Tilt the pair to the light first and find the two rings: the ink goes on from them."
_NO_RINGS = "No rings are engraved on these lenses, so there is nothing to mark up from."
_RINGS_HIDDEN = "The rings cannot be seen under the smear. Wipe the lenses first."
_NO_CHART = "Choose a chart first: the one whose sign is engraved under the nasal ring."
_FROM_BEHIND = "Lay the pair with its front towards you: a chart shows the lens from the front."
COVERED_MM, COVERED_DEGREES = 0.5, 1.0
"""No eye sees a circle of a chart further off its ring than this when it calls it covered."""


HANDS = (
    *("turned_over", "wiped", "trued", "tilted_to_light"),
    *("chart", "chart_under", "chart_x_mm", "chart_y_mm", "chart_turned_degrees"),
    *("rule_lies", "rule_x_mm", "rule_y_mm", "rule_to_mm"),
    *("held_lens", "moved_x_mm", "moved_y_mm", "turned_degrees", "trial", "from_eye_mm"),
)
"""What hands can do to a pair, by the names that `PairView` has."""


def bends_of(conditions: Sequence[Condition]) -> dict[str, Bend]:
    """How each side is seen to be bent, from what is wrong with the pair.

    Examples
    --------
    >>> twisted = Condition(name="temple twisted", eye="L", tilt_degrees=16.0)
    >>> bends_of([twisted])["L"].lean_degrees
    16.0
    """
    bends: dict[str, Bend] = {}
    for each in conditions:
        if each.name == SMEARED:
            continue
        old, axis = bends.get(each.eye, Bend()), np.deg2rad(each.tilt_axis)
        bends[each.eye] = Bend(
            lean_degrees=old.lean_degrees + float(abs(np.cos(axis)).round(9) * each.tilt_degrees),
            bow_degrees=old.bow_degrees + float(abs(np.sin(axis)).round(9) * each.tilt_degrees),
            turned_degrees=old.turned_degrees + each.turned_degrees,
        )
    return bends


def _from_the_rings(laid: LaidChart) -> str:
    """How a chart is seen to lie from the rings of the lens over it, in words."""
    off = []
    for value, ways in ((laid.x_mm, ("to the right", "to the left")), (laid.y_mm, ("above", "below"))):
        if abs(value) > COVERED_MM:
            off.append(f"{abs(value):.1f} mm {ways[value < 0]}")
    if abs(laid.turned_degrees) > COVERED_DEGREES:
        way = "clockwise" if laid.turned_degrees < 0 else "anticlockwise"
        off.append(f"turned {abs(laid.turned_degrees):.0f} degrees {way}")
    return f"From the rings, its circles stand: {', '.join(off)}." if off else "Its circles cover the rings."


class PairView(anywidget.AnyWidget):
    """A pair of spectacles on a tray.

    Parameters
    ----------
    spectacles : Spectacles
        The pair, true and clean.
    frame : Frame
        Its frame.
    conditions : sequence of Condition
        What is wrong with it as it comes in.

    Attributes
    ----------
    turned_over : bool
        Whether the back is towards you.
    wiped, trued : bool
        Whether the lenses have been cleaned and the frame trued.
    tilted_to_light : bool
        Whether it is held so that faint engraving shows.
    chart : str
        Sign of the chart that lies on the tray; "" for none.
    chart_under : {"R", "L"}
        The lens that it lies under.
    chart_x_mm, chart_y_mm, chart_turned_degrees : float
        How its middle lies from the middle of that rim, to the right and up, and how far it
        is turned anticlockwise.
    rule_lies : {"across", "upright"}
        How the rule lies.
    rule_x_mm, rule_y_mm, rule_to_mm : float
        Where its zero lies in the view, and what is read at its other mark, millimetres.
    held_lens : {"", "R", "L"}
        The lens before the eye; none while the pair lies on the tray.
    moved_x_mm, moved_y_mm, turned_degrees : float
        What the hand has done to that lens: to the right, up, anticlockwise.
    trial : float
        Trial sphere laid against it, dioptres.
    from_eye_mm : float
        Distance of the lens from the eye.
    dots : dict
        Ink dots by eye, as the bench has them, so that both can be linked.
    inking : bool
        The hand that puts the ink on from the chart; it goes back to False by itself.
    inked : dict
        How the chart lay on each lens when it was inked, as `LaidChart` takes it, by eye.
    in_words : bool
        Whether what is seen is also shown in words; a screen reader is told always.

    Examples
    --------
    >>> from optics.lens.lens import SingleVision
    >>> from optics.lens.power import Power
    >>> from optics.pair.spectacles import Mounted
    >>> lens = Mounted(lens=SingleVision(power=Power.from_sphere_cylinder(-2.00)))
    >>> twisted = Condition(name="temple twisted", eye="R", tilt_degrees=18.0)
    >>> frame = Frame(lens_width_mm=52, lens_height_mm=40, bridge_mm=18)
    >>> view = PairView(Spectacles(right=lens, left=lens), frame, [twisted])
    >>> view.spectacles == Spectacles(right=lens, left=lens)
    False
    >>> view.trued = True
    >>> view.spectacles == Spectacles(right=lens, left=lens)
    True
    """

    _esm = front_end("controls.js", "pair/front_view.js")
    _css = front_end("controls.css", "pair/front_view.css")

    turned_over = traitlets.Bool(False).tag(sync=True)
    wiped = traitlets.Bool(False).tag(sync=True)
    trued = traitlets.Bool(False).tag(sync=True)
    tilted_to_light = traitlets.Bool(False).tag(sync=True)
    chart = traitlets.Enum(("", *(each.sign for each in charts())), "").tag(sync=True)
    chart_under = traitlets.Enum(("R", "L"), "R").tag(sync=True)
    # As a hand drops it: below the middle of the rim, and not quite level.
    chart_x_mm = traitlets.Float(0.0).tag(sync=True)
    chart_y_mm = traitlets.Float(-8.0).tag(sync=True)
    chart_turned_degrees = traitlets.Float(5.0).tag(sync=True)
    inking = traitlets.Bool(False).tag(sync=True)
    inked = traitlets.Dict().tag(sync=True)
    dots = traitlets.Dict().tag(sync=True)
    rule_lies = traitlets.Enum(("across", "upright"), "across").tag(sync=True)
    rule_x_mm = traitlets.Float(-70.0).tag(sync=True)
    rule_y_mm = traitlets.Float(-30.0).tag(sync=True)
    rule_to_mm = traitlets.Float(0.0).tag(sync=True)
    held_lens = traitlets.Enum(("", "R", "L"), "").tag(sync=True)
    moved_x_mm = traitlets.Float(0.0).tag(sync=True)
    moved_y_mm = traitlets.Float(0.0).tag(sync=True)
    turned_degrees = traitlets.Float(0.0).tag(sync=True)
    trial = traitlets.Float(0.0).tag(sync=True)
    from_eye_mm = traitlets.Float(150.0).tag(sync=True)
    in_words = traitlets.Bool(False).tag(sync=True)
    _reach = traitlets.Dict(
        {name: list(ends) for name, ends in REACH.items()} | {"upright_rule_mm": [0.0, UPRIGHT_RULE_MM]}
    ).tag(sync=True)
    _scene = traitlets.Dict().tag(sync=True)
    _chart = traitlets.Dict().tag(sync=True)
    _chart_words = traitlets.Unicode("").tag(sync=True)
    _parts = traitlets.List(["look", "hand", "true", "chart", "rule"]).tag(sync=True)
    _signs = traitlets.List([each.sign for each in charts()]).tag(sync=True)
    _measured = traitlets.Unicode("").tag(sync=True)
    _held = traitlets.Dict().tag(sync=True)
    _cross_words = traitlets.Unicode("").tag(sync=True)
    _notice = traitlets.Unicode("").tag(sync=True)
    _answered = traitlets.Dict().tag(sync=True)

    def __init__(
        self,
        spectacles: Spectacles,
        frame: Frame,
        conditions: Sequence[Condition] = (),
    ) -> None:
        self._pair, self._frame, self._conditions = spectacles, frame, tuple(conditions)
        self._lenses: dict[tuple[str, bool], LensInHand] = {}
        super().__init__()
        self._look()
        self._show_chart()
        self._measure()
        self._hold()
        self._answer()

    # --- how it lies -----------------------------------------------------------------------

    @property
    def mended(self) -> tuple[str, ...]:
        """What has been put right, by the names of the conditions."""
        return ((TEMPLE_TWISTED, FRONT_BENT) if self.trued else ()) + ((SMEARED,) if self.wiped else ())

    @property
    def spectacles(self) -> Spectacles:
        """The pair as an instrument meets it now."""
        return laid_down(self._pair, self._conditions, self.mended)

    @property
    def scene(self) -> Scene:
        """What one sees of it now."""
        wrong = [each for each in self._conditions if each.name not in self.mended]
        return front_scene(
            self._pair,
            self._frame,
            bends=bends_of(wrong),
            smeared=tuple(each.eye for each in wrong if each.name == SMEARED),
            dots={eye: (float(at[0]), float(at[1])) for eye, at in self.dots.items()},
            engraving=self.tilted_to_light,
            ink=self._ink,
            turned_over=self.turned_over,
        )

    # --- what hands do -------------------------------------------------------------------------

    @traitlets.validate(*REACH)
    def _within_reach(self, proposal: dict) -> float:
        name, value = proposal["trait"].name, proposal["value"]
        low, high = REACH[name]
        if not low <= value <= high:
            raise OpticsError(
                f"{name} is {value:g}.", f"It runs from {low:g} to {high:g}.", "Move it less far."
            )
        return value

    @traitlets.observe("turned_over", "wiped", "trued", "tilted_to_light", "inked", "dots")
    def _look(self, change: dict | None = None) -> None:
        name = change["name"] if change else ""
        self._notice = self._answer_to(name)
        self._scene = self.scene.to_plain()
        self._measure()
        if name == "turned_over":
            self._hold()

    def _answer_to(self, name: str) -> str:
        if name == "trued" and self.trued:
            return "The frame is true: both temples point the same way and both lenses lie in one plane."
        if name == "wiped" and self.wiped:
            return "The lenses are clean."
        return ""

    # --- charts ------------------------------------------------------------------------------

    @property
    def _ink(self) -> dict[str, LaidChart]:
        return {eye: LaidChart(**laid) for eye, laid in self.inked.items()}

    def _lies(self, eye: str) -> tuple[tuple[float, float], float]:
        """Where the prism reference point of a lens lies in the pair now, and how far the lens is turned."""
        bend = bends_of([each for each in self._conditions if each.name not in self.mended]).get(eye, Bend())
        x, y = self._pair.reference_point_mm(eye)
        return (x, y + bend.raised_mm), bend.turned_degrees

    def _laid(self) -> LaidChart:
        """How the chart lies, told from the lens that it lies under."""
        x, y = self._frame.boxing_centre_mm(self.chart_under)
        in_view = LaidChart(
            sign=self.chart,
            x_mm=x + self.chart_x_mm,
            y_mm=y + self.chart_y_mm,
            turned_degrees=self.chart_turned_degrees,
        )
        return in_view.on_a_lens(*self._lies(self.chart_under))

    def ink_mm(self, eye: str, part: str) -> tuple[float, float] | None:
        """Where a mark stands in ink, from the middle of the bridge and the datum line; None where none does.

        Parameters
        ----------
        eye : {"R", "L"}
            The lens.
        part : {"distance", "near", "prism", "height"}
            As `LaidChart.inked` names them.
        """
        if eye not in self.inked:
            return None
        (x, y), turned = self._lies(eye)
        off = rotation(turned) @ self._ink[eye].inked(eye)[part]
        return x + float(off[0]), y + float(off[1])

    @property
    def chart_lies(self) -> dict[str, float | str]:
        """Which chart lies on the tray, under which lens and how."""
        return {name: getattr(self, name) for name in TRAY}

    def lay_as_it_was(
        self,
        lies: Mapping[str, float | str],
        inked: Mapping[str, Mapping[str, Any]],
    ) -> None:
        """Lay the chart as it lay, and put the ink on as `inked` has it."""
        ink = {eye: asdict(LaidChart(**inked[eye])) for eye in inked if eye in EYES}
        for laid in ink.values():
            chart_with(laid["sign"])  # says so where there is none
            if not all(abs(laid[name]) < 180.0 for name in ("x_mm", "y_mm", "turned_degrees")):
                raise OpticsError("The ink lies off the lens.", "It lies on it.", "Ink the lens again.")
        self._put_chart(lies)
        self.tilted_to_light = self.tilted_to_light or bool(ink)
        self.inked = ink

    def lay_chart_again(
        self, lies: Mapping[str, float | str], inked: Mapping[str, Mapping[str, float | str]]
    ) -> None:
        """Lay the chart and put on the ink as they once were.

        Parameters
        ----------
        lies : mapping
            How the chart lay, as `chart_lies` has it.
        inked : mapping of eye to mapping
            How it lay when each lens was inked.
        """
        ink = {}
        for eye, then in inked.items():
            self._put_chart({**then, "chart_under": eye})
            if self.chart:
                ink[eye] = asdict(self._laid())
        self.lay_as_it_was(lies, ink)

    def _put_chart(self, lies: Mapping[str, float | str]) -> None:
        for name in TRAY:
            setattr(self, name, lies[name])

    def mark_up(self) -> None:
        """Put the ink on both lenses as it ought to stand: each from its own chart, laid true."""
        self.tilted_to_light = True
        lenses = {eye: self._pair.mounted(eye).lens for eye in "RL"}
        self.inked = {
            eye: asdict(LaidChart(sign=chart_with(lens.sign).sign))
            for eye, lens in lenses.items()
            if isinstance(lens, Progressive)
        }

    @traitlets.observe("inking")
    def _put_ink(self, _change: dict) -> None:
        if not self.inking:
            return
        refusal = self._why_no_ink()
        if not refusal:
            self.inked = {**self.inked, self.chart_under: asdict(self._laid())}
        self._notice = refusal or f"The {EYES[self.chart_under]} lens is inked from chart {self.chart}."
        self.inking = False

    def _why_no_ink(self) -> str:
        if not self.tilted_to_light:
            return _FIND_RINGS
        if not isinstance(self._pair.mounted(self.chart_under).lens, Progressive):
            return _NO_RINGS
        if self._is_smeared(self.chart_under):
            return _RINGS_HIDDEN
        return _FROM_BEHIND if self.turned_over else "" if self.chart else _NO_CHART

    def _is_smeared(self, eye: str) -> bool:
        wrong = [each for each in self._conditions if each.name not in self.mended]
        return any(each.name == SMEARED and each.eye == eye for each in wrong)

    @traitlets.observe("chart", "chart_under", "turned_over")
    def _show_chart(self, _change: dict | None = None) -> None:
        """Send the chart that lies on the tray; turned over, the pair covers it."""
        if not self.chart or self.turned_over:
            self._chart = {}
            return
        marks = chart_with(self.chart).marks(self.chart_under)
        self._chart = {
            "parts": [plain(part) for mark in marks for part in mark_parts(mark, "chart")],
            "at": list(self._frame.boxing_centre_mm(self.chart_under)),
        }

    @traitlets.observe(
        "chart", "chart_under", "chart_x_mm", "chart_y_mm", "chart_turned_degrees", "turned_over",
        "tilted_to_light", "wiped", "trued",
    )  # fmt: skip
    def _tell_chart(self, _change: dict | None = None) -> None:
        if not self.chart or self.turned_over:
            self._chart_words = ""
            return
        told = [f"Chart {self.chart} lies under the {EYES[self.chart_under]} lens."]
        is_progressive = isinstance(self._pair.mounted(self.chart_under).lens, Progressive)
        if is_progressive and self.tilted_to_light and not self._is_smeared(self.chart_under):
            told.append(_from_the_rings(self._laid()))
        self._chart_words = " ".join(told)

    @traitlets.observe("rule_lies", "rule_x_mm", "rule_y_mm", "rule_to_mm")
    def _measure(self, _change: dict | None = None) -> None:
        upright = self.rule_lies == "upright"
        start = self.rule_y_mm if upright else self.rule_x_mm
        eye = ("L" if (self.rule_x_mm < 0) == self.turned_over else "R") if upright else None
        scene = self.scene
        ends = [
            scene.standing_on("y" if upright else "x", at, eye) for at in (start, start + self.rule_to_mm)
        ]
        names = [
            f"{mark} stands on {place}"
            for mark, place in zip(("zero", "the mark"), ends, strict=True)
            if place
        ]
        stands = "; ".join(names)
        self._measured = f"{self.rule_to_mm:.1f} mm" + (f": {stands}." if stands else ".")

    @traitlets.observe(*HANDS)
    def _answer(self, _change: dict | None = None) -> None:
        """Tell the browser which hands have been seen, so that it knows when nobody answers."""
        self._answered = {name: getattr(self, name) for name in HANDS}

    # --- a lens before the eye -------------------------------------------------------------------

    @traitlets.observe("held_lens", "moved_x_mm", "moved_y_mm", "turned_degrees", "trial", "from_eye_mm")
    def _hold(self, _change: dict | None = None) -> None:
        """Send the lens before the eye, and say what the cross does."""
        self._held = self._in_hand.to_plain(self._line_of_sight)
        before = cross_seen(self._in_hand.before_the_eye(np.zeros(2), self.trial, self.from_eye_mm))
        moved = (self.moved_x_mm, self.moved_y_mm)
        words = [
            self._in_hand.part_told(self._line_of_sight),
            told(self.cross, before, moved, self.turned_degrees),
        ]
        self._cross_words = " ".join(part for part in words if part)

    @property
    def _in_hand(self) -> LensInHand:
        key = (self.held_lens or "R", self.turned_over)
        if key not in self._lenses:
            self._lenses[key] = LensInHand(self._pair, self._frame, *key)
        return self._lenses[key]

    @property
    def _line_of_sight(self) -> np.ndarray:
        """The point of the lens straight before the eye, from its reference point, as the lens lies unturned."""
        return rotation(-self.turned_degrees) @ -np.array([self.moved_x_mm, self.moved_y_mm])

    @property
    def cross(self) -> CrossSeen:
        """The crossed line as it is seen through the lens in the hand."""
        held = self._in_hand.before_the_eye(self._line_of_sight, self.trial, self.from_eye_mm)
        return cross_seen(held, turned_degrees=self.turned_degrees)
