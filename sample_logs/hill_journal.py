"""Invented journal of the hill beds: a small bare block in the open, looked after now and then."""

from __future__ import annotations

import numpy as np
import pandas as pd
from season_journal import Entry, Journal, at

BLOCK = "hill_beds"
SUMMER = "60 61 65 71 73 81 85 87"
STAGES: dict[str, str] = {
    "2026-04-13": "55 56",
    "2026-04-20": "55 56 57",
    "2026-04-27": "57 58",
    "2026-05-04": "58 59 60",
    "2026-05-11": "60 61 65",
    "2026-05-18": "60 61 65 71",
    "2026-05-25": "60 65 71 73",
    "2026-06-01": "60 65 71 73 81",
    "2026-06-08": "60 61 65 71 73 81 85",
    "2026-10-12": "60 65 71 73 85",
    "2026-10-19": "60 65 71 73 85",
}
AWAY = ("2026-08-02", "2026-08-11")
"""First and last day of a stretch without anybody at the hill beds."""
LAST_PICK = pd.Timestamp("2026-10-13")

# time, event, what, end or counts, note
STORY: tuple[tuple[str, str, str, str, str], ...] = (
    ("2026-04-01 00:00", "film", "off", "", ""),
    ("2026-04-01 00:00", "straw", "removed", "", "bare ground, none laid"),
    ("2026-06-05 11:00", "sighting", "ripe_fruit leather_rot", "0/60", "first look"),
    ("2026-06-09 18:00", "leaves", "", "", "dead ones cut out at last"),
    ("2026-06-24 19:00", "irrigation", "drip deep", "2026-06-24 21:00", ""),
    ("2026-06-26 05:15", "irrigation", "drip deep", "2026-06-26 06:45", "before the rain came"),
    ("2026-06-27 06:30", "pick", "planned", "2026-06-27 08:30", "for the market"),
    ("2026-07-02 10:00", "sighting", "ripe_fruit anthracnose", "0/120", "none, in spite of rain"),
    ("2026-07-14 19:00", "irrigation", "drip deep", "2026-07-14 21:00", ""),
    ("2026-08-11 09:00", "irrigation", "drip deep", "2026-08-11 11:00", "back home"),
    ("2026-10-20 06:55", "checked", "", "", ""),
)


def hill_season(rng: np.random.Generator) -> list[Entry]:
    """Return the entries of the hill beds: stages, a pick every three or four days, the story.

    Nobody covers, lays straw or counts frosted flowers here, and leaves are cleared late.
    """
    journal = Journal(rng)
    for day in pd.date_range("2026-04-13", "2026-10-19", freq="7D"):
        journal.add(at(day, "07:45"), BLOCK, "stages", STAGES.get(str(day)[:10], SUMMER))
    day = pd.Timestamp("2026-06-09")
    while day <= LAST_PICK:
        if not AWAY[0] <= str(day)[:10] <= AWAY[1]:
            one_pick(journal, day)
        day += pd.Timedelta(days=3 + int(rng.random() < 0.4))
    for day in pd.date_range("2026-04-05", "2026-10-18", freq="7D"):
        journal.add(at(day, "19:30"), BLOCK, "checked")
    for when, event, what, more, note in STORY:
        hit, seen = more.split("/") if event == "sighting" else ("", "")
        end = "" if event == "sighting" else more
        journal.entries.append(Entry(pd.Timestamp(when), BLOCK, event, what, end, hit, seen, note))
    return sorted(journal.entries)


def one_pick(journal: Journal, day: pd.Timestamp) -> None:
    """Write a morning pick, and when its fruit was cool."""
    start = at(day, "07:30") + journal.late(60)
    end = start + pd.Timedelta(hours=1) + journal.late(40)
    journal.add(start, BLOCK, "pick", "done", end)
    journal.add(end + pd.Timedelta(minutes=50) + journal.late(60), BLOCK, "cooled")
