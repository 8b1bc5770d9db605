"""An invented farm for the benchmark of the dashboard: many blocks, a season at short steps."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from uuid import UUID, uuid5

import numpy as np

from riskrules.journal.container_events import import_csv
from riskrules.journal.records import JobDone, Record
from riskrules.journal.store import open_journal
from riskrules.logs.readings import Ints
from riskrules.logs.typical_year import PREFIX, locate, read_typical_year

EVENTS = Path(__file__).resolve().parents[1] / "sample_logs" / "typical_year" / "events.csv"
"""What was done and seen on one invented block of the same year; here in every block."""
MARKED = ("read_thermometer", "lift_row_cover", "scout_flowers")
"""Jobs with a mark a day and block in the journal, so that it is as long as after a season."""
MARKS = UUID("0b6a2f5e-8d51-5c1e-9a53-8f0f6f5f7a10")
"""What the identifiers of marks are made in; any fixed one is as good."""

TYPICAL = f"{PREFIX}723170TYA.CSV"
STEP_S, DAY_S = 900, 86_400
SEED = 20260725
COLUMNS = {
    "air_temperature": "air_temperature [degC]",
    "relative_humidity": "relative_humidity [%]",
}
HEAD = """# Invented data: a typical year's weather with small differences, laid over many blocks.
farm: Benchmark Farm (invented)
place: {latitude: 36.10, longitude: -79.95, zone: Etc/GMT+5, elevation: 273}
show: {temperature: degF, rain: in}
journal: journal.db
blocks:
"""


def write_farm(folder: Path, blocks: int, days: int) -> Path:
    """Write a farm of blocks with a log each, from 1 April on, and return its farm file.

    Its journal holds the events of the sample of the typical year for each block, and marks.
    """
    import pandas as pd

    rows = read_typical_year(locate(TYPICAL))
    first = int(rows.time[0]) + 90 * DAY_S
    time = np.arange(first, first + days * DAY_S, STEP_S)
    random = np.random.default_rng(SEED)
    text = HEAD
    stamps = pd.to_datetime(time, unit="s", utc=True).strftime("%Y-%m-%dT%H:%MZ")
    for i in range(blocks):
        table = pd.DataFrame({"time": stamps})
        for name, column in COLUMNS.items():
            plain = np.interp(time, rows.time, rows.values[name])
            table[column] = np.round(plain + random.normal(0, 0.3, len(time)), 1)
        humidity = COLUMNS["relative_humidity"]
        table[humidity] = table[humidity].clip(1, 100)
        table["surface_wetness [1]"] = (table[humidity] >= 92).astype(int)
        table.to_csv(folder / f"block_{i:02}.csv", index=False)
        text += (
            f"  - block: block_{i:02}\n"
            f"    logs: [{{file: block_{i:02}.csv, placed: under_cover}}]\n"
            "    tunnel: low_tunnel\n    row_covers: true\n    ground: plastic\n"
            "    plants: day_neutral\n"
        )
    file = folder / "farm.yaml"
    file.write_text(text, encoding="utf-8")
    with open_journal(folder / "journal.db") as journal:
        journal.add(_records(folder, [f"block_{i:02}" for i in range(blocks)], time))
    return file


def _records(folder: Path, blocks: list[str], time: Ints) -> list[Record]:
    """Return what the journal holds: events up to the last row of the logs, and marks."""
    lines = EVENTS.read_text(encoding="utf-8").splitlines()
    head = next(i for i, line in enumerate(lines) if line.startswith("time,"))
    every = [line.replace(",typical,", f",{b},") for b in blocks for line in lines[head + 1 :]]
    file = folder / "events.csv"
    file.write_text("\n".join([lines[head], *every]) + "\n", encoding="utf-8")
    found = [r for r in import_csv(file, blocks=blocks) if r.time <= time[-1]]
    file.unlink()
    for noon in range(int(time[0]) + DAY_S // 2, int(time[-1]), DAY_S):
        day = datetime.fromtimestamp(noon, UTC).date()
        found += [
            Record(id=uuid5(MARKS, f"{b} {job} {day}"), block=b, time=noon, made=noon, who="ann",
                   came_by="dashboard", body=JobDone(job=job, what="done", day=day))
            for b in blocks for job in MARKED
        ]  # fmt: skip
    return found
