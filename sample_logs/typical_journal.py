"""Invented journal that goes with the typical year which pvlib ships (Greensboro).

The typical year is laid on the calendar year 2025: month, day and hour of each row are kept.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
from season_journal import FULL_SET, Entry, Journal, at, table

BLOCK = "typical"
NOTE = (
    "# Invented data: these events never happened; they go with the typical year that pvlib\n"
    "# ships (pvlib/data/723170TYA.CSV), laid on the calendar year 2025, clock UTC-5 all year.\n"
)
FARM = """\
farm: Typical Year Sample
place: {latitude: 36.10, longitude: -79.95, zone: Etc/GMT+5, elevation: 273}
show: {temperature: degF, rain: in}
events: [events.csv]
blocks:
  - block: typical
    logs: [{file: "pvlib:723170TYA.CSV", placed: outside}]
    tunnel: open
    row_covers: true
    ground: plastic
    plants: day_neutral
    fruit_at_stake: 3
hours: {lift_row_cover: 0.5, pick_sooner: 3.0}
"""
STAGES = (
    "55 56 57", "57 58 59 60", "57 60 61", "60 61 65", "60 61 65 67", "60 61 65 71", "60 65 71 73",
    "60 61 65 71 73 81 85",
)  # fmt: skip
STORY: tuple[tuple[str, str, str, str, str], ...] = (
    ("2025-04-16 17:30", "row_cover", "on", "", "frost expected"),
    ("2025-04-17 08:45", "row_cover", "off", "", ""),
    ("2025-06-10 08:00", "row_cover", "off", "", "still in the shed"),
    ("2025-08-05 08:00", "row_cover", "off", "", "still in the shed"),
    ("2025-09-28 08:00", "row_cover", "off", "", "still in the shed"),
    ("2025-03-12 09:00", "leaves", "", "", ""),
    ("2025-07-24 18:30", "irrigation", "overhead deep", "2025-07-24 21:00", ""),
    ("2025-07-10 13:00", "irrigation", "overhead brief", "2025-07-10 13:30", "to cool"),
    (
        "2025-08-08 05:00",
        "irrigation",
        "drip deep",
        "2025-08-08 06:45",
        "before the pick",
    ),
    ("2025-05-05 10:00", "sighting", "flower gray_mold", "1/100", ""),
    ("2025-06-06 10:00", "sighting", "ripe_fruit gray_mold", "16/150", ""),
    ("2025-06-20 10:00", "sighting", "ripe_fruit anthracnose", "4/120", ""),
    ("2025-07-18 10:00", "sighting", "flower heat_damage", "18/100", ""),
    ("2025-08-13 10:00", "sighting", "ripe_fruit gray_mold", "0/120", ""),
    ("2025-09-17 10:00", "sighting", "leaf tip_burn", "3/100", ""),
    ("2025-10-08 10:00", "sighting", "ripe_fruit gray_mold", "11/110", ""),
)


def routine(journal: Journal) -> None:
    """Write the weekly stages, the picking rounds and the drip."""
    start = pd.Timestamp("2025-03-01 08:00")
    for event, what in (("film", "off"), ("row_cover", "off"), ("straw", "removed")):
        journal.add(start, BLOCK, event, what)
    for i, day in enumerate(pd.date_range("2025-04-01", "2025-10-21", freq="7D")):
        what = STAGES[i] if i < len(STAGES) else FULL_SET
        journal.add(at(day, "07:30"), BLOCK, "stages", what)
    for day in pd.date_range("2025-05-20", "2025-10-15"):
        if day.dayofweek in (0, 2, 4):
            begin = at(day, "07:00") + journal.late(60)
            end = begin + pd.Timedelta(hours=2)
            journal.add(begin, BLOCK, "pick", "done", end)
            if journal.rng.random() > 0.05:
                journal.add(end + pd.Timedelta(hours=1) + journal.late(120), BLOCK, "cooled")
        if day.dayofweek in (1, 4):
            begin = at(day, "10:30") + journal.late(30)
            journal.add(begin, BLOCK, "irrigation", "drip deep", begin + pd.Timedelta(hours=2))
        if day.dayofweek == 4:
            journal.add(at(day, "12:45"), BLOCK, "cull")


def write_typical(folder: Path, rng: np.random.Generator) -> None:
    """Write events.csv and farm.yaml of the typical year."""
    journal = Journal(rng)
    routine(journal)
    for when, event, what, more, note in STORY:
        hit, seen = more.split("/") if event == "sighting" else ("", "")
        end = "" if event == "sighting" else more
        journal.entries.append(Entry(pd.Timestamp(when), BLOCK, event, what, end, hit, seen, note))
    journal.add(pd.Timestamp("2025-12-31 18:00"), BLOCK, "checked")
    folder.mkdir(exist_ok=True)
    rows = table(sorted(journal.entries), "-05:00").to_csv(index=False, lineterminator="\n")
    (folder / "events.csv").write_text(NOTE + rows, encoding="utf-8", newline="\n")
    (folder / "farm.yaml").write_text(NOTE + FARM, encoding="utf-8", newline="\n")
