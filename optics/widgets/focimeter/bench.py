"""The focimeter in the notebook: the picture in the eyepiece and the controls beside it.

The picture is drawn in the browser (`picture.js`), so that it answers a turn of
the drum at once. The kernel sends what only it knows: power and prism of the
lens at the point over the stop. Everything a hand can move is a trait, so a
lesson or a test can move it too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from time import monotonic
from typing import Any

import anywidget
import numpy as np
import traitlets

from optics.errors import OpticsError
from optics.instrument import focimeter
from optics.instrument.focimeter import COMPENSATOR_MOST, DRUM_RANGE, EYEPIECE_RANGE, Settings, an_eye
from optics.instrument.trace import LINES, DrumReading, Trace, taken_in_hand
from optics.lens.lens import BACK, EMPTY, FRONT, OverStop
from optics.lens.prism import EYES, nasal
from optics.pair.spectacles import Spectacles
from optics.specimens.steps import RULE_STEP_MM, by_rule
from optics.widgets import front_end
from optics.widgets.focimeter.stage_field import stage_field

STAGE_NEAR_MM, STAGE_FAR_MM = 10.0, 55.0
"""How near to and how far from the middle of the bridge the stop can come, millimetres."""
STAGE_HEIGHT_MM = 20.0
"""How far above and below the datum line, millimetres."""
READINGS_MOST = 200
"""Readings on one pad at most; the oldest make room."""
_TRACED = tuple(
    "lens drum wheel eyepiece stage_x_mm stage_y_mm against compensator compensator_base aside".split()
)
_YES = {False: "no", True: "yes"}
MOST_PIXELS = 768
"""Width of the picture at most, device pixels."""
PARTS = ("eyepiece", "wheel", "stage", "lock", "pad", "compensator", "side", "dot", "aside")
"""What a bench can show beside the drum; a chapter shows only what it has introduced."""
SCRIPTS = ("rays", "picture", "moves", "dials", "stage", "pad", "bench")
"""The bench's scripts, in the order in which each needs the ones before it."""


def _how_it_is_made() -> dict:
    """The constants that the browser needs to draw the same picture."""
    return {
        "field": focimeter.FIELD,
        "rings": list(focimeter.RINGS),
        "glow": focimeter.FIELD_GLOW,
        "reticle_line": focimeter.RETICLE_LINE,
        "reticle_darkness": focimeter.RETICLE_DARKNESS,
        "eye_blur": focimeter.EYE_BLUR,
        "stop_radius_cm": focimeter.STOP_RADIUS_MM / 10.0,
        "magnification": focimeter.TELESCOPE_MAGNIFICATION,
        "sphere_lines": asdict(focimeter.SPHERE_LINES),
        "cylinder_lines": asdict(focimeter.CYLINDER_LINES),
        "drum_range": list(DRUM_RANGE),
        "eyepiece_range": list(EYEPIECE_RANGE),
        "compensator_most": COMPENSATOR_MOST,
        "stage_near_mm": STAGE_NEAR_MM,
        "stage_far_mm": STAGE_FAR_MM,
        "stage_height_mm": STAGE_HEIGHT_MM,
        "most_pixels": MOST_PIXELS,
    }


class Bench(anywidget.AnyWidget):
    """A focimeter with a pair of spectacles on its stage.

    Parameters
    ----------
    spectacles : Spectacles
        The pair.
    seed : int
        Decides how the bench was left: the operator's own eyepiece setting, and
        how far from its reference point each lens first lies.
    eye_setting : float, optional
        Eyepiece dial at which the reticle is sharp, dioptres at the eye; drawn
        from the seed if not given, and never zero, so that a fresh bench is out
        of focus.
    eye : {"R", "L"}
        The lens that lies over the stop first.
    zero_error : float
        What this instrument reads too high over its whole drum, dioptres.
    parts : sequence of str
        What the bench shows beside the drum; see `PARTS`.
    pair : str
        What the pair is called in its chapter; it stands in the trace.

    Attributes
    ----------
    lens, drum, wheel, eyepiece
        The lens over the stop, "R" or "L", and how the controls stand; see `Settings`.
    stage_x_mm, stage_y_mm
        The point of the pair over the stop: x to the viewer's right from the middle of the
        bridge, y up from the datum line, seen from the front, millimetres.
    against
        Side of the lens against the stop, "back" or "front".
    dots
        "R" and "L" to [x, y] of the ink dot, millimetres in the same coordinates.
    compensator, compensator_base
        Prism that the compensator takes out: its amount, prism dioptres 0 to 15,
        and the direction of its base, degrees 0 to 360 anticlockwise from the
        operator's right.
    height_locked : bool
        Whether the stage keeps its height while the other lens is slid over the stop.
    aside : bool
        Whether the pair is laid aside and the instrument empty.
    trace_kept : bool
        Whether the moves are kept for the learner and the trainer; a learner can switch it off.

    Examples
    --------
    >>> from optics import Mounted, Power, SingleVision
    >>> lens = SingleVision(power=Power.from_sphere_cylinder(-2.25, -0.75, 15))
    >>> bench = Bench(Spectacles(right=Mounted(lens=lens), left=Mounted(lens=lens)), eye_setting=0)
    >>> bench.drum = -2.25
    >>> bench.settings.drum, round(float(bench.met.power.along(15)), 2)
    (-2.25, -2.25)
    """

    _esm = front_end("controls.js", *(f"focimeter/{name}.js" for name in SCRIPTS))
    _css = front_end("controls.css", "focimeter/bench.css")

    lens = traitlets.Enum(("R", "L"), "R").tag(sync=True)
    drum = traitlets.Float(0.0).tag(sync=True)
    wheel = traitlets.Float(180.0).tag(sync=True)
    eyepiece = traitlets.Float(0.0).tag(sync=True)
    stage_x_mm = traitlets.Float(0.0).tag(sync=True)
    stage_y_mm = traitlets.Float(0.0).tag(sync=True)
    against = traitlets.Enum((BACK, FRONT), BACK).tag(sync=True)
    compensator = traitlets.Float(0.0).tag(sync=True)
    compensator_base = traitlets.Float(0.0).tag(sync=True)
    height_locked = traitlets.Bool(False).tag(sync=True)
    trace_kept = traitlets.Bool(True).tag(sync=True)
    dots = traitlets.Dict().tag(sync=True)
    _parts = traitlets.List(list(PARTS)).tag(sync=True)
    _readings: traitlets.List = traitlets.List().tag(sync=True)
    aside = traitlets.Bool(False).tag(sync=True)
    _eye_setting = traitlets.Float(0.0).tag(sync=True)
    _zero_error = traitlets.Float(0.0).tag(sync=True)
    _fields = traitlets.Dict().tag(sync=True)
    _made = traitlets.Dict(_how_it_is_made()).tag(sync=True)
    _met = traitlets.Dict().tag(sync=True)
    _dotted = traitlets.Unicode("").tag(sync=True)

    def __init__(
        self,
        spectacles: Spectacles,
        *,
        seed: int = 0,
        eye_setting: float | None = None,
        eye: str = "R",
        parts: Sequence[str] = PARTS,
        pair: str = "",
        zero_error: float = 0.0,
    ) -> None:
        nasal(eye)  # says so if it is neither R nor L
        unknown = [name for name in parts if name not in PARTS]
        if unknown:
            raise OpticsError(
                f'The bench has no part "{unknown[0]}".',
                f"Its parts are {', '.join(PARTS)}.",
                "Leave parts out for the whole bench.",
            )
        left_by_others = np.random.default_rng(seed)
        dial = an_eye(left_by_others)
        self._spectacles = spectacles
        # Each lens is laid down by eye, a few millimetres out, and keeps its place
        # while the other one is read.
        self._places = {side: _laid_down(spectacles, side, left_by_others) for side in ("R", "L")}
        self._laid_out = False
        self._pair, self._trace, self._recording = pair, None, False
        self._beside: dict[str, Any] = {}
        self._tray: Any = None
        super().__init__(
            lens=eye,
            _parts=list(parts),
            stage_x_mm=self._places[eye][0],
            stage_y_mm=self._places[eye][1],
            _eye_setting=dial if eye_setting is None else float(eye_setting),
            _zero_error=float(zero_error),
            _fields=_fields_of(spectacles),
        )
        self._laid_out = True
        self._answer()
        self._describe_dots()
        self._begin_trace()
        self.observe(self._keep_move, [*_TRACED[1:], "_readings", "trace_kept"])

    # --- what it shows ---------------------------------------------------------------

    @property
    def settings(self) -> Settings:
        """How drum, wheel, eyepiece and compensator stand, as `eyepiece_view` takes them."""
        to_base = np.deg2rad(self.compensator_base)
        return Settings(
            drum=self.drum,
            wheel=self.wheel,
            eyepiece=self.eyepiece,
            eye=self._eye_setting,
            zero_error=self._zero_error,
            compensator_x=float(self.compensator * np.cos(to_base)),
            compensator_y=float(self.compensator * np.sin(to_base)),
        )

    @property
    def met(self) -> OverStop:
        """What lies over the stop, as the operator sees it."""
        if self.aside:
            return EMPTY
        return self._spectacles.over_stop(self.lens, self.stage_x_mm, self.stage_y_mm, self.against)

    # --- what was noted, and how it was worked -------------------------------------------

    @property
    def readings(self) -> tuple[DrumReading, ...]:
        """The readings on the pad, in the order in which they were noted."""
        return tuple(DrumReading(**one) for one in self._readings)

    @traitlets.validate("_readings")
    def _as_noted(self, proposal: dict) -> list[dict[str, Any]]:
        """Leave out what no press on the pad can have noted."""
        return [one for one in proposal["value"] if _is_noted(one)][-READINGS_MOST:]

    @property
    def trace(self) -> Trace | None:
        """How the bench was worked since the pair was laid; None while it is switched off."""
        return self._trace

    def _begin_trace(self, late: bool = False) -> None:
        self._trace, self._recording = None, self.trace_kept
        if self.trace_kept:
            start = {name: getattr(self, name) for name in _TRACED} | {"aside": _YES[self.aside]}
            self._trace = Trace(
                start=start | self._beside,
                eye=self._eye_setting,
                zero_error=self._zero_error,
                pair=self._pair,
                late=late,
            )
            self._began = monotonic()

    def _keep_move(self, change: dict) -> None:
        name, value = change["name"], change["new"]
        if name == "trace_kept":
            self._begin_trace(late=True)
            return
        if name == "_readings":
            noted = len(value) > len(change["old"])
            name, value = ("noted", value[-1]["lines"]) if noted else ("struck", "last")
        if name == "aside":
            value = _YES[value]
        self._note_move(name, value)

    def _note_move(self, name: str, value: Any) -> None:
        if self._trace is None or not self._recording:
            return
        self._trace.note(name, value, round((monotonic() - self._began) * 1000))
        taken_in_hand(lambda: self._trace)

    def beside(self, view: Any, places: Sequence[str]) -> None:
        """Keep the moves of the chart on a tray, too: choosing it, laying it, putting on the ink.

        Parameters
        ----------
        view : HasTraits
            The tray; its `inked` maps each lens that carries ink to how the chart lay.
        places : sequence of str
            What of it moves, by the names that the trace has.
        """

        def moved(change: dict) -> None:
            self._beside[change["name"]] = change["new"]
            self._note_move(change["name"], change["new"])

        def inked(change: dict) -> None:
            for eye in sorted(change["new"]):
                if change["new"][eye] != change["old"].get(eye):
                    self._note_move("inked", eye)

        if view is self._tray:
            return
        self._tray, self._beside = view, {name: getattr(view, name) for name in places}
        if self._trace is not None:
            self._trace.start |= self._beside
        view.observe(moved, places)
        view.observe(inked, "inked")

    def show(self, **stood: Any) -> None:
        """Set controls to show something; what is moved from then on is nobody's own reading.

        Parameters
        ----------
        **stood
            Where controls stand, by their names; what is not named stays.
        """
        self._recording = False
        with self.hold_sync():
            # The lens comes first, because the stage's travel goes with it.
            for name in sorted(stood, key=_TRACED.index):
                setattr(self, name, stood[name])

    # --- what moves it -----------------------------------------------------------------

    @traitlets.validate("drum", "wheel", "eyepiece")
    def _within_reach(self, proposal: dict) -> float:
        Settings(**{proposal["trait"].name: proposal["value"]})
        return proposal["value"]

    @traitlets.validate("compensator", "compensator_base", "stage_x_mm", "stage_y_mm")
    def _within_its_travel(self, proposal: dict) -> float:
        name, value = proposal["trait"].name, proposal["value"]
        what, low, high, unit = {
            "compensator": ("prism compensator", 0.0, COMPENSATOR_MOST, "prism dioptres"),
            "compensator_base": ("base of the prism compensator", 0.0, 360.0, "degrees"),
            "stage_x_mm": (
                f"stop under the {EYES[self.lens]} lens",
                *self._across_mm(),
                "mm from the bridge",
            ),
            "stage_y_mm": ("stop", -STAGE_HEIGHT_MM, STAGE_HEIGHT_MM, "mm from the datum line"),
        }[name]
        if not low <= value <= high:
            raise OpticsError(
                f"The {what} would be at {value:g} {unit}.",
                f"It can be at {low:g} to {high:g}.",
                "Move it back into its range.",
            )
        return value

    def lay(self, spectacles: Spectacles) -> None:
        """Lay the pair down again after something was done to it: trued, or cleaned."""
        self._spectacles = spectacles
        self._fields = _fields_of(spectacles)
        self._answer()

    def _across_mm(self) -> tuple[float, float]:
        """From where to where the stop can come across the lens that lies over it."""
        return _across_mm(self.lens)

    @traitlets.observe("lens", "stage_x_mm", "stage_y_mm", "against")
    def _moved(self, change: dict) -> None:
        if not self._laid_out:
            return
        if change["name"] == "lens":
            self._keep_move(change)  # before the places that come with it
            x_mm, y_mm = self._places[change["new"]]
            if self.height_locked:  # slid across on a stage that keeps its height
                y_mm = self.stage_y_mm
            with self.hold_sync():
                self.stage_x_mm, self.stage_y_mm = x_mm, y_mm
        self._answer()

    def _answer(self) -> None:
        """Send what the stop meets now, with the place it was asked for."""
        self._places[self.lens] = (self.stage_x_mm, self.stage_y_mm)
        over = [self.lens, self.stage_x_mm, self.stage_y_mm, self.against]
        try:
            power, prism, _ = self.met
        except OpticsError as error:
            self._met = {**self._met, "over": over, "note": str(error)}
            return
        (xx, xy), (_, yy) = power.matrix.tolist()
        x, y = prism.vector.tolist()
        self._met = {
            "power": {"xx": xx, "xy": xy, "yy": yy},
            "prism": {"x": x, "y": y},
            "over": over,
            "note": "",
        }

    @traitlets.observe("dots")
    def _describe_dots(self, _change: dict | None = None) -> None:
        self._dotted = measured_dots({side: tuple(place) for side, place in self.dots.items()})


def _across_mm(eye: str) -> tuple[float, float]:
    near, far = STAGE_NEAR_MM, STAGE_FAR_MM
    return (-far, -near) if eye == "R" else (near, far)


def _fields_of(spectacles: Spectacles) -> dict[str, dict[str, Any]]:
    return {eye: stage_field(spectacles, eye, _across_mm(eye), STAGE_HEIGHT_MM) for eye in "RL"}


def _is_noted(one: Any) -> bool:
    fits = isinstance(one, dict) and set(one) == {"eye", "against", "lines", "drum", "wheel"}
    if not fits or any(isinstance(one[name], bool) for name in ("drum", "wheel")):
        return False
    words = one["eye"] in EYES and one["against"] in (BACK, FRONT) and one["lines"] in LINES
    return words and all(
        isinstance(one[name], int | float) and low <= one[name] <= high
        for name, (low, high) in (("drum", DRUM_RANGE), ("wheel", (1, 180)))
    )


def _laid_down(spectacles: Spectacles, side: str, random: np.random.Generator) -> tuple[float, float]:
    x, y = spectacles.reference_point_mm(side)
    out = random.choice([-1, 1], 2) * random.uniform([1.5, 1.0], [4.0, 3.0])
    place = np.round((np.array([x, y]) + out) * 2) / 2
    return float(place[0]), float(place[1])


def measured_dots(dots: dict[str, tuple[float, float]]) -> str:
    """What a rule laid across the ink dots says, to half a millimetre.

    Parameters
    ----------
    dots : dict
        Place of the dot of "R" and of "L" in pair coordinates, millimetres.

    Returns
    -------
    str
        Distances from the middle of the bridge and, with both dots, the PD
        between them and which one is higher.

    Examples
    --------
    >>> measured_dots({"R": (-31.6, 1.0), "L": (32.0, 0.0)})
    'Right dot 31.5 mm and left dot 32.0 mm from the middle of the bridge. Between the dots: 63.5 mm. The right dot is 1.0 mm higher.'
    """
    parts = [f"{EYES[side]} dot {by_rule(abs(dots[side][0])):.1f} mm" for side in ("R", "L") if side in dots]
    if not parts:
        return "No dot yet. Bring the crossing to the middle first."
    told = " and ".join(parts) + " from the middle of the bridge."
    told = told[0].upper() + told[1:]
    if len(parts) == 1:
        return f"{told} Dot the other lens too to measure the PD."
    rise = dots["R"][1] - dots["L"][1]
    higher = (
        f"The {'right' if rise > 0 else 'left'} dot is {by_rule(abs(rise)):.1f} mm higher."
        if abs(rise) >= RULE_STEP_MM / 2
        else "They are level."
    )
    return f"{told} Between the dots: {by_rule(dots['L'][0] - dots['R'][0]):.1f} mm. {higher}"
