"""Where the project's own files lie: in the checkout, or packed into the installed package."""

from __future__ import annotations

import csv
from pathlib import Path


def project_folder(name: str) -> Path:
    """Folder of the project, "datasets" or "notebooks".

    In a checkout (and an editable install) it stands beside the package; a wheel
    carries a copy inside the package.
    """
    here = Path(__file__).resolve().parent
    packed = here / "_packed" / name
    return packed if packed.is_dir() else here.parent / name


def data_rows(path: Path) -> list[dict[str, str]]:
    """The rows of a table of the project's own, each by its heads."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))
