"""A small invented archive of seasons: one month of weather a block and year, by a fixed seed."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from riskrules.logs.readings import Readings
from riskrules.tuning.archive import write_season

ZONE = "America/Chicago"
DAYS = 30
FARM = """\
# Invented data: no such farm exists.
farm: Made-up archive (invented)
place: {{latitude: 38.0, longitude: -88.0, zone: {zone}}}
events: [events.csv]
blocks:
{blocks}"""
BLOCK = """\
  - block: {name}
    logs: [{{file: {name}.csv, placed: under_cover}}]
    tunnel: low_tunnel
    row_covers: false
    plants: day_neutral
{more}"""


def make_archive(
    folder: Path, blocks: int = 2, years: tuple[int, ...] = (2023, 2024), lends: bool = False
) -> Path:
    """Write farm file, events and a Parquet file for each block and year; return the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    names = [f"bed_{i}" for i in range(blocks)]
    loan = "    borrow: [{of: bed_1, variables: [relative_humidity]}]\n"
    text = "".join(BLOCK.format(name=n, more=loan if lends and n == "bed_0" else "") for n in names)
    (folder / "farm.yaml").write_text(FARM.format(zone=ZONE, blocks=text), encoding="utf-8")
    rows = ["time,block,event,what,end,affected,examined"]
    for i, name in enumerate(names):
        for year in years:
            rows += [
                f"{year}-05-01T08:00,{name},stages,65 71,,,",
                f"{year}-05-{20 + i % 8}T08:00,{name},sighting,ripe_fruit gray_mold,,{i % 3},80",
            ]
            write_season(season_file(folder, name, year), [weather(year, seed=100 * i + year)])
    (folder / "events.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return folder


def season_file(folder: Path, block: str, year: int) -> Path:
    """Return where a season's readings are."""
    return folder / f"block={block}" / f"season={year}.parquet"


def weather(year: int, seed: int, days: int = DAYS) -> Readings:
    """Return hourly readings from the 1st of May: wet, mild nights now and then."""
    random = np.random.default_rng(seed)
    first = datetime(year, 5, 1, tzinfo=ZoneInfo(ZONE)) + timedelta(hours=1)
    hour = np.arange(days * 24)
    wet = np.repeat(random.random(days) < 0.4, 24) & ((hour % 24 < 9) | (hour % 24 > 19))
    mild = 18 + 6 * np.sin((hour % 24 - 9) * np.pi / 12) + random.normal(0, 0.5, len(hour))
    values = {
        "air_temperature": np.round(mild, 1),
        "relative_humidity": np.where(wet, 97.0, np.round(70 + random.normal(0, 3, len(hour)))),
        "surface_wetness": wet.astype(float),
    }
    cause = {name: np.zeros(len(hour), dtype=np.int64) for name in values}
    time = int(first.timestamp()) + hour * 3600
    return Readings(time, 3600, values, cause, np.zeros(len(hour), dtype=bool), sensor="log")
