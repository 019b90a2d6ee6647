"""The ticket in the notebook: what was typed, what it says as a power cross, and a print of it.

It shows what was typed and never the truth. A field that cannot be read keeps its
text and gets the reader's sentence under it. The fields stand in the order a shop
writes them, right before left.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import anywidget
import traitlets

from optics.drawing import describe, style
from optics.drawing.diagram import Diagram
from optics.drawing.job_ticket import CAUTION, SHOP, job_ticket
from optics.drawing.power_cross import draw_power_cross
from optics.errors import OpticsError
from optics.lens.prescription import Prescription
from optics.marking.read import SHOP_FIELDS, field_name
from optics.specimens.briefs import STYLES
from optics.widgets import front_end
from optics.widgets.ticket.fields import FIELDS, TicketRead, read_fields


class Ticket(anywidget.AnyWidget):
    """A ticket to fill in while a pair is read.

    Parameters
    ----------
    typed : mapping of str to str, optional
        What stands on it already, by the names of the fields.
    job : str
        Name of the job, printed on it.

    Attributes
    ----------
    typed : dict of str to str
        Every field as it was typed.

    Examples
    --------
    >>> ticket = Ticket({"sphere_right": "-2.25", "cylinder_right": "0.75", "axis_right": "15"})
    >>> ticket.read.faults
    {'cylinder_right': 'The cylinder in "0.75" has no sign. Plus and minus are always written. Write +0.75 or -0.75, as you read it.'}
    >>> ticket.typed = ticket.typed | {"cylinder_right": "-0.75"}
    >>> ticket.read.written("R")
    '-2.25 -0.75 x 015'
    """

    _esm = front_end("controls.js", "ticket/ticket.js")
    _css = front_end("controls.css", "ticket/ticket.css")

    typed = traitlets.Dict().tag(sync=True)
    _job = traitlets.Unicode("").tag(sync=True)
    _heads = traitlets.Dict({"shop": SHOP, "caution": CAUTION, "styles": list(STYLES)}).tag(sync=True)
    _faults = traitlets.Dict().tag(sync=True)
    _crosses = traitlets.Dict().tag(sync=True)
    _lines = traitlets.Dict().tag(sync=True)
    _answered = traitlets.Dict().tag(sync=True)
    _saved = traitlets.Unicode("").tag(sync=True)

    def __init__(self, typed: Mapping[str, str] | None = None, *, job: str = "") -> None:
        self._drawn: dict[str, str] = {}
        super().__init__(typed=dict(typed or {}), _job=job)
        self._read_again()
        self.on_msg(self._asked)

    @property
    def read(self) -> TicketRead:
        """What can be read of it."""
        return read_fields(self.typed)

    @property
    def answer(self) -> dict[str, str]:
        """The ticket as `optics.marking.read.read_answer` takes it."""
        return self.read.answer

    @traitlets.validate("typed")
    def _known_fields(self, proposal: dict) -> dict:
        unknown = set(proposal["value"]) - set(FIELDS)
        if unknown:
            raise ValueError(f"a ticket has no field {', '.join(sorted(unknown))}")
        return {name: str(text) for name, text in proposal["value"].items()}

    @traitlets.observe("typed")
    def _read_again(self, _change: dict | None = None) -> None:
        read = self.read
        self._answered = dict(self.typed)
        self._faults = dict(read.faults)
        self._lines = {eye: read.written(eye) for eye in "RL"}
        self._crosses = {eye: self._cross(eye, read.lens(eye)) for eye in "RL"}

    def _cross(self, eye: str, lens: Prescription | None) -> str:
        """The power cross of a line as HTML; drawn once for the same line."""
        key = f"{eye} {lens.distance if lens else ''}"
        if key not in self._drawn:
            figure = style.canvas(4.0, 3.0)
            ax = figure.add_axes((0.0, 0.05, 1.0, 0.92))
            draw_power_cross(ax, lens)
            words = describe.power_cross(lens.power if lens else None, eye=eye)
            if lens is None:
                words = f"Power cross of the {describe.EYES[eye]} lens: nothing to draw yet."
            self._drawn[key] = Diagram(figure, words, title=f"Power cross {eye}")._repr_html_()
        return self._drawn[key]

    # --- printing ------------------------------------------------------------------------------

    def _asked(self, _widget: object, content: object, _buffers: object) -> None:
        if isinstance(content, dict) and "save" in content:
            try:
                saved = self.save(str(content["save"]), overwrite=bool(content.get("replace")))
                self._saved = f"Saved as {saved.name}, beside this notebook."
            except OpticsError as error:
                self._saved = str(error)

    def diagram(self) -> Diagram:
        """The job ticket as it would be printed.

        Raises
        ------
        OpticsError
            Where a field cannot be read: half a ticket is not handed on.
        """
        read = self.read
        if read.faults:
            raise OpticsError(
                f"{len(read.faults)} field{'s' * (len(read.faults) > 1)} cannot be read yet.",
                "A ticket is handed on only when every field on it can be read.",
                "Mend what is marked, or empty it.",
            )
        typed = {name: text.strip() for name, text in self.typed.items()}
        pairs = {
            what: tuple(typed.get(f"{what}_{side}", "") for side in ("right", "left"))
            for what in ("pd", "height")
        }
        return job_ticket(
            read.lens("R"),
            read.lens("L"),
            pd_mm=pairs["pd"],
            height_mm=pairs["height"],
            lens_style=read.style or "",
            shop={field_name(name): typed[name] for name in SHOP_FIELDS if typed.get(name)},
            remarks=typed.get("remarks", ""),
            job=self._job,
        )

    def save(self, path: str | Path, overwrite: bool = False) -> Path:
        """Save the job ticket; the name ends in .pdf, .svg or .png.

        Raises
        ------
        OpticsError
            Where a field cannot be read, or for a name that cannot be saved to.
        """
        return self.diagram().save(path, overwrite=overwrite)
