"""Short gaps filled in: marked, wide enough, and never across what can't be bridged."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskrules.facts.kinds import Cause
from riskrules.logs.gaps import fill_gaps
from riskrules.logs.limits import load_limits
from riskrules.logs.readings import Readings
from riskrules.logs.ready import lend, make_ready
from riskrules.logs.troubles import Origin
from tests.facts.hand import log

FIRST = "2026-06-10 00:00"
LIMITS = load_limits()
WIDTH = LIMITS.of("air_temperature").filled_per_hour or 0.0


def test_a_gap_of_two_rows_is_a_straight_line_wider_the_farther_from_a_reading() -> None:
    rows = fill_gaps(log(FIRST, t=[10, None, None, 16]), 3, LIMITS)
    assert rows.values["air_temperature"].tolist() == [10, 12, 14, 16]
    assert rows.low["air_temperature"].tolist() == [10, 12 - WIDTH, 14 - WIDTH, 16]
    assert rows.high["air_temperature"].tolist() == [10, 12 + WIDTH, 14 + WIDTH, 16]
    assert rows.origin["air_temperature"].tolist() == [0, Origin.FILLED, Origin.FILLED, 0]
    assert rows.cause["air_temperature"].tolist() == [0, Cause.FILLED, Cause.FILLED, 0]


def test_a_gap_longer_than_the_farm_allows_stays_unknown() -> None:
    rows = fill_gaps(log(FIRST, t=[10, None, None, 16]), 2, LIMITS)
    assert np.isnan(rows.values["air_temperature"]).tolist() == [False, True, True, False]


def test_rows_that_are_absent_are_added_and_those_that_stay_empty_are_not() -> None:
    whole = log(FIRST, t=[10, 11, 12, 13, 14], wet=[0, 0, 0, 0, 0])
    rows = fill_gaps(whole.only(np.array([0, 1, 3, 4])), 3, LIMITS)
    assert rows.time.tolist() == whole.time.tolist()
    assert rows.values["air_temperature"].tolist() == [10, 11, 12, 13, 14]
    assert np.isnan(rows.values["surface_wetness"]).tolist() == [False, False, True, False, False]


def test_rain_and_wetness_are_never_filled() -> None:
    rows = fill_gaps(log(FIRST, rain=[0, None, 0], wet=[1, None, 1]), 6, LIMITS)
    assert np.isnan(rows.values["thickness_of_rainfall_amount"][1])
    assert np.isnan(rows.values["surface_wetness"][1])


def test_a_gap_at_either_end_of_the_log_stays_unknown() -> None:
    rows = fill_gaps(log(FIRST, t=[None, 10, 11, None]), 6, LIMITS)
    assert np.isnan(rows.values["air_temperature"]).tolist() == [True, False, False, True]


def test_nothing_is_filled_between_a_measured_row_and_a_forecast() -> None:
    rows = fill_gaps(log(FIRST, forecast=1, t=[10, None, 12]), 6, LIMITS)
    assert np.isnan(rows.values["air_temperature"][1])


@given(
    st.lists(st.floats(-5, 40), min_size=6, max_size=40),
    st.sets(st.integers(0, 39)),
    st.floats(0.5, 6),
)
def test_filling_changes_no_reading_and_its_ends_hold_the_line(
    values: list[float], gone: set[int], hours: float
) -> None:
    column = [None if i in gone else v for i, v in enumerate(values)]
    before = log(FIRST, t=column)
    rows = fill_gaps(before, hours, LIMITS)
    had = ~np.isnan(before.values["air_temperature"])
    assert (rows.values["air_temperature"][had] == before.values["air_temperature"][had]).all()
    low, high = rows.least("air_temperature"), rows.most("air_temperature")
    known = ~np.isnan(rows.values["air_temperature"])
    assert (low[known] <= rows.values["air_temperature"][known]).all()
    assert (high[known] >= rows.values["air_temperature"][known]).all()
    again = fill_gaps(rows, hours, LIMITS)
    assert np.array_equal(
        again.values["air_temperature"], rows.values["air_temperature"], equal_nan=True
    )


def test_what_is_lent_is_as_wide_as_two_fields_differ_and_says_so() -> None:
    (rows,) = make_ready([log(FIRST, t=[10, 12.5, 11], rh=[80, 81.5, 80.5])])
    lent = lend(rows, ["air_temperature"], LIMITS)
    width = LIMITS.of("air_temperature").borrowed
    assert list(lent.values) == ["air_temperature"]
    assert lent.lent and lent.low["air_temperature"].tolist() == [
        10 - width, 12.5 - width, 11 - width
    ]  # fmt: skip
    assert (lent.origin["air_temperature"] == Origin.BORROWED).all()
    assert (lent.cause["air_temperature"] & Cause.BORROWED).all()


@pytest.mark.parametrize("hours", [0, -1])
def test_without_hours_nothing_is_done(hours: float) -> None:
    rows = log(FIRST, t=[10, None, 12])
    assert fill_gaps(rows, hours, LIMITS) is rows


def test_one_row_alone_is_left_as_it_is() -> None:
    rows: Readings = log(FIRST, t=[10])
    assert fill_gaps(rows, 3, LIMITS) is rows
