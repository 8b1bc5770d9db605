"""Day or month first: proved by the rows, stated by the mapping, or refused; never guessed."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from .test_times_read import clock_of, refused, seconds

FORMS = {"day_first": "%d/%m/%Y %H:%M", "month_first": "%m/%d/%Y %H:%M"}


def rows(start: str, hours: int, form: str, step: float = 1) -> tuple[list[str], list[int]]:
    first = datetime.fromisoformat(start).replace(tzinfo=UTC)
    times = [first + timedelta(hours=step * i) for i in range(hours)]
    return [t.strftime(form) for t in times], [seconds(t) for t in times]


@pytest.mark.parametrize("order", FORMS)
def test_a_number_above_twelve_proves_the_order_and_is_named(order):
    cells, times = rows("2026-05-12T20:00", 12, FORMS[order])
    clock = clock_of(cells, "UTC")
    assert clock.time.tolist() == times
    (note,) = clock.notes
    shown = "13/05/2026 00:00" if order == "day_first" else "05/12/2026 20:00"
    if order == "month_first":
        shown = "05/13/2026 00:00"
    assert note.row == 6 and not note.doubts
    assert note.message == (
        f"dates are read {order.replace('_', ' ')}: '{shown}' cannot be otherwise"
    )


@pytest.mark.parametrize("order", FORMS)
@pytest.mark.parametrize("newest_first", [False, True])
def test_days_that_follow_one_another_prove_the_order(order, newest_first):
    cells, times = rows("2026-05-03T20:00", 30, FORMS[order])
    if newest_first:
        cells, times = cells[::-1], times[::-1]
    clock = clock_of(cells, "UTC")
    assert clock.time.tolist() == times
    assert "only so do days follow one another" in clock.notes[0].message


def test_one_day_alone_is_refused_with_both_readings_unless_the_mapping_tells():
    cells, times = rows("2026-05-03T06:00", 6, FORMS["day_first"])
    said = refused(cells, "UTC")
    assert "log.csv:2: time '03/05/2026 06:00' is 3 May 2026 (day first) or 5 March 2026" in said
    assert "expected date_order: day_first or month_first in the mapping" in said
    assert clock_of(cells, "UTC", date_order="day_first").time.tolist() == times
    other = clock_of(cells, "UTC", date_order="month_first")
    assert other.time[0] == seconds(datetime(2026, 3, 5, 6, tzinfo=UTC)) and not other.notes


def test_days_far_apart_are_refused_with_both_readings():
    assert "nothing in the file tells which" in refused(["03/05/2026", "07/08/2026"], "UTC")


def test_a_date_that_is_the_same_either_way_is_read():
    cells, times = rows("2026-05-05T00:00", 24, FORMS["day_first"])
    clock = clock_of(cells, "UTC")
    assert clock.time.tolist() == times and not clock.notes


def test_dates_in_two_orders_are_refused_at_the_line_where_they_change():
    said = refused(["25/03/2026", "26/03/2026", "03/27/2026"], "UTC")
    assert "log.csv:4: dates in two orders: '25/03/2026' in line 2" in said


def test_one_odd_number_against_days_that_follow_the_other_way_is_refused():
    cells, _ = rows("2026-05-03T00:00", 48, FORMS["month_first"])
    said = refused([*cells, "13/05/2026 00:00"], "UTC")
    assert "'13/05/2026 00:00' can only be day first" in said and "only month first" in said


def test_short_years_have_three_readings():
    said = refused(["03.05.26 06:15"], "UTC")
    for word in ("3 May 2026 (day first)", "5 March 2026 (month first)", "26 May 2003 (year"):
        assert word in said
    assert "26 May 2013 (day first) or 13 May 2026 (year first)" in refused(["26-05-13"], "UTC")
    for cells in (["26-05-13", "26-05-14"], ["13.05.26", "14.05.26"], ["05/13/26", "05/14/26"]):
        clock = clock_of(cells, "UTC")
        assert clock.time.tolist() == [
            seconds(datetime(2026, 5, day, tzinfo=UTC)) for day in (13, 14)
        ]


def test_a_stated_order_is_taken_and_what_does_not_fit_is_no_time():
    clock = clock_of(["03/05/2026", "25/05/2026"], "UTC", date_order="month_first")
    assert clock.ok.tolist() == [True, False] and clock.notes[0].trouble == "no_time"
    assert "no readable time" in refused(["25/05/2026"], "UTC", date_order="month_first")


@settings(max_examples=60)
@given(
    start=st.datetimes(datetime(2001, 1, 2), datetime(2060, 1, 1)),
    order=st.sampled_from(list(FORMS)),
    step=st.sampled_from([0.25, 1, 3]),
    count=st.integers(1, 400),
)
def test_a_file_is_read_right_or_refused_and_never_read_wrong(start, order, step, count):
    from riskrules.errors import LogError

    start = start.replace(second=0, microsecond=0)
    cells, times = rows(start.isoformat(), count, FORMS[order], step)
    try:
        clock = clock_of(cells, "UTC")
    except LogError as error:
        assert "nothing in the file tells which" in str(error)
        assert len({c[:10] for c in cells}) < 3
        return
    assert clock.time.tolist() == times
