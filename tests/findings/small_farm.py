"""A small invented farm: three blocks, five days of hours; no such farm, weather or harvest exists.

The first block has open flowers and wet, humid nights; the second is dry and hot by day; the
third is the first in the open. The last row is at 06:00 UTC on 2026-05-15.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from math import cos, pi
from pathlib import Path
from typing import Any

from riskrules.review import Review, review
from riskrules.sources import gather

BLOCKS = ("first_beds", "second_beds", "third_beds")
BEGIN = datetime(2026, 5, 10, 7, tzinfo=UTC)
ROWS = 120
NOW = int((BEGIN + timedelta(hours=ROWS - 1)).timestamp())
FARM = """\
farm: Invented small farm
place: {{latitude: 45.0, longitude: 0.0, zone: UTC}}
show: {{temperature: {unit}}}
outside: {{files: [{outside}]}}
events: [events.csv]
blocks:
"""
BLOCK = """\
  - block: {block}
    logs: [{{file: {block}.csv}}]
    tunnel: low_tunnel
    row_covers: true
    ground: plastic
    fruit_at_stake: {stake}
"""
EVENTS = """\
time,block,event,what,end,affected,examined
2026-05-10T08:00Z,,stages,60 65 71,,,
2026-05-10T08:00Z,,film,on,,,
2026-05-10T08:00Z,,sides,down,,,
2026-05-10T08:00Z,,row_cover,on,,,
2026-05-15T05:30Z,,checked,,,,
"""


def _row(hour: int, dry: bool, warmer: float) -> str:
    moment = BEGIN + timedelta(hours=hour)
    sun = max(-cos(2 * pi * moment.hour / 24), -0.3)
    night = moment.hour >= 18 or moment.hour < 8
    air = 17 + 8 * sun + (9 * max(sun, 0) if dry else 0) + warmer
    humid = 60 if dry else 98 if night else 70
    return f"{moment:%Y-%m-%dT%H:%MZ},{air:.1f},{humid},{0 if dry or not night else 1:d}"


def write_farm(
    folder: Path, unit: str = "degC", outside: bool = True, warmer: float = 0, events: str = EVENTS
) -> Path:
    """Write the farm's files; return its farm file."""
    header = "time,air_temperature [degC],relative_humidity [%],surface_wetness [1]"
    for block, dry in zip(BLOCKS, (False, True, False), strict=True):
        rows = [_row(i, dry, warmer) for i in range(ROWS)]
        (folder / f"{block}.csv").write_text("\n".join([header, *rows, ""]))
    rows = [_row(i, False, warmer - 2).rpartition(",")[0] for i in range(ROWS + 30)]
    head = "time,air_temperature [degC],relative_humidity [%],forecast"
    rows = [f"{row},{int(i >= ROWS)}" for i, row in enumerate(rows)]
    (folder / "outside.csv").write_text("\n".join([head, *rows, ""]))
    (folder / "events.csv").write_text(events)
    farm = folder / "farm.yaml"
    text = FARM.format(unit=unit, outside="outside.csv" if outside else "")
    blocks = [BLOCK.format(block=block, stake=3 - i) for i, block in enumerate(BLOCKS)]
    farm.write_text("".join([text, *blocks]))
    return farm


def reviewed(farm: Path, **more: Any) -> Review:
    """Review the farm."""
    read = gather([farm.parent], farm)
    return review(read.farm, read.blocks, read.events, **more)
