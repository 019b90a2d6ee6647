"""The pair on the open bench and what is typed of it, kept beside the notebook.

A kernel that is restarted forgets; a learner should not have to write a ticket
twice. The file is small and may be deleted at any time.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

DRAFT_FILE = "my-open-bench.json"


def kept_draft(name: str, folder: Path) -> dict[str, Any]:
    """What was kept under a name; empty for nothing, or for what cannot be read."""
    kept = _all(folder).get(name)
    return kept if isinstance(kept, dict) else {}


def keep_draft(name: str, folder: Path, values: dict[str, Any]) -> bool:
    """Keep the state of one bench; False where the folder cannot be written to."""
    path = folder / DRAFT_FILE
    beside = path.with_suffix(f".{os.getpid()}.part")
    try:
        beside.write_text(json.dumps({**_all(folder), name: values}, indent=1), "utf-8")
        beside.replace(path)
    except OSError:
        beside.unlink(missing_ok=True)
        return False
    return True


def _all(folder: Path) -> dict[str, Any]:
    try:
        kept = json.loads((folder / DRAFT_FILE).read_text("utf-8"))
    except (OSError, ValueError):
        return {}
    return kept if isinstance(kept, dict) else {}
