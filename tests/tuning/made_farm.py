"""A small invented farm with log files and a journal, whose nights have a known truth.

Rot shows after nights of seven humid hours or more under the cover. No such farm exists.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from uuid import UUID

import numpy as np

from riskrules.journal.records import AnyBody, Record, RowCover, Sighting, Stages
from riskrules.journal.store import open_journal
from riskrules.logs.events import Event
from riskrules.logs.readings import Readings
from tests.tuning.made_up import humid_block_season

HIDDEN = 7.0
FARM = """\
# Invented data: no such farm exists.
farm: Made-up valley (invented)
place: {latitude: 40.0, longitude: 0.0, zone: UTC}
journal: journal.db
blocks:
"""
BLOCK = """\
  - block: {name}
    logs: [{{file: {name}.csv, placed: under_cover}}]
    tunnel: low_tunnel
    row_covers: true
    ground: plastic
    plants: day_neutral
"""


def make_farm(
    folder: Path, blocks: int = 2, years: tuple[int, ...] = (2023, 2024), days: int = 70
) -> Path:
    """Write a farm file, a CSV log a block, and a journal; return the farm file."""
    folder.mkdir(parents=True, exist_ok=True)
    names = [f"bed_{i}" for i in range(blocks)]
    text = FARM + "".join(BLOCK.format(name=n) for n in names)
    records: list[Record] = []
    for i, name in enumerate(names):
        lines = ["time,air_temperature [degC],relative_humidity [%]"]
        for year in years:
            made = humid_block_season(
                np.random.default_rng(100 * i + year), name, year, HIDDEN, days
            )
            lines += rows_of(made.logs.sources[0])
            records += [record_of(e, name, len(records) + n) for n, e in enumerate(made.events)]
        (folder / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (folder / "farm.yaml").write_text(text, encoding="utf-8")
    with open_journal(folder / "journal.db") as journal:
        journal.add(records)
    return folder / "farm.yaml"


def rows_of(rows: Readings) -> list[str]:
    """Return readings as lines of a CSV file."""
    air, humid = rows.values["air_temperature"], rows.values["relative_humidity"]
    stamps = [datetime.fromtimestamp(int(t), UTC).strftime("%Y-%m-%dT%H:%M:%SZ") for t in rows.time]
    return [f"{t},{a:.2f},{h:.2f}" for t, a, h in zip(stamps, air, humid, strict=True)]


def record_of(event: Event, block: str, number: int) -> Record:
    """Return an event as a record of the journal."""
    return Record(
        id=UUID(int=number + 1), block=block, time=event.time, body=_body(event),
        who="an invented scout", made=event.time,
    )  # fmt: skip


def _body(event: Event) -> AnyBody:
    if event.event == "stages":
        return Stages(codes=event.stages)
    if event.event == "row_cover":
        return RowCover(what=event.what)
    part, symptom = event.what.split()
    return Sighting(
        symptom=symptom, part=part, affected=event.affected, examined=event.examined
    )  # fmt: skip
