"""The checks behind the notebooks' exercises.

A check cell is one call; its value is the mark, a plain number. Truth is worked
out from the question's givens or asked of the pair itself, so no answer stands
in a learner's notebook and none can drift from the optics. A wrong answer is
never an error: it gets a reply that says what is right, what is not, and where
to look next, without giving the answer away.

Order of the replies: answered? readable? right within the stated tolerance?
which known slip gives this value? otherwise the step to look at again.
"""

from optics.checks.bench import (
    noted,
    reading,
    recorded,
    recorded_power,
)
from optics.checks.choice import choice
from optics.checks.cross import from_cross, from_readings, meridian_power, to_cross
from optics.checks.paper import conversion, crossed, notation, settled
from optics.checks.prism import jump, place, prism
from optics.checks.ticket import recorded_ticket, ticket
from optics.checks.verdict import recorded_verdict, verdict
from optics.marking.telling import collecting

__all__ = [
    "choice",
    "collecting",
    "conversion",
    "crossed",
    "from_cross",
    "from_readings",
    "jump",
    "meridian_power",
    "notation",
    "noted",
    "place",
    "prism",
    "reading",
    "recorded",
    "recorded_power",
    "recorded_ticket",
    "recorded_verdict",
    "settled",
    "ticket",
    "to_cross",
    "verdict",
]
