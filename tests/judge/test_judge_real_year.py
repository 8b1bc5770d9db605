"""Greensboro: the hours whose humidity contradicts the dew point, against MetPy's own formula."""

from __future__ import annotations

import numpy as np
import pytest

from riskrules.logs.judge import judge
from riskrules.logs.readings import Readings
from riskrules.logs.troubles import Flag, Trouble
from tests.real_year.year import plain_year

from .hand import DEW, LIMITS, PLACE, RAIN, RH, T, flagged

GREENSBORO = PLACE.__class__(36.1, -79.95, "America/New_York")


@pytest.fixture(scope="module")
def rows() -> Readings:
    year = plain_year()
    columns = {T: "t", RH: "rh", DEW: "dew", RAIN: "rain", "wind_speed": "wind"}
    values = {name: year[key].to_numpy(dtype=float) for name, key in columns.items()}
    n = len(year)
    none = {name: np.zeros(n, dtype=np.int64) for name in values}
    return Readings(year["end"].to_numpy(), 3600, values, none, np.zeros(n, dtype=bool),
                    ("year",), placed="outside")  # fmt: skip


def test_the_hours_whose_humidity_contradicts_the_dew_point_are_those_of_metpy(
    rows: Readings,
) -> None:
    from metpy.calc import relative_humidity_from_dewpoint
    from metpy.units import units

    found = flagged(judge(rows), RH, Trouble.AGAINST_DEW_POINT)
    air, dew = rows.values[T] * units.degC, rows.values[DEW] * units.degC
    implied = relative_humidity_from_dewpoint(air, dew).to("percent").magnitude
    apart = np.abs(implied - rows.values[RH])
    limit = LIMITS.own.against_dew_point
    # The two formulas differ by up to 0.22 % of humidity in this year (computed): hours within
    # that of the limit may fall on either side; all others must agree.
    margin = 0.25
    sure = set(np.flatnonzero(apart > limit + margin).tolist())
    maybe = set(np.flatnonzero(apart > limit - margin).tolist())
    assert sure <= set(found) <= maybe
    assert len(maybe - sure) <= 6
    assert len(found) == len(np.flatnonzero(apart > limit)) == 31  # of 8,760 hours


def test_each_such_hour_spans_both_and_every_other_is_as_it_was(rows: Readings) -> None:
    year = judge(rows)
    found = flagged(year, RH, Trouble.AGAINST_DEW_POINT)
    wide = year.most(RH) - year.least(RH)
    assert (wide[found] > LIMITS.own.against_dew_point).all() and wide[found].max() > 30
    rest = np.setdiff1d(np.arange(len(year)), found)
    assert (wide[rest] == 0).all()
    assert (year.flags[RH][rest] == Flag.PASS).all()


def test_of_real_weather_hardly_anything_is_doubted(rows: Readings) -> None:
    year = judge(rows, place=GREENSBORO)
    counts = {n.trouble for n in year.notes}
    assert counts == {"stuck", "against_dew_point"}
    # One frosty spell in January that the file itself holds at one value for 16 hours.
    assert len(flagged(year, T, Trouble.STUCK)) == 16
    for name in (RAIN, "wind_speed"):
        assert (year.flags[name] == Flag.PASS).all()


@pytest.mark.parametrize("hours", [10, 12, -10, -11])
def test_the_year_with_a_clock_so_far_off_is_found_and_the_shift_is_near(
    rows: Readings, hours: int
) -> None:
    moved = Readings(rows.time + hours * 3600, 3600, rows.values, rows.cause, rows.forecast)
    (note,) = [n for n in judge(moved, place=GREENSBORO).notes if n.trouble == "day_turned"]
    said = float(note.message.split("clock is about ")[1].split(" h")[0])
    said *= 1 if " h ahead" in note.message else -1
    apart = (said - hours + 12) % 24 - 12
    assert abs(apart) <= 1.5, note.message


@pytest.mark.parametrize("hours", [-4, -2, 0, 1, 3])
def test_the_year_with_a_clock_a_little_off_is_not(rows: Readings, hours: int) -> None:
    moved = Readings(rows.time + hours * 3600, 3600, rows.values, rows.cause, rows.forecast)
    assert not [n for n in judge(moved, place=GREENSBORO).notes if n.trouble == "day_turned"]
