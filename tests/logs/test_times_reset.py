"""A clock that was reset is found, said, and put right by the mapping; disorder is no reset."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskrules.logs.mapping import LogMapping
from riskrules.logs.times import Clock, to_utc

from .test_times_read import clock_of, seconds

RESET = 8
START = datetime(2026, 5, 3, 0, 7)


def run(start: datetime, count: int, minutes: int = 15) -> list[datetime]:
    return [start + timedelta(minutes=minutes * i) for i in range(count)]


def cells(*parts: list[datetime]) -> list[str]:
    return [f"{t:%Y-%m-%d %H:%M}" for part in parts for t in part]


def utc(times: list[datetime]) -> list[int]:
    return [seconds(t.replace(tzinfo=UTC)) for t in times]


def resets(clock: Clock) -> list[str]:
    return [n.message for n in clock.notes if n.trouble == "clock_reset"]


@pytest.mark.parametrize("zone", ["UTC", "America/Chicago"])
@pytest.mark.parametrize(
    "to", ["1970-01-01T00:00", "2000-01-01T00:05", "2001-01-01T12:00", "2015-06-01T00:00",
           "2031-01-01T00:00"])  # fmt: skip
def test_rows_after_a_jump_to_a_far_date_are_refused_with_how_to_put_them_right(to, zone):
    good, bad = run(START, 100), run(datetime.fromisoformat(to), 60)
    clock = clock_of(cells(good, bad), zone)
    assert clock.ok.tolist() == [True] * 100 + [False] * 60
    assert set(clock.trouble[100:].tolist()) == {RESET}
    (said,) = resets(clock)
    assert f"it jumps from 2026-05-04 00:52 to {to.replace('T', ' ')}" in said
    assert "60 rows left out" in said
    hours = float(said.split("hours: ")[1].split("}")[0])
    note = next(n for n in clock.notes if n.trouble == "clock_reset")
    assert note.row == 102 and note.count == 60
    right = clock_of(cells(good, bad), zone, shifts=[{"from_line": 102, "hours": hours}])
    assert right.ok.all() and not right.notes
    assert set(np.diff(right.time).tolist()) == {900}


def test_a_clock_that_was_set_right_again_keeps_the_rows_after_that():
    good, bad = run(START, 50), run(datetime(2000, 1, 1), 7)
    later = run(good[-1] + timedelta(minutes=15 * 8), 50)
    clock = clock_of(cells(good, bad, later), "UTC")
    assert clock.ok.tolist() == [True] * 50 + [False] * 7 + [True] * 50
    assert len(resets(clock)) == 1


def test_a_clock_that_was_first_not_set_keeps_the_rows_after_it_was():
    bad, good = run(datetime(2000, 1, 1, 0, 1), 9), run(START, 50)
    clock = clock_of(cells(bad, good), "UTC")
    assert clock.ok.tolist() == [False] * 9 + [True] * 50
    assert "was not set: it starts at 2000-01-01 00:01" in resets(clock)[0]


@pytest.mark.parametrize("days", [-200, -3, 40, 3])
def test_a_clock_that_went_away_and_came_back_as_time_passed_is_a_reset(days):
    good = run(START, 200)
    away = run(good[-1] + timedelta(days=days, minutes=4), 30)
    later = run(good[-1] + timedelta(minutes=15 * 31), 90)
    clock = clock_of(cells(good, away, later), "UTC")
    assert clock.ok.tolist() == [True] * 200 + [False] * 30 + [True] * 90


def test_rows_set_back_among_earlier_ones_are_refused_to_the_end():
    good, back = run(START, 400), run(START + timedelta(days=1, minutes=4), 500)
    clock = clock_of(cells(good, back), "UTC")
    assert clock.ok.tolist() == [True] * 400 + [False] * 500


def test_a_clock_put_right_by_some_minutes_loses_only_the_rows_that_come_twice():
    good = run(START, 100)
    right = run(good[-1] + timedelta(minutes=15 - 34), 100)
    clock = clock_of(cells(good, right), "UTC")
    assert clock.ok.tolist() == [True] * 100 + [False] * 2 + [True] * 98
    assert "2 rows left out" in resets(clock)[0]


def test_exports_that_overlap_are_repeats_and_no_reset():
    one, two = run(START, 300), run(START + timedelta(minutes=15 * 200), 300)
    assert clock_of(cells(one, two), "UTC").ok.all()
    assert clock_of(cells(one, one), "UTC").ok.all()


def test_rows_at_the_times_of_earlier_ones_with_other_values_are_a_reset():
    one, two = run(START, 300), run(START + timedelta(minutes=15 * 200), 300)
    text, lines = pd.Series(cells(one, two)), np.arange(2, 602)
    same = np.concatenate([np.arange(300), np.arange(200, 500)]).astype(np.uint64)
    other = np.arange(600, dtype=np.uint64)
    repeat = to_utc(text, lines, LogMapping(), "UTC", "a.csv", lambda: same)
    assert repeat.ok.all()
    reset = to_utc(text, lines, LogMapping(), "UTC", "a.csv", lambda: other)
    assert reset.ok.tolist() == [True] * 300 + [False] * 300
    forecast = np.where(np.arange(600) < 300, other, 0).astype(np.uint64)
    assert to_utc(text, lines, LogMapping(), "UTC", "a.csv", lambda: forecast).ok.all()


def test_two_sensors_one_below_the_other_are_no_reset():
    one = run(START, 300)
    other = np.arange(600, dtype=np.uint64)
    text = pd.Series(cells(one, one))
    clock = to_utc(text, np.arange(2, 602), LogMapping(), "UTC", "a.csv", lambda: other)
    assert clock.ok.all()


def test_months_put_together_in_the_wrong_order_are_no_reset():
    june, may = run(datetime(2026, 6, 1), 200), run(datetime(2026, 5, 1), 200)
    clock = clock_of(cells(june, may), "UTC")
    assert clock.ok.all() and clock.time.tolist() == utc(june + may) and not clock.notes


def test_a_winter_without_rows_is_no_reset():
    clock = clock_of(cells(run(START, 99), run(START + timedelta(days=400), 99)), "UTC")
    assert clock.ok.all() and not clock.notes


@settings(max_examples=40)
@given(seed=st.integers(0, 10**6), count=st.integers(1, 300))
def test_a_shuffled_file_is_no_reset(seed, count):
    times = run(START, count)
    random.Random(seed).shuffle(times)
    clock = clock_of(cells(times), "UTC")
    assert clock.ok.all() and clock.time.tolist() == utc(times)


@pytest.mark.parametrize("count", [2, 3, 500])
def test_newest_first_is_no_reset(count):
    times = run(START, count)[::-1]
    assert clock_of(cells(times), "UTC").time.tolist() == utc(times)


def test_newest_first_with_a_reset_finds_it():
    good, bad = run(START, 100), run(datetime(2000, 1, 1), 60)
    clock = clock_of(cells((good + bad)[::-1]), "UTC")
    assert clock.ok.tolist() == [False] * 60 + [True] * 100


def test_steps_that_change_without_a_jump_are_no_reset():
    times = run(START, 50, 1) + run(START + timedelta(hours=1), 50, 180)
    clock = clock_of(cells(times), "UTC")
    assert clock.ok.all() and not clock.notes


def test_a_shift_holds_until_the_next_one():
    text = cells(run(START, 3), run(START, 3), run(START, 3))
    clock = clock_of(
        text, "UTC", shifts=[{"from_line": 8, "hours": 0}, {"from_line": 5, "hours": 24}]
    )
    times = run(START, 3)
    day = timedelta(days=1)
    assert clock.time.tolist() == utc([*times, *(t + day for t in times), *times])


@settings(max_examples=60)
@given(
    good=st.integers(20, 200),
    bad=st.integers(3, 200),
    minutes=st.sampled_from([1, 10, 15, 60, 180]),
    back=st.timedeltas(timedelta(days=732), timedelta(days=9000)),
    ahead=st.booleans(),
)
def test_no_row_of_a_far_run_is_ever_kept(good, bad, minutes, back, ahead):
    before = run(START, good, minutes)
    start = before[-1] + (back if ahead else -back)
    clock = clock_of(cells(before, run(start, bad, minutes)), "UTC")
    assert clock.ok.tolist() == [True] * good + [False] * bad
    assert len(resets(clock)) == 1


@settings(max_examples=150)
@given(
    steps=st.lists(st.sampled_from([0, 900, 900, 900, -900, 86_400, -10**7, 10**8, -10**9]),
                   min_size=1, max_size=40),
)  # fmt: skip
def test_any_jumps_account_for_every_row_and_keep_some(steps):
    times = np.cumsum([seconds(START.replace(tzinfo=UTC)), *steps])
    times = np.clip(times, 10**6, 4 * 10**9)
    text = [str(np.datetime64(int(t), "s")) for t in times]
    clock = clock_of(text, "UTC")
    assert clock.ok.any() and (clock.ok == (clock.trouble == 0)).all()
    assert (clock.time[clock.ok] == times[clock.ok]).all()
    assert sum(n.count for n in clock.notes if n.trouble) == int((~clock.ok).sum())
