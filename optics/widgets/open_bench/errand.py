"""What a pair is on the bench for: the four errands, and what each asks beside the ticket.

*Identify* asks for the ticket alone. *Duplicate* adds what a copy needs and when it is
not made. *Verify* keeps the order back until it is asked for, and asks for a decision.
*Compare* lays a new pair and the one worn before it.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from html import escape

import ipywidgets as widgets

from optics.errors import OpticsError
from optics.judging.compare import compare
from optics.judging.standards import available, load
from optics.judging.verify import CAUTION, Verification, verify
from optics.marking.read import Ticket
from optics.pair.records import PairRecord
from optics.progress.page import PAGE
from optics.specimens.specimen import Specimen

__all__ = ["COMPARE", "DECISIONS", "DUPLICATE", "ERRANDS", "IDENTIFY", "VERIFY", "ErrandPanel", "order_words"]

IDENTIFY, DUPLICATE, VERIFY, COMPARE = "identify", "duplicate", "verify", "compare"
ERRANDS = (IDENTIFY, DUPLICATE, VERIFY, COMPARE)
NEW, OLD = "new pair", "old pair"
DECISIONS = ("dispense", "remake", "refer")
USUAL_TABLE = "ANSI Z80.1-2015"

_TASKS = {
    IDENTIFY: "Errand: identify. A pair with no history: read it, and write all that it is.",
    DUPLICATE: "Errand: duplicate. Write the ticket so that a shop could make the pair again without seeing it; "
    "segment, frame, material and base curve go under remarks.",
    VERIFY: "Errand: verify. The pair has come from the workshop. Read first, look at the order afterwards; "
    "then decide, and say why.",
    COMPARE: "Errand: compare. The wearer complains of the new pair. Read both, a ticket for each; "
    "what the wearer would notice is named when you ask how you did.",
}
_CAUTIONS = {
    DUPLICATE: "A copy repeats what was worn, right or wrong, and in many places the law asks for a valid "
    "prescription: your local rules decide. Do not copy, but refer: an expired prescription, a child's pair, a "
    "driver who sees badly with it, prism, or powers much stronger than the last on record. A reading is not "
    "an eye examination.",
    COMPARE: CAUTION,
}
_SHOP_NEEDS = "eye size and bridge of the frame, material and base curve of the lenses, and of a segment its shape and width"


def order_words(order: PairRecord) -> tuple[str, str]:
    """The order, right and left, as it stands on paper."""
    told = []
    for lens, eye in ((order.right, "R"), (order.left, "L")):
        words = [str(lens.line) if lens.line.eye else f"{eye} {lens.line}"]
        if lens.pd_mm is not None:
            words.append(f"PD {lens.pd_mm:g} mm")
        if lens.height_mm is not None:
            words.append(f"height {lens.height_mm:g} mm")
        if lens.base_curve is not None:
            words.append(f"base curve {lens.base_curve:g} D")
        told.append(", ".join(words))
    return told[0], told[1]


def tables() -> tuple[str, ...]:
    """The tables that judge a mounted pair."""
    return tuple(name for name in available() if load(name).rows_for("vertical imbalance", "single vision"))


class ErrandPanel(widgets.VBox):
    """What the errand asks beside the ticket.

    Attributes
    ----------
    show_order, table, decision, reason
        Of *verify*: the button that shows the order, and three answers.
    on_bench
        Of *compare*: which of the two pairs is laid out.
    asked : dict
        When the order was asked for and whether the ticket was still empty; empty until then.
    """

    def __init__(self) -> None:
        wide = {"description_width": "initial"}
        self.task = widgets.HTML()
        self.show_order = widgets.Button(description="Show the order", layout=widgets.Layout(width="auto"))
        self.order = widgets.HTML()
        self.table = widgets.Dropdown(
            options=tables(), value=USUAL_TABLE, description="Table of tolerances", style=wide
        )
        self.decision = widgets.Dropdown(
            options=[("choose", ""), *((each, each) for each in DECISIONS)],
            description="Decision",
            style=wide,
        )
        self.reason = widgets.Text(
            description="Reason",
            placeholder="in one sentence",
            continuous_update=False,
            style=wide,
            layout=widgets.Layout(width="32em"),
        )
        self.on_bench = widgets.ToggleButtons(options=(NEW, OLD), description="On the bench", style=wide)
        self.asked: dict[str, str] = {}
        super().__init__()
        self.show_order.on_click(lambda _button: self.look_at_the_order())

    def lay(self, errand: str, pair: Specimen, asked: dict[str, str] | None = None) -> None:
        """Take another pair."""
        self.errand, self._pair, self.asked = errand, pair, dict(asked or {})
        self._is_read: Callable[[], bool] = lambda: False
        self.task.value = _paragraph(_TASKS[errand])
        self.decision.value, self.reason.value, self.order.value = "", "", ""
        self.show_order.disabled = False
        row = widgets.Layout(flex_flow="row wrap", grid_gap="0.5em", align_items="center")
        self.children = {
            VERIFY: (
                widgets.HBox((self.show_order,)),
                self.order,
                widgets.HBox((self.table, self.decision, self.reason), layout=row),
            ),
            COMPARE: (self.table, widgets.HTML(_paragraph(_CAUTIONS[COMPARE]))),
            DUPLICATE: (widgets.HTML(_paragraph(_CAUTIONS[DUPLICATE])),),
            IDENTIFY: (),
        }[errand]
        if self.asked:
            self._tell_order()

    def when_read(self, is_read: Callable[[], bool]) -> None:
        """Say how it is known whether both lenses stand on the ticket."""
        self._is_read = is_read

    def look_at_the_order(self) -> None:
        """Show the order, and remember when it was asked for."""
        if not self.asked:
            self.asked = {
                "at": datetime.now().isoformat(timespec="seconds"),
                "read": "yes" if self._is_read() else "no",
            }
        self._tell_order()

    def _tell_order(self) -> None:
        first = "" if self.asked.get("read") == "yes" else " You had not read both lenses yet."
        at = self.asked.get("at", "").replace("T", " ")
        lines = [f"Ordered: {each}" for each in order_words(self._pair.order)]
        self.order.value = _paragraph(*lines, f"You asked for the order at {at}.{first}")
        self.show_order.disabled = True

    # --- when it is asked how it went ---------------------------------------------------

    @property
    def wanting(self) -> str:
        """What has to be answered first; "" for nothing."""
        if self.errand != VERIFY:
            return ""
        if not self.asked:
            return "Ask for the order, and hold your reading against it, before you decide."
        if not self.decision.value:
            return "Choose a decision: dispense, remake or refer."
        return "" if self.reason.value.strip() else "Write a reason beside the decision."

    def told(self, ticket: Ticket, all_right: bool, other: Ticket | None, old: Specimen | None) -> str:
        """What is said of the errand, beside what is said of the ticket."""
        if self.errand == DUPLICATE:
            written = "" if ticket.remarks.strip() else " Nothing stands under remarks yet."
            return _paragraph(
                f"To make the pair again a shop also needs {_SHOP_NEEDS}. They are not marked here.{written}"
            )
        if self.errand == IDENTIFY:
            return ""
        standard = load(self.table.value)
        try:
            found = ticket.record()
            if self.errand == VERIFY:
                read = verify(standard, self._pair.order, found)
                is_so = verify(standard, self._pair.order, self._pair.record())
                return _paragraph(*_verified(read, is_so, all_right, self.decision.value), CAUTION)
            if other is None or old is None:
                return _paragraph("Read the other pair too; then both are compared.")
            before = other.record()
        except OpticsError as error:
            return _paragraph(str(error))
        as_read, as_is = (
            compare(standard, before, found),
            compare(standard, old.record(), self._pair.record()),
        )
        noticed = [each.sentence for each in as_is.deciding] or ["Nothing beyond the tolerance."]
        return _paragraph(
            f"By your tickets: {as_read.sentence}",
            f"What the wearer would notice, by the pairs themselves: {' '.join(noticed)}",
            as_is.sentence,
        )


def _verified(read: Verification, is_so: Verification, all_right: bool, decision: str) -> list[str]:
    ends = {
        "passes": "within the tolerance",
        "fails": "out of tolerance",
        "not yet known": "not yet known",
    }
    told = [f"By your ticket, held against {read.standard}: {read.sentence}"]
    if all_right and read.end == is_so.end:
        told.insert(0, f"Right as read, and {ends[is_so.end]}.")
    else:
        told.append(f"The pair itself: {ends[is_so.end]}. {is_so.sentence}")
    fitting = {"passes": ("dispense",), "fails": ("remake",), "not yet known": ("refer",)}[is_so.end]
    if decision in fitting:
        told.append(f"Your decision, {decision}, goes with that.")
    else:
        told.append(f"Your decision, {decision}, does not go with that: {_WHY_NOT[is_so.end]}")
    told.append("Your reason is not marked: see whether it names the row that decided.")
    return told


_WHY_NOT = {
    "passes": "nothing read or ordered keeps this pair back.",
    "fails": "a pair out of tolerance goes back to be made again and is not handed over.",
    "not yet known": "what is open is settled first, with whoever ordered or made the pair.",
}


def _paragraph(*lines: str) -> str:
    return f'<p role="status" style="{PAGE}">{"<br>".join(map(escape, lines))}</p>'
