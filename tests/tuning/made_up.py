"""Made-up block-seasons whose truth is known. All numbers here are invented.

`season` makes the rows of a replay by hand, without logs: nights of so many humid hours, and a
finding on each night that reaches a threshold. `humid_block_season` makes real readings and
events, so that the whole path from log to sweep is tried.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np

from riskrules.blocks import BlockLogs
from riskrules.farm import BlockText, Farm, FarmText, LogText, PlaceText
from riskrules.logs.events import Event
from riskrules.logs.readings import Readings
from riskrules.packs.load import Rulebook
from riskrules.review import shipped_rulebook
from riskrules.tuning.rows import ChanceRow, FindingRow, ProfileResult, SeasonResult, SeenRow
from riskrules.tuning.seasons import BlockSeason
from riskrules.tuning.tally import Latency

DAY = 86_400
HOUR = 3600
START = 1_700_006_400  # a midnight in UTC
LATENCY = Latency("gray_mold", 14, 28, "as facts.yaml", "read")
RULE = "gray_mold.humid_night_under_cover"
BOOK = shipped_rulebook()
Rng = np.random.Generator


def finding(start: int, hours: float = 8, rule: str = RULE) -> FindingRow:
    end = start + int(hours * HOUR)
    return FindingRow(
        f"{rule}@{start}", rule, "gray_mold", "b", "s", "2023-11", start, end, "Minor", "Likely",
        True, None, None,
    )  # fmt: skip


def result(
    block: str,
    season: str,
    findings: dict[str, Sequence[FindingRow]],
    seen: Sequence[tuple[int, int]],
    chances: Sequence[ChanceRow] = (),
    days: int = 200,
) -> SeasonResult:
    """Return a block-season; ``seen`` holds time and number affected, each of 60 examined."""
    profiles = tuple(
        ProfileResult(n, "", block, season, "done", "", tuple(rows), (), tuple(chances), ())
        for n, rows in sorted(findings.items())
    )
    rows = tuple(SeenRow(t, "gray_mold", "ripe_fruit", a, 60) for t, a in seen)
    # The log reaches far enough back and ahead that every sighting is covered.
    span = (START - 40 * DAY, START + (days + 40) * DAY)
    return SeasonResult(
        block, season, "UTC", START, START + days * DAY, *span, 1.0, 24 * days, rows, profiles
    )


def season(
    rng: Rng,
    block: str,
    label: str,
    thresholds: dict[str, float],
    shows: Callable[[np.ndarray, int, Rng], bool],
) -> SeasonResult:
    """Return a season of nights with 0 to 12 humid hours, long ones rare, and weekly walks.

    ``shows`` says from the humid hours of all nights, the day and a generator whether the scout
    sees the symptom.
    """
    hours = np.round(np.where(rng.random(200) < 0.08, rng.uniform(3, 12, 200), 1.0), 1)
    findings = {
        name: [finding(START + d * DAY, hours[d]) for d in np.flatnonzero(hours >= limit)]
        for name, limit in thresholds.items()
    }
    walks = [(START + d * DAY + 2 * HOUR, 5 * int(shows(hours, d, rng))) for d in range(30, 200, 7)]
    return result(block, label, findings, walks)


def from_hidden(hidden: float) -> Callable[[np.ndarray, int, Rng], bool]:
    """Return scouts that see the symptom 14 to 28 days after a night of the hidden hours."""

    def shows(hours: np.ndarray, day: int, rng: Rng) -> bool:
        # Two hours after a night begins: of those that began 14 to 28 days before.
        return bool((hours[max(day - 28, 0) : day - 13] >= hidden).any())

    return shows


def at_random(hours: np.ndarray, day: int, rng: Rng) -> bool:
    return bool(rng.random() < 0.4)


def humid_block_season(
    rng: Rng, block: str, year: int, hidden: float, days: int = 90
) -> BlockSeason:
    """Return logs and events of a covered block in bloom; truth: nights of the hidden hours."""
    farm = Farm(
        FarmText(
            farm="made up",
            place=PlaceText(latitude=40.0, longitude=0.0, zone="UTC"),
            blocks=[
                BlockText(block=block, logs=[LogText(file="x.csv")], tunnel="low_tunnel",
                          row_covers=True, ground="plastic")
            ],
        ),
        Path("."),
    )  # fmt: skip
    first = int(np.datetime64(f"{year}-04-01").astype("datetime64[s]").astype(int))
    time = first + HOUR * np.arange(1, days * 24 + 1, dtype=np.int64)
    long = rng.random(days) < 0.1
    humid = np.where(long, rng.integers(3, 10, days), 1)
    row_night = (time - 1 - first + 12 * HOUR) // DAY  # nights counted from noon to noon
    into = (time - 1 - first + 12 * HOUR) % DAY // HOUR - 8  # hours since 20:00, in the dark
    wet = (into >= 0) & (into < humid[np.minimum(row_night, days - 1)])
    noise = rng.normal(0, 0.3, len(time))
    values = {
        "relative_humidity": np.where(wet, 92.5, 65.0) + noise,
        "air_temperature": 14 + 4 * np.sin((time % DAY) / DAY * 2 * np.pi - 2.4) + noise,
    }
    cause = {k: np.zeros(len(time), dtype=np.int64) for k in values}
    rows = Readings(time, HOUR, values, cause, np.zeros(len(time), dtype=bool), files=("x.csv",))
    events = [
        Event(first + d * DAY + HOUR, "row_cover", "on", block=block) for d in range(0, days, 5)
    ]
    events += [
        Event(first + d * DAY + HOUR, "stages", "60 65", block=block, stages=(60, 65))
        for d in range(0, days, 5)
    ]
    for d in range(30, days, 4):
        # Night k begins on the evening of day k - 1.
        due = humid[max(d - 28, 0) : d - 13] >= hidden
        seen = 6 if due.any() else 0
        events.append(
            Event(first + d * DAY + 10 * HOUR, "sighting", "ripe_fruit gray_mold", None, seen, 60,
                  block)
        )  # fmt: skip
    logs = BlockLogs(farm.text.blocks[0], (rows,))
    span = date(year, 4, 1), date(year, 6, 29)
    return BlockSeason(block, str(year), *span, farm, logs, tuple(sorted(events)))


def only_gray_mold() -> Rulebook:
    return replace(BOOK, packs=tuple(p for p in BOOK.packs if p.name == "gray_mold"))
