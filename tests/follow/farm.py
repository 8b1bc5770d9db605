"""An invented farm whose loggers write files into a folder, and what they should come to."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

FARM = """\
farm: Invented test farm
place: {latitude: 40.0, longitude: 0.0, zone: UTC}
store: store
silent_after: 6
review_within: 4
blocks:
  - block: low_beds
    logs: [{file: "in/low_*.csv", sensor: low}]
  - block: high_beds
    logs: [{file: "in/high.csv", sensor: high, silent_after: 2}]
"""
START = datetime(2026, 6, 1, tzinfo=UTC)
HEAD = "time,air_temperature [degC],relative_humidity [%]\n"


def make(folder: Path) -> Path:
    """Write the farm file and the folder for logs; return the farm file."""
    (folder / "in").mkdir(parents=True, exist_ok=True)
    path = folder / "farm.yaml"
    path.write_text(FARM, encoding="utf-8")
    return path


def rows(first: int, n: int, plus: float = 0.0) -> str:
    """Return rows ``first`` to ``first + n`` of the invented season, an hour each."""
    return "".join(
        f"{(START + timedelta(hours=i)).isoformat()},{10 + i % 17 / 4 + plus:.2f},{60 + i % 31}\n"
        for i in range(first, first + n)
    )


def moment(hours: float) -> int:
    """Return the time so many hours after the start. [s]"""
    return int((START + timedelta(hours=hours)).timestamp())
