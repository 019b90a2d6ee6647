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
from optics.judging.standards import for_pairs, load
from optics.judging.verify import CAUTION, Verification, verify
from optics.lens.multifocal import Multifocal
from optics.lens.progressive import Progressive
from optics.marking.read import SHOP_FIELDS, Ticket, field_name
from optics.pair.records import PairRecord
from optics.progress.page import PAGE
from optics.specimens.specimen import Specimen

IDENTIFY, DUPLICATE, VERIFY, COMPARE = "identify", "duplicate", "verify", "compare"
ERRANDS = (IDENTIFY, DUPLICATE, VERIFY, COMPARE)
NEW, OLD = "new pair", "old pair"
DECISIONS = ("dispense", "remake", "refer")
USUAL_TABLE = "ANSI Z80.1-2015"
MOST_LETTERS = 400
"""Of a reason that is kept."""

_TASKS = {
    IDENTIFY: "Errand: identify. A pair with no history: read it, and write all that it is.",
    DUPLICATE: "Errand: duplicate. Write the ticket so that a shop could make the pair again without seeing it; "
    "segment, frame, base curve and material too.",
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
FRAME_WITHIN_MM, NEAR_WITHIN_MM, CURVE_WITHIN, THINNING_WITHIN = 0.5, 1.0, 0.25, 0.25
"""Within which what a shop needs is told to be so; common practice."""


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


def shop_told(ticket: Ticket, pair: Specimen) -> list[str]:
    """What a shop needs to make the pair again: what is written of it beside what the pair is."""
    lens = pair.spectacles.right.lens
    near = [pair.point_mm(eye, "near") for eye in "RL"]
    is_written: dict[str, object] = {name: ticket.typed.get(name, "").strip() for name in SHOP_FIELDS}
    so: dict[str, bool] = {}
    needed = ["base_curve", "frame"]
    if ticket.base_curve is not None:
        curves = (pair.front_curve(eye) for eye in "RL")
        so["base_curve"] = any(
            curve is not None and abs(ticket.base_curve - curve) <= CURVE_WITHIN for curve in curves
        )
    if ticket.frame_mm is not None:
        true = (pair.frame.lens_width_mm, pair.frame.bridge_mm)
        so["frame"] = all(abs(a - b) <= FRAME_WITHIN_MM for a, b in zip(ticket.frame_mm, true, strict=True))
    if isinstance(lens, Multifocal):
        needed.insert(0, "segment")
        if ticket.segment is not None:
            shape, width = ticket.segment
            so["segment"] = shape == lens.segment.shape and (
                width is None or abs(width - lens.segment.width_mm) <= FRAME_WITHIN_MM
            )
    if all(place is not None for place in near):
        needed.append("near_pd")
        if ticket.near_pd_mm is not None:
            wide = sum(abs(place[0]) for place in near if place is not None)
            so["near_pd"] = abs(ticket.near_pd_mm - wide) <= NEAR_WITHIN_MM
    if isinstance(lens, Progressive):
        needed.append("thinning")
        if ticket.thinning is not None:
            so["thinning"] = abs(ticket.thinning - pair.thinning("R").amount) <= THINNING_WITHIN
    told = ["For the shop, told and not marked:"]
    for name in needed:
        if name in so:
            told.append(
                f"{'✓' if so[name] else '✗'} {field_name(name)} {is_written[name]}: "
                f"{'as the pair is' if so[name] else 'the pair is otherwise, look again'}."
            )
        else:
            told.append(f"– {field_name(name)}: not written.")
    told.append("The material cannot be told on the focimeter: write it where it is known.")
    return told


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
            options=for_pairs(), value=USUAL_TABLE, description="Table of tolerances", style=wide
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

    def lay(
        self,
        errand: str,
        pair: Specimen,
        asked: dict[str, str] | None = None,
        answers: dict[str, str] | None = None,
    ) -> None:
        """Take another pair, with what was asked and answered of it already."""
        self.errand, self._pair, self.asked = errand, pair, dict(asked or {})
        self._is_read: Callable[[], bool] = lambda: False
        self.task.value = _paragraph(_TASKS[errand])
        kept = answers or {}
        self.decision.value = kept.get("decision") if kept.get("decision") in DECISIONS else ""
        self.reason.value, self.order.value = str(kept.get("reason", ""))[:MOST_LETTERS], ""
        if kept.get("table") in for_pairs():
            self.table.value = kept["table"]
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

    @property
    def answers(self) -> dict[str, str]:
        """Table, decision and reason, as they are kept."""
        return {"table": self.table.value, "decision": self.decision.value, "reason": self.reason.value}

    def when_answered(self, keep: Callable[[], None]) -> None:
        """Say what keeps the answers, so that a restart does not lose them."""
        for each in (self.table, self.decision, self.reason):
            each.observe(lambda _change: keep(), "value")

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
        if self.errand in (IDENTIFY, DUPLICATE):
            wanted = self.errand == DUPLICATE or any(ticket.typed.get(name) for name in SHOP_FIELDS)
            return _paragraph(*shop_told(ticket, self._pair)) if wanted else ""
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
    told.append(_decided(read.end, is_so.end, decision))
    told.append("Your reason is not marked: see whether it names the row that decided.")
    return told


_FITTING = {"passes": "dispense", "fails": "remake", "not yet known": "refer"}


def _decided(read: str, is_so: str, decision: str) -> str:
    """How a decision goes with what was read, and with what the pair is: it may say no more than is known."""
    if decision != _FITTING[read]:
        if read == "not yet known":
            return (
                f"Your decision, {decision}, does not go with your ticket, which leaves the pair not yet known: "
                "it says more than you know."
            )
        return f"Your decision, {decision}, does not go with your ticket: {_WHY_NOT[read]}"
    if read == is_so:
        return f"Your decision, {decision}, goes with that."
    return (
        f"Your decision, {decision}, goes with your ticket, but does not go with the pair: {_WHY_NOT[is_so]}"
    )


_WHY_NOT = {
    "passes": "nothing read or ordered keeps this pair back.",
    "fails": "a pair out of tolerance goes back to be made again and is not handed over.",
    "not yet known": "what is open is settled first, with whoever ordered or made the pair.",
}


def _paragraph(*lines: str) -> str:
    return f'<p role="status" style="{PAGE}">{"<br>".join(map(escape, lines))}</p>'
