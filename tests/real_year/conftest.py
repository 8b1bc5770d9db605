"""The reviewed year, made once for all tests of this folder."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from riskrules.engine.process import EngineProcess, shared_engine
from riskrules.review import Review, review
from riskrules.sources import Gathered, gather

from .year import plain_year

FIRST, LAST = date(2025, 1, 1), date(2025, 12, 31)


@pytest.fixture(scope="session")
def gathered(sample_logs: Path) -> Gathered:
    folder = sample_logs / "typical_year"
    return gather([folder], folder / "farm.yaml")


@pytest.fixture(scope="session")
def engine() -> EngineProcess:
    return shared_engine()


@pytest.fixture(scope="session")
def reviewed(gathered: Gathered, engine: EngineProcess) -> Review:
    return review(
        gathered.farm, gathered.blocks, gathered.events, first=FIRST, last=LAST, engine=engine
    )


@pytest.fixture(scope="session")
def year() -> pd.DataFrame:
    return plain_year()
