"""The reviews over the sample farm and the typical year that together show every rule."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import pytest

from riskrules.review import Review, review, shipped_rulebook
from riskrules.sources import gather


@dataclass(frozen=True)
class Asked:
    """One review: farm file, first and last day, as of when, and which forecast.

    A rule that looks ahead is shown by a review as of a morning for which a forecast lies there.
    """

    farm: str
    first: date
    last: date
    as_of: str = ""
    forecast: str = ""


ASKED = {
    "season": Asked("farm.yaml", date(2026, 4, 1), date(2026, 10, 20)),
    "hot morning": Asked(
        "farm.yaml",
        date(2026, 6, 16),
        date(2026, 6, 17),
        "2026-06-16T05:00",
        "forecast_june_16.csv",
    ),
    "rain ahead": Asked(
        "farm.yaml",
        date(2026, 6, 26),
        date(2026, 6, 27),
        "2026-06-26T07:00",
        "forecast_june_26.csv",
    ),
    "typical year": Asked("typical_year/farm.yaml", date(2025, 1, 1), date(2025, 12, 31)),
}


def run(asked: Asked, folder: Path) -> Review:
    """Return what a review says."""
    farm = folder / asked.farm
    forecast = folder / asked.forecast if asked.forecast else None
    found = gather([farm.parent], farm, (), forecast)
    as_of = None
    if asked.as_of:
        moment = datetime.fromisoformat(asked.as_of).replace(tzinfo=found.farm.zone)
        as_of = int(moment.timestamp())
    return review(
        found.farm, found.blocks, found.events, shipped_rulebook(),
        first=asked.first, last=asked.last, as_of=as_of,
    )  # fmt: skip


@pytest.fixture(scope="session")
def reviews(sample_logs: Path) -> dict[str, Review]:
    """Return each review by its name, run once for all tests."""
    return {name: run(asked, sample_logs) for name, asked in ASKED.items()}
