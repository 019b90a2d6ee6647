"""Panels: type a lens, see the diagram and its words at once, and save it for a handout.

Each is thin: its fields go to one function of `optics.drawing`, and what comes
back stands in one fixed widget. Text that cannot be read gets the reader's
sentence and no picture, so that an old picture never stands under a new text.
"""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from optics.drawing.axis_dial import axis_dial
from optics.drawing.diagram import Diagram
from optics.drawing.given import lens_of
from optics.drawing.oblique_sum import oblique_sum
from optics.drawing.power_cross import power_cross
from optics.drawing.prism_displacement import prism_displacement
from optics.errors import OpticsError
from optics.lens.power import Power
from optics.lens.prescription import Prescription

LINE, CROSS = "a written line", "two powers with their meridians"
WIDE = "26em"


class Panel(widgets.VBox):
    """Fields, a diagram with its words, and a row to save it.

    Parameters
    ----------
    title : str
        Name of the panel.
    controls : dict of str to widget
        The fields, in order, by name.
    draw : callable
        Given the values of the fields by name, the `Diagram`, or the diagram and a
        further sentence.
    file_name : str
        Name first offered for saving.

    Examples
    --------
    >>> panel = power_cross_panel()
    >>> panel.change(line="+2.50 -1.50 x 170")
    >>> print(panel.words)
    Power cross, seen from the front: plus 2.50 along meridian 170 and plus 1.00 along meridian 80. Written: +2.50 -1.50 x 170, or +1.00 +1.50 x 080.
    >>> panel.change(line="+2.50 -1.50 x 190")
    >>> print(panel.words)
    The axis is 190. An axis is a whole number from 1 to 180. Did you mean 010?
    """

    def __init__(
        self,
        title: str,
        controls: dict[str, widgets.Widget],
        draw: Callable[..., Diagram | tuple[Diagram, str]],
        file_name: str,
    ) -> None:
        self._fields, self._draw = controls, draw
        self.diagram: Diagram | None = None
        """What is drawn now; none where the text cannot be read."""
        self.words = ""
        """What is said under it: the diagram in words, or the reader's sentence."""
        self._picture = widgets.HTML()
        self._name = _text("File name", file_name, "22em")
        self._replace = _tick("Replace a file of that name")
        self._save = widgets.Button(description="Save")
        self._saved = widgets.HTML()
        self._save.on_click(lambda _button: self._save_now())
        for control in controls.values():
            control.observe(lambda _change: self._redraw(), "value")
        row = widgets.HBox(
            [self._name, self._replace, self._save],
            layout=widgets.Layout(flex_flow="row wrap", grid_gap="0.5em"),
        )
        super().__init__(
            [
                widgets.HTML(f"<strong>{escape(title)}</strong>"),
                *controls.values(),
                self._picture,
                row,
                self._saved,
            ]
        )
        self._redraw()

    @property
    def state(self) -> dict[str, Any]:
        """The values of the fields, by name."""
        return {name: control.value for name, control in self._fields.items()}

    def change(self, **values: Any) -> None:
        """Set fields by name, as a hand would.

        Raises
        ------
        ValueError
            For a field the panel does not have.
        """
        unknown = set(values) - set(self._fields)
        if unknown:
            raise ValueError(f"this panel has no field {', '.join(sorted(unknown))}")
        for name, value in values.items():
            self._fields[name].value = value

    def save(self, name: str, overwrite: bool = False) -> Path:
        """Save the diagram; the ending of the name chooses the format.

        Raises
        ------
        OpticsError
            Where nothing is drawn, or for a name that cannot be saved to.
        """
        if self.diagram is None:
            raise OpticsError(
                "Nothing is drawn yet.",
                "Only a diagram that can be drawn is saved.",
                "Mend the text above first.",
            )
        return self.diagram.save(name, overwrite=overwrite)

    def _redraw(self) -> None:
        self._saved.value = ""
        try:
            drawn = self._draw(**self.state)
        except OpticsError as error:
            self.diagram, self.words = None, str(error)
            self._picture.value = f'<p role="status" style="border-left:4px dashed #d55e00;padding-left:0.5em;line-height:1.4">! {escape(self.words)}</p>'
            return
        self.diagram, further = drawn if isinstance(drawn, tuple) else (drawn, "")
        self.words = f"{self.diagram.alt} {further}".strip()
        # The words stand under the picture, so the image itself says only what it is.
        self._picture.value = f'{self.diagram.image(self.diagram.title)}<p role="status" style="max-width:40em;line-height:1.4">{escape(self.words)}</p>'

    def _save_now(self) -> None:
        try:
            path = self.save(self._name.value.strip(), overwrite=self._replace.value)
        except OpticsError as error:
            told = f"! {error}"
        else:
            told = f"Saved as {path.name}, beside this notebook."
        self._saved.value = f'<p role="status" style="line-height:1.4">{escape(told)}</p>'


def _text(name: str, value: str = "", width: str = WIDE) -> widgets.Text:
    # Redrawn when one leaves the field or presses Enter, not at every letter of half a number.
    return widgets.Text(
        value=value,
        description=name,
        continuous_update=False,
        style={"description_width": "9em"},
        layout=widgets.Layout(width=width, max_width="100%"),
    )


def _tick(name: str, value: bool = False) -> widgets.Checkbox:
    return widgets.Checkbox(value=value, description=name, indent=False, layout=widgets.Layout(width="auto"))


def _choice(name: str, options: list, value: Any) -> widgets.Dropdown:
    return widgets.Dropdown(
        options=options,
        value=value,
        description=name,
        style={"description_width": "9em"},
        layout=widgets.Layout(width=WIDE, max_width="100%"),
    )


def power_cross_panel() -> Panel:
    """The power cross both ways: from a written line, or from two powers with their meridians."""

    def draw(given: str, line: str, first: str, second: str, mark: str) -> tuple[Diagram, str]:
        if given == LINE:
            shown = _filled(line, "line", "-2.25 -0.75 x 015")
        else:
            powers = (_filled(text, "power", "-2.25 along 015") for text in (first, second))
            shown = " / ".join(powers)
        forms = ", or ".join(_forms(lens_of(shown).power))
        return power_cross(shown, axis=mark or None), f"Written: {forms}."

    controls = {
        "given": _choice("Given", [LINE, CROSS], LINE),
        "line": _text("The line", "-2.25 -0.75 x 015"),
        "first": _text("One power", "-2.25 along 015"),
        "second": _text("The other", "-3.00 along 105"),
        "mark": _choice(
            "Mark the axis",
            [("no", ""), ("of the minus cylinder", "minus"), ("of the plus cylinder", "plus")],
            "",
        ),
    }

    def show(_change: object = None) -> None:
        for name in ("line", "first", "second"):
            used = (controls["given"].value == LINE) == (name == "line")
            controls[name].layout.display = "" if used else "none"

    controls["given"].observe(show, "value")
    show()
    return Panel("Power cross", controls, draw, "power-cross.svg")


def _filled(text: str, what: str, example: str) -> str:
    if not text.strip():
        raise OpticsError(
            f"The {what} is empty.", "It is drawn as soon as it is written.", f'Write it like "{example}".'
        )
    return text.strip()


def _forms(power: Power) -> list[str]:
    """A power in both cylinder forms, as it is written; one where it has no cylinder."""
    sphere, cylinder, axis = (float(value) for value in power.sphere_cylinder("minus"))
    if abs(cylinder) < 0.005:
        return [Prescription(sphere=round(sphere, 3)).distance]
    minus = Prescription(sphere=round(sphere, 3), cylinder=round(cylinder, 3), axis=round(axis) or 180)
    return [minus.distance, minus.to_plus_cylinder().distance]


def axis_dial_panel() -> Panel:
    """The axis dials of a pair, from an axis or a whole line each."""

    def draw(right: str, left: str, blank: bool) -> Diagram:
        if not right.strip() and not left.strip():
            return axis_dial(blank=blank)
        # Both dials are drawn even where one eye has no axis.
        return axis_dial(right=right.strip() or None, left=left.strip() or None, blank=blank)

    controls = {
        "right": _text("Right axis", "015"),
        "left": _text("Left axis", "165"),
        "blank": _tick("Leave the numbers open"),
    }
    return Panel("Axis dial", controls, draw, "axis-dial.svg")


def oblique_sum_panel() -> Panel:
    """Two obliquely crossed cylinders and their sum."""

    def draw(first: str, second: str) -> Diagram:
        example = "pl +2.00 x 180"
        return oblique_sum(_filled(first, "first lens", example), _filled(second, "second lens", example))

    controls = {
        "first": _text("First lens", "pl +2.00 x 180"),
        "second": _text("Second lens", "pl +2.00 x 045"),
    }
    return Panel("Sum of two lenses", controls, draw, "sum.svg")


def prism_panel() -> Panel:
    """Prism on the rings of the eyepiece, from the prism alone or a whole line."""

    def draw(prism: str, eye: str, resolve: bool, blank: bool) -> Diagram:
        prism = _filled(prism, "prism", "2.00 base in")
        return prism_displacement(prism, eye, resolve=resolve, blank=blank)

    controls = {
        "prism": _text("Prism and base", "2.00 base in and 1.50 base up"),
        "eye": _choice("Eye", [("right", "R"), ("left", "L")], "R"),
        "resolve": _tick("Show the two parts", True),
        "blank": _tick("Leave amounts and bases open"),
    }
    return Panel("Prism on the rings", controls, draw, "prism.svg")
