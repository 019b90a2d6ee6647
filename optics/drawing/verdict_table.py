"""A pair held against its order, as a table for the notebook."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

from optics.judging.standards import UNITS
from optics.judging.verdicts import Verdict
from optics.judging.verify import CAUTION, Verification
from optics.lens.prescription import written

_EYES = {"R": "right", "L": "left", None: "pair"}
_COLUMNS = ("lens", "what", "ordered", "found", "off by", "limit", "verdict")
# A sign and a word each, so that colour is not needed.
_ENDS = {True: "✓ passes", False: "✗ fails", None: "? not yet known"}


@dataclass(frozen=True, slots=True, repr=False)
class VerdictTable:
    """Shows a verification: a table in a notebook, its sentences as text.

    Parameters
    ----------
    verification : Verification
        From `optics.judging.verify.verify`.
    """

    verification: Verification

    def __repr__(self) -> str:
        return self.verification.report

    def _repr_html_(self) -> str:
        head = "".join(f'<th scope="col" style="text-align:left">{name}</th>' for name in _COLUMNS)
        rows = "".join(_row(verdict) for verdict in self.verification.verdicts)
        return (
            f"<table><caption>Held against {escape(self.verification.standard)}</caption>"
            f"<thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"
            f"<p>{escape(self.verification.sentence)}</p><p><small>{escape(CAUTION)}</small></p>"
        )


def _row(verdict: Verdict) -> str:
    unit = UNITS.get(verdict.unit, "")
    judged = verdict.limit is not None
    off = f"{verdict.off:g}" if verdict.unit == "degree" else written(round(verdict.off, 6), signed=False)
    cells = (
        _EYES[verdict.eye],
        verdict.quantity,
        verdict.ordered,
        verdict.found,
        off + unit if judged else "",
        _limit(verdict, unit) if judged else "",
        _ENDS[verdict.passed] if verdict.weighs or judged else "– a remark",
    )
    weight = "font-weight:bold" if verdict.passed is False else ""
    body = "".join(f'<td style="text-align:left">{escape(cell)}</td>' for cell in cells)
    return f'<tr style="{weight}">{body}</tr>'


def _limit(verdict: Verdict, unit: str) -> str:
    told = [f"{verdict.limit:.3g}{unit}"]
    if verdict.unit == "mm" and verdict.quantity.endswith("imbalance"):
        told.append("by the centres")
    if verdict.row is not None and verdict.row.from_memory:
        told.append("from memory")
    return ", ".join(told)
