"""Where the packs, jobs and profiles that ship with the package are."""

from __future__ import annotations

from pathlib import Path


def rulepacks_folder() -> Path:
    """Return the folder of shipped packs: inside the wheel, or beside the package in a checkout."""
    inside = Path(__file__).parent / "rulepacks"
    return inside if inside.is_dir() else Path(__file__).parents[1] / "rulepacks"
