"""Opening a notebook file, whatever its state: old, damaged, or huge with outputs."""

from __future__ import annotations

import base64
import json
import re
import uuid
from typing import Any

import nbformat
from nbformat.notebooknode import NotebookNode

from optics.course.handed_out import set_stamp, stamp_of
from optics.errors import OpticsError

LARGEST_PICTURE = 2_000_000
PICTURES = {"image/png": b"\x89PNG\r\n", "image/jpeg": b"\xff\xd8\xff", "image/gif": b"GIF8"}
"""Kinds of picture that may be attached, and what each begins with."""


class NotebookError(OpticsError):
    """A file that holds no notebook, or not enough of one to read."""


def _decoded(data: bytes) -> str:
    return data.decode(json.detect_encoding(data), "replace").lstrip("\ufeff")


def _whole_cells(text: str) -> list[dict]:
    """Cells that can still be read from a file that breaks off or is spoiled."""
    start = re.search(r'"cells"\s*:\s*\[', text)
    if not start:
        return []
    decoder = json.JSONDecoder(strict=False)
    cells, place = [], start.end()
    while (match := re.compile(r"[\s,]*").match(text, place)) and text[match.end() : match.end() + 1] == "{":
        try:
            cell, place = decoder.raw_decode(text, match.end())
        except (ValueError, RecursionError):
            break
        cells.append(cell)
    return cells


def _plain_text(value: Any) -> str:
    if isinstance(value, list):
        value = "".join(part for part in value if isinstance(part, str))
    if not isinstance(value, str):
        return ""
    # Half characters cannot be written to a file.
    return value.encode("utf-8", "replace").decode("utf-8")


def _plain_cell(raw: Any, ids: set[str]) -> NotebookNode | None:
    """A cell with its text and nbgrader's key, and nothing else."""
    if not isinstance(raw, dict) or raw.get("cell_type") not in {"code", "markdown"}:
        return None
    metadata = raw.get("metadata")
    metadata = metadata if isinstance(metadata, dict) else {}
    key = metadata.get("nbgrader")
    name = raw.get("id")
    if not isinstance(name, str) or not re.fullmatch(r"[a-zA-Z0-9-_]{1,64}", name) or name in ids:
        name = uuid.uuid4().hex[:8]
    ids.add(name)
    cell = NotebookNode(
        id=name,
        cell_type=raw["cell_type"],
        metadata=NotebookNode({"nbgrader": NotebookNode(key)} if isinstance(key, dict) else {}),
        source=_plain_text(raw.get("source", raw.get("input", ""))),
    )
    if cell.cell_type == "code":
        cell.update(outputs=[], execution_count=None)
    elif pictures := _pictures(raw.get("attachments")):
        cell.attachments = pictures
    return cell


def _pictures(attachments: Any) -> NotebookNode:
    """Attached pictures, as far as they are pictures and not huge."""
    kept = NotebookNode()
    for name, bundle in attachments.items() if isinstance(attachments, dict) else ():
        for kind, data in bundle.items() if isinstance(bundle, dict) else ():
            data = _plain_text(data)
            if kind in PICTURES and len(data) <= LARGEST_PICTURE and _is_picture(data, PICTURES[kind]):
                kept[str(name)] = NotebookNode({kind: data})
    return kept


def _is_picture(text: str, begins: bytes) -> bool:
    """Whether an attachment is what it says; a page shows anything else as a broken picture."""
    try:
        return base64.b64decode("".join(text.split()), validate=True).startswith(begins)
    except ValueError:
        return False


def load_notebook(data: bytes) -> tuple[NotebookNode, list[str]]:
    """A notebook from a file's content: its cells' text, without outputs.

    Parameters
    ----------
    data : bytes
        The file as sent, of any version of the format, whole or not.

    Returns
    -------
    NotebookNode
        In the current format.
    list of str
        A sentence for whatever was wrong with the file.

    Raises
    ------
    NotebookError
        Where not one cell can be read.
    """
    notes: list[str] = []
    text = _decoded(data)
    try:
        raw = json.loads(text, strict=False)
    except (ValueError, RecursionError):
        cells = _whole_cells(text)
        if not cells:
            raise NotebookError(
                "The file is not a notebook, or it is damaged beyond reading.",
                "A notebook is the file ending in .ipynb as JupyterLab saves it.",
                "Ask for the file again.",
            ) from None
        raw = {"nbformat": 4, "cells": cells}
        notes.append(f"The file is damaged; {len(cells)} of its cells could still be read.")
    raw = _current(raw, notes)
    ids: set[str] = set()
    cells = [cell for cell in map(lambda each: _plain_cell(each, ids), raw["cells"]) if cell is not None]
    notebook = nbformat.v4.new_notebook(cells=cells)
    set_stamp(notebook, stamp_of(raw.get("metadata")))
    return notebook, notes


def _current(raw: Any, notes: list[str]) -> dict:
    """The notebook's plain content in the current format."""
    if isinstance(raw, dict) and isinstance(raw.get("worksheets"), list):
        # Format 3 and before kept cells in worksheets.
        notes.append("The notebook was saved in an old format.")
        sheets = [sheet for sheet in raw["worksheets"] if isinstance(sheet, dict)]
        raw = {"cells": [cell for sheet in sheets for cell in sheet.get("cells") or []]}
    if not isinstance(raw, dict) or not isinstance(raw.get("cells"), list):
        raise NotebookError(
            "The file is not a notebook.",
            "A notebook is the file ending in .ipynb as JupyterLab saves it.",
            "Ask for that file.",
        )
    return raw


def to_text(notebook: NotebookNode) -> str:
    """The notebook as it is written to a file."""
    return nbformat.writes(notebook, version=4) + "\n"
