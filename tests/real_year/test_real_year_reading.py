"""The typical year as we read it, against a plain read of the same file."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pandas as pd
import pytest

from riskrules.logs.readings import Readings
from riskrules.logs.typical_year import locate, read_typical_year
from riskrules.sources import Gathered

from .year import FILE, HOUR

NAMES = {
    "t": "air_temperature",
    "dew": "dew_point_temperature",
    "rh": "relative_humidity",
    "wind": "wind_speed",
    "rain": "thickness_of_rainfall_amount",
}


@pytest.fixture(scope="module")
def rows() -> Readings:
    return read_typical_year(locate("pvlib:723170TYA.CSV"))


@pytest.mark.parametrize("column", NAMES)
def test_every_value_of_the_year_is_the_file_s(
    rows: Readings, year: pd.DataFrame, column: str
) -> None:
    np.testing.assert_allclose(rows.values[NAMES[column]], year[column], rtol=0, atol=1e-12)
    assert not rows.cause[NAMES[column]].any()


def test_the_year_has_8760_hours_one_after_the_other(rows: Readings, year: pd.DataFrame) -> None:
    assert len(rows) == 8760 == len(year)
    assert (np.diff(rows.time) == HOUR).all() and rows.step == HOUR
    assert (rows.time == year["end"]).all()


def test_the_first_row_ends_at_one_and_the_last_at_midnight_of_the_clock_there(
    rows: Readings,
) -> None:
    # The file says 01:00 of 1 January and 24:00 of 31 December, UTC-5.
    assert datetime.fromtimestamp(int(rows.time[0]), UTC) == datetime(2025, 1, 1, 6, tzinfo=UTC)
    assert datetime.fromtimestamp(int(rows.time[-1]), UTC) == datetime(2026, 1, 1, 5, tzinfo=UTC)


def test_the_row_of_24_00_belongs_to_its_own_date(rows: Readings) -> None:
    """Compare with the text of the file itself, line by line, without pandas."""
    lines = FILE.read_text(encoding="ascii").splitlines()
    header = lines[1].split(",")
    at, hour = header.index("Dry-bulb (C)"), header.index("Time (HH:MM)")
    midnights = [line.split(",") for line in lines[2:] if line.split(",")[hour] == "24:00"]
    assert len(midnights) == 365
    local = rows.time - 5 * HOUR
    ours = rows.values["air_temperature"][local % 86_400 == 0]
    assert ours.tolist() == [float(cells[at]) for cells in midnights]


def test_the_rain_is_in_tenths_of_a_millimetre(rows: Readings) -> None:
    # Greensboro has about 1.1 m of rain a year; read as whole millimetres it would have 8 m.
    total = float(rows.values["thickness_of_rainfall_amount"].sum())
    assert 600 < total < 1600


def test_dew_point_and_humidity_of_the_file_agree_so_that_neither_column_is_another(
    rows: Readings,
) -> None:
    t, dew = rows.values["air_temperature"], rows.values["dew_point_temperature"]
    humidity = 100 * np.exp(17.625 * dew / (243.04 + dew) - 17.625 * t / (243.04 + t))  # Magnus
    # In some hours of the file itself the two columns contradict each other, by up to 33 %.
    apart = np.abs(humidity - rows.values["relative_humidity"])
    assert np.median(apart) < 0.5 and np.quantile(apart, 0.95) < 3


def test_the_farm_s_block_reads_this_very_file(gathered: Gathered, rows: Readings) -> None:
    (block,) = gathered.blocks
    (source,) = block.sources
    assert (source.time == rows.time).all() and source.files == rows.files
    assert not gathered.notes
