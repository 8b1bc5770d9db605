"""1: our whole review of a season against pandas alone reading its file."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd

from benchmarks.rows import Result, Row, compared
from benchmarks.seasons import Season, book, jobs, plain_year, typical_year
from benchmarks.stages import shares_of
from benchmarks.timing import in_turns
from riskrules.engine.process import shared_engine
from riskrules.report import dumps
from riskrules.review import review

NUMBER = 1
AIM = 15.0
"""Times the plain read of its file that a whole review may take. (assumption)"""


def run(quick: bool) -> Result:
    """Compare, for the file as it is shipped and for a plain CSV of the same year."""
    times = 1 if quick else 5
    rows: list[Row] = []
    lines: list[str] = []
    with TemporaryDirectory() as folder:
        for season in (typical_year(), plain_year(Path(folder))):
            rows += _rows(season, times)
            shares = shares_of(partial(whole, season), 1 if quick else 2)
            lines.append(f"shares of the whole review, {season.name}: {shares.line()}")
    return Result(tuple(rows), tuple(lines))


def _rows(season: Season, times: int) -> list[Row]:
    skip = 1 if season.log.suffix == ".CSV" else 0
    alternatives: dict[str, Callable[[], object]] = {
        "pandas": lambda: pd.read_csv(season.log, skiprows=skip),
        "reading it our way": lambda: season.gathered(),
        "review of all of it, JSON": lambda: whole(season),
        "review of its last night": lambda: last_night(season),
        "loading the packs, once": load_packs,
    }
    took = in_turns(alternatives, times, lambda: shared_engine().pid)
    return [
        compared(
            NUMBER, f"{name}: {season.name}", took[name], took["pandas"], "pandas reads it",
            AIM if name.startswith("review") else None,
        )
        for name in list(alternatives)[1:]
    ]  # fmt: skip


def whole(season: Season) -> str:
    """Read and review all of a season and return its JSON."""
    read = season.gathered()
    found = review(
        read.farm, read.blocks, read.events, book(), jobs(), season.first, season.last,
        engine=shared_engine(),
    )  # fmt: skip
    return dumps(found)


def last_night(season: Season) -> str:
    """Read all of a season, review its last night and day, and return the JSON."""
    read = season.gathered()
    return dumps(
        review(read.farm, read.blocks, read.events, book(), jobs(), engine=shared_engine())
    )


def load_packs() -> object:
    """Load the packs and jobs anew."""
    book.cache_clear()
    jobs.cache_clear()
    return book(), jobs()
