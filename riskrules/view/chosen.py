"""Which farm was open last on this computer, so that the next start finds it."""

from __future__ import annotations

import os
from pathlib import Path

HOME = "RISKRULES_HOME"
"""The folder in which this computer remembers; else ``.riskrules`` in the user's own folder."""


def home() -> Path:
    """Return the folder in which this computer remembers."""
    named = os.environ.get(HOME)
    return Path(named) if named else Path.home() / ".riskrules"


def remembered() -> Path | None:
    """Return the farm file that was open last, if it is there still."""
    try:
        found = Path((home() / "last_farm").read_text(encoding="utf-8").strip())
    except (OSError, ValueError):
        return None
    return found if found.is_file() else None


def remember(farm_file: Path) -> None:
    """Remember a farm file as the one that is open. Where that cannot be, it is asked again."""
    try:
        home().mkdir(parents=True, exist_ok=True)
        (home() / "last_farm").write_text(str(farm_file.absolute()), encoding="utf-8")
    except OSError:
        return
