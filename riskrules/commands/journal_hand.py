"""Who wrote last on this machine, so that one need not say it each time; it is stated."""

from __future__ import annotations

import os
from pathlib import Path


def _state_file() -> Path:
    folder = os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state"
    return Path(folder) / "riskrules" / "last_hand"


def last_hand() -> str:
    """Return who wrote last on this machine; empty where that is not known."""
    try:
        return _state_file().read_text(encoding="utf-8").strip()[:200]
    except (OSError, ValueError, RuntimeError):
        return ""


def remember(who: str) -> None:
    """Note who wrote; where that cannot be noted, nothing is lost but a convenience."""
    try:
        file = _state_file()
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(who, encoding="utf-8")
    except (OSError, ValueError, RuntimeError):
        return
