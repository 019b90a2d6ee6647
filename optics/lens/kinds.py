"""The kinds of lens that orders and tables of tolerances tell apart."""

from __future__ import annotations

from optics.errors import OpticsError, shown

LENS_KINDS = ("single vision", "multifocal", "progressive")


def checked_kind(lens: str) -> str:
    """A kind of lens, if it is one."""
    if lens not in LENS_KINDS:
        raise OpticsError(
            f'The kind of lens is "{lens}".', f"It is one of {', '.join(LENS_KINDS)}.", "Name one of these."
        )
    return lens


def checked_form(form: str) -> str:
    """A cylinder form, if it is one."""
    if form not in ("minus", "plus"):
        raise OpticsError(f"The form is {shown(form)}.", "It is minus or plus.", "Name one of these.")
    return form
