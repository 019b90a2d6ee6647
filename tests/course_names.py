"""Names of the small course that tests of several rooms share; `conftest` makes the course itself."""

from __future__ import annotations

from pathlib import Path

FORMS, BENCH = "91-forms", "92-bench"
CLASS = {
    "t101": "Mara Quillane",
    "t102": "Ämilis Von-Ester",
    "t103": "Corra Lindlow",
    "t104": "Corra Ann Lindlow",
    "t105": "Orwin Fenwold",
    "t106": "Orwin Fenwold",
}


def write_class_list(path: Path) -> Path:
    """Write the class list with the awkward cases: accents, a name within a name, two of one name."""
    path.write_text("id,name\n" + "".join(f"{one},{name}\n" for one, name in CLASS.items()), "utf-8")
    return path
