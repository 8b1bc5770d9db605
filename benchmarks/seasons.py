"""What the benchmarks work on: a real typical year, invented sample blocks, and many like them."""

from __future__ import annotations

import shutil
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from itertools import cycle, islice
from pathlib import Path

import numpy as np

from riskrules.blocks import BlockLogs
from riskrules.facts.derive import derive
from riskrules.facts.table import Facts
from riskrules.farm import setup_of
from riskrules.logs.events import of_block
from riskrules.logs.readings import Readings
from riskrules.logs.typical_year import PREFIX, locate, read_typical_year
from riskrules.logs.variables import VARIABLES
from riskrules.packs.load import Rulebook
from riskrules.review import latest, shipped_jobs, shipped_rulebook
from riskrules.sources import Gathered, gather
from riskrules.worklist.jobs import JobBook

ROOT = Path(__file__).resolve().parents[1]
SAMPLE = ROOT / "sample_logs"
YEAR = SAMPLE / "typical_year"
YEAR_LOG = f"{PREFIX}723170TYA.CSV"
SEED = 20250301
UNITS = {
    "air_temperature": "degC",
    "relative_humidity": "%",
    "dew_point_temperature": "degC",
    "wind_speed": "m s-1",
    "thickness_of_rainfall_amount": "mm",
}


@dataclass(frozen=True, slots=True)
class Season:
    """A farm's files, and the days that a review of all of it speaks of."""

    name: str
    log: Path
    folder: Path
    first: date = date(2025, 1, 1)
    last: date = date(2025, 12, 31)

    def gathered(self) -> Gathered:
        """Read all files of the season."""
        return gather([self.folder], self.folder / "farm.yaml")


@lru_cache(maxsize=1)
def book() -> Rulebook:
    """Return the shipped packs, loaded once."""
    return shipped_rulebook()


@lru_cache(maxsize=1)
def jobs() -> JobBook:
    """Return the shipped jobs, loaded once."""
    return shipped_jobs()


def typical_year() -> Season:
    """Return the typical year that pvlib ships, with the invented events that go with it."""
    return Season("typical-year file", locate(YEAR_LOG), YEAR)


def plain_year(folder: Path) -> Season:
    """Write the same year as a plain CSV of six columns, with its farm file, and return it."""
    readings = read_typical_year(locate(YEAR_LOG))
    frame = readings.frame[list(UNITS)]
    frame.columns = [f"{name} [{unit}]" for name, unit in UNITS.items()]
    frame.to_csv(folder / "year.csv", index_label="time", date_format="%Y-%m-%dT%H:%M:%SZ")
    farm = (YEAR / "farm.yaml").read_text(encoding="utf-8")
    (folder / "farm.yaml").write_text(farm.replace(YEAR_LOG, "year.csv"), encoding="utf-8")
    shutil.copy(YEAR / "events.csv", folder)
    return Season("six-column CSV", folder / "year.csv", folder)


def block_seasons(n: int) -> list[Facts]:
    """Return the facts of many block-seasons: those we have, then the same in other weather.

    The other weather is invented: warmer or colder, wetter or drier all through.
    """
    random = np.random.default_rng(SEED)
    found = []
    for i, (logs, of) in enumerate(islice(cycle(_shipped()), n)):
        own = BlockLogs(logs.text, _moved(logs.sources, random)) if i >= _count() else logs
        found.append(facts_of(own, of))
    return found


def _shipped() -> Iterator[tuple[BlockLogs, Gathered]]:
    for folder in (SAMPLE, YEAR):
        found = _gathered(folder)
        yield from ((logs, found) for logs in found.blocks)


@lru_cache(maxsize=2)
def _gathered(folder: Path) -> Gathered:
    return gather([folder], folder / "farm.yaml")


def _count() -> int:
    return sum(1 for _ in _shipped())


def facts_of(logs: BlockLogs, of: Gathered) -> Facts:
    """Return the facts of one block."""
    events = of_block(of.events, logs.text.block)
    return derive(
        logs.text.block, logs.sources, events, book().shared, of.farm.place,
        setup_of(logs.text), latest(of.blocks),
    )  # fmt: skip


def _moved(sources: Sequence[Readings], random: np.random.Generator) -> tuple[Readings, ...]:
    """Return readings with all temperatures moved by up to 2 K and all humidities by up to 5 %."""
    warmer, wetter = random.uniform(-2, 2), random.uniform(-5, 5)
    return tuple(_moved_source(rows, warmer, wetter) for rows in sources)


def _moved_source(rows: Readings, warmer: float, wetter: float) -> Readings:
    moved = rows.only(np.ones(len(rows), dtype=bool))
    for name, column in moved.values.items():
        variable = VARIABLES.get(name.removesuffix("_outside"))
        if variable is None or variable.unit not in ("degC", "%"):
            continue
        by = wetter if variable.unit == "%" else warmer
        moved.values[name] = np.clip(column + by, variable.least, variable.most)
    return moved
