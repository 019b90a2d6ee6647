"""What moves in a notebook: the focimeter at its bench, the pair, the ticket, and panels."""

from pathlib import Path

__all__ = ["front_end"]


def front_end(*names: str) -> str:
    """The text of front-end files of this room, one after another, as one script or sheet."""
    return "".join((Path(__file__).parent / name).read_text("utf-8") for name in names)
