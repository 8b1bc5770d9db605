"""An invented farm for the benchmark of the dashboard: many blocks, a season at short steps."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from riskrules.logs.typical_year import PREFIX, locate, read_typical_year

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
    """Write a farm of blocks with a log each, from 1 April on, and return its farm file."""
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
    return file
