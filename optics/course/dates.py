"""When something was handed in, as a platform writes it into a name, and how late that was."""

from __future__ import annotations

import re
from datetime import datetime

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_IN_FIGURES = (
    r"(?<!\d)(?P<year>20\d\d)(?P<gap>[-._ ]?)(?P<month>0[1-9]|1[0-2])(?P=gap)(?P<day>0[1-9]|[12]\d|3[01])"
    r"(?:[-_ T]{1,3}(?P<hour>[01]\d|2[0-3])[-.:_h]?(?P<minute>[0-5]\d)(?:[-.:_m]?(?P<second>[0-5]\d))?)?(?!\d)"
)
_MONTH = rf"(?P<month>{'|'.join(_MONTHS)})[a-z]*"
_DAY = r"(?P<day>0?[1-9]|[12]\d|3[01])(?:st|nd|rd|th)?"
# "2 March, 2026 905 PM" and "Mar 2, 2026 21.05": no colon may stand in a file's name.
_IN_WORDS = (
    rf"(?<![\da-z]){first}[-_ .]{{1,2}}{then}[-_ ,]{{1,3}}(?P<year>20\d\d)"
    r"(?:,?[-_ T](?:at[-_ ])?(?P<hour>[01]?\d|2[0-3])[-.:_h]?(?P<minute>[0-5]\d)(?:[-.:_](?P<second>[0-5]\d))?"
    r"(?:[-_ ]?(?P<half>[ap])\.?m\b\.?)?)?(?!\d)"
    for first, then in ((_DAY, _MONTH), (_MONTH, _DAY))
)
_WAYS = [re.compile(way, re.IGNORECASE) for way in (_IN_FIGURES, *_IN_WORDS)]


def date_in(path: str) -> datetime | None:
    """When a file was handed in, as the platform wrote it into its name; the last date there is."""
    found = [(each.start(), _moment(each.groupdict())) for way in _WAYS for each in way.finditer(path)]
    dates = [(place, moment) for place, moment in found if moment is not None]
    return max(dates)[1] if dates else None


def _moment(part: dict[str, str | None]) -> datetime | None:
    hour, month = int(part["hour"] or 0), (part["month"] or "").lower()
    if (half := part.get("half")) and hour <= 12:
        hour = hour % 12 + (12 if half.lower() == "p" else 0)
    number = _MONTHS.index(month) + 1 if month in _MONTHS else int(month)
    try:
        return datetime(
            int(part["year"] or 0),
            number,
            int(part["day"] or 0),
            hour,
            int(part["minute"] or 0),
            int(part["second"] or 0),
        )
    except ValueError:
        return None


def without_dates(path: str) -> str:
    """A path without the dates in it, whose figures are nobody's number."""
    for way in _WAYS:
        path = way.sub(" ", path)
    return path


def lateness(due: str, sent: datetime | None) -> str:
    """How late something was, in words; "" where it was not, or nothing is known."""
    if not due or sent is None or sent <= datetime.fromisoformat(due):
        return ""
    minutes = int((sent - datetime.fromisoformat(due)).total_seconds() // 60)
    days, hours = minutes // 1440, minutes // 60 % 24
    if days:
        return f"{days} d {hours} h"
    return f"{hours} h {minutes % 60} min" if hours else f"{max(minutes, 1)} min"
