"""A small invented farm on disk, with fifty days of weather that is easy to follow.

Two blocks in bloom under a tunnel, mild and dry, with four damp hours each night. In ``north`` the
plants are wet from noon of the last day but one until the next morning: 18 hours at 20 °C.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

FIRST = datetime(2026, 4, 11)
DAYS = 50
HEAD = "time,air_temperature [degC],relative_humidity [%],surface_wetness [1]\n"
NOW = "2026-05-31T12:00:00+00:00"

FARM = """\
farm: Two Beds (invented)
place: {latitude: 40, longitude: 0, zone: UTC}
outside: {files: [outside.csv]}
events: [events.csv]
blocks:
- {block: north, logs: [{file: north.csv}], tunnel: low_tunnel, row_covers: true, ground: plastic,
   plants: day_neutral, fruit_at_stake: 4}
- {block: south, logs: [{file: south.csv}], tunnel: low_tunnel, row_covers: true, ground: plastic,
   plants: day_neutral, fruit_at_stake: 2}
hours: {lift_row_cover: 0.5}
"""
EVENT_HEAD = "time,block,event,what,end,affected,examined,note\n"


WET_FROM = (DAYS - 1) * 24 + 12
"""Rows until noon of 30 May, when the plants get wet. [h]"""


def rows(wet_hours: int, until: int = DAYS * 24 + 13, wet_air: float = 20) -> list[str]:
    """Hourly rows up to 12:00 of 31 May, with wet plants for some hours from noon of 30 May."""
    found = []
    for h in range(until):
        at = FIRST + timedelta(hours=h)
        light = 8 <= at.hour < 19
        wet = WET_FROM < h <= WET_FROM + wet_hours
        air = wet_air + (h % 3) / 10 if wet else (19 if light else 14) + (h % 7) / 10
        damp = 98 if wet else 96 if at.hour < 4 else (55 if light else 70) + h % 5
        found.append(f"{at:%Y-%m-%dT%H:%M}Z,{air:.1f},{damp},{int(wet)}\n")
    return found


def outside() -> list[str]:
    """Hours of the air outside, with a forecast for the three days after."""
    found = []
    for h in range((DAYS + 4) * 24):
        at = FIRST + timedelta(hours=h)
        forecast = int(h > DAYS * 24 + 12)
        found.append(f"{at:%Y-%m-%dT%H:%M}Z,{12 + (h % 9) / 10:.1f},60,0,{forecast}\n")
    return found


def events() -> list[str]:
    """What was done and seen: covers off, sides up, stages and checks every morning."""
    found = []
    for block in ("north", "south"):
        start = "2026-04-11T00:00Z"
        found += [f"{start},{block},{e},{w},,,,\n"
                  for e, w in (("film", "on"), ("row_cover", "off"), ("sides", "up"))]  # fmt: skip
        for day in range(DAYS + 1):
            at = f"{FIRST + timedelta(days=day):%Y-%m-%d}T07:{30 if block == 'north' else 45}Z"
            found.append(f"{at},{block},stages,60 65,,,,\n")
            found.append(f"{at},{block},checked,,,,,\n")
    return found


def make(folder: Path, north: list[str] | None = None, journal: list[str] | None = None) -> Path:
    """Write the farm; return its folder."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "farm.yaml").write_text(FARM)
    (folder / "north.csv").write_text(HEAD + "".join(rows(18) if north is None else north))
    (folder / "south.csv").write_text(HEAD + "".join(rows(0)))
    head = "time,air_temperature [degC],relative_humidity [%],rain [mm],forecast\n"
    (folder / "outside.csv").write_text(head + "".join(outside()))
    (folder / "events.csv").write_text(
        EVENT_HEAD + "".join(events() if journal is None else journal)
    )
    return folder
