"""Zones: clock times against Python's own zoneinfo, one by one, with hours twice and never."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskrules.logs.mapping import LogMapping
from riskrules.logs.times import Clock, to_utc
from riskrules.logs.times.zone import zone_of

from .test_times_read import clock_of, refused, seconds

# A turn of each zone by its law, as zoneinfo has it; Lord Howe turns by half an hour, Casablanca
# to the lesser offset in Ramadan.
ZONES = ["Europe/Paris", "America/Chicago", "Australia/Lord_Howe", "Africa/Casablanca",
         "America/Indiana/Indianapolis", "Asia/Kathmandu", "Europe/Dublin", "America/St_Johns",
         "Pacific/Apia", "UTC"]  # fmt: skip
NAIVE = st.datetimes(datetime(1975, 1, 3), datetime(2090, 12, 30)).map(
    lambda t: t.replace(microsecond=0)
)


def by_zoneinfo(face: datetime, zone: str) -> tuple[int, int, bool]:
    """The UTC seconds of both folds of a clock time, and whether it exists."""
    info = ZoneInfo(zone)
    both = [seconds(face.replace(tzinfo=info, fold=f).astimezone(UTC)) for f in (0, 1)]
    back = datetime.fromtimestamp(both[0], UTC).astimezone(info).replace(tzinfo=None, fold=0)
    return both[0], both[1], back == face


@settings(max_examples=25)
@pytest.mark.parametrize("zone", ZONES)
@given(faces=st.lists(NAIVE, min_size=1, max_size=20))
def test_any_clock_time_is_placed_as_zoneinfo_places_it(zone, faces):
    local = np.array([seconds(f.replace(tzinfo=UTC)) for f in faces])
    placed = zone_of(zone, "a.csv").place(local, standard=False)
    for i, face in enumerate(faces):
        first, second, exists = by_zoneinfo(face, zone)
        assert placed.never[i] == (not exists)
        assert placed.twice[i] == (exists and first != second)
        if exists:
            assert (placed.first[i], placed.second[i]) == (first, second)


def turns(zone: str, year: int) -> list[int]:
    """The hours of a year at whose end zoneinfo has another offset."""
    info, found = ZoneInfo(zone), []
    start = seconds(datetime(year, 1, 1, tzinfo=UTC))
    for hour in range(start, start + 366 * 86_400, 1800):
        a, b = (datetime.fromtimestamp(h, info).utcoffset() for h in (hour, hour + 1800))
        if a != b:
            found.append(hour + 1800)
    return found


def written(times: list[int], zone: str) -> list[str]:
    return [f"{datetime.fromtimestamp(t, ZoneInfo(zone)):%Y-%m-%d %H:%M}" for t in times]


@pytest.mark.parametrize("step", [60, 300, 900, 1800, 3600])
@pytest.mark.parametrize("zone", ["Europe/Paris", "America/Chicago", "Australia/Lord_Howe",
                                  "Africa/Casablanca", "America/Indiana/Indianapolis"])  # fmt: skip
@pytest.mark.parametrize("newest_first", [False, True])
def test_a_log_through_both_turns_reads_back_by_the_order_of_its_rows(zone, step, newest_first):
    if zone == "Australia/Lord_Howe" and step > 1800:
        pytest.skip("rows an hour apart show only one pass of a fold of half an hour")
    year = 2026
    assert len(turns(zone, year)) >= 2
    for turn in turns(zone, year):
        times = [turn + i * step for i in range(-8 * 3600 // step, 8 * 3600 // step)]
        times = times[::-1] if newest_first else times
        clock = clock_of(written(times, zone), zone)
        assert clock.ok.all() and clock.time.tolist() == times
        told = [n for n in clock.notes if "told apart by their order" in n.message]
        twice = datetime.fromtimestamp(turn, ZoneInfo(zone)).utcoffset() < datetime.fromtimestamp(
            turn - 1, ZoneInfo(zone)).utcoffset()  # fmt: skip
        assert len(told) == twice and not any(n.doubts for n in clock.notes)


def fold(minutes: list[tuple[int, int]], zone: str = "Europe/Paris") -> Clock:
    """A log through the fold of 2026-10-25 in Paris, 02:00 to 03:00 twice."""
    return clock_of([f"2026-10-25T{h:02d}:{m:02d}" for h, m in minutes], zone)


def test_a_lone_pass_is_refused_as_it_may_be_either():
    rows = [(1, 30), (1, 45), (2, 0), (2, 15), (2, 30), (2, 45), (3, 0)]
    clock = fold(rows)
    assert clock.ok.tolist() == [True] * 2 + [False] * 4 + [True]
    assert set(clock.trouble[2:6].tolist()) == {2}
    (note,) = clock.notes
    assert (note.row, note.count, note.trouble) == (4, 4, "time_twice")
    assert "clock time happens twice in this zone; expected an offset" in note.message


def test_one_row_written_twice_is_no_second_pass():
    rows = [(1, 30), (1, 45), (2, 0), (2, 15), (2, 15), (2, 30), (2, 45), (3, 0)]
    assert set(fold(rows).trouble.tolist()) == {0, 2}


def test_two_passes_with_rows_missing_are_told_apart_where_the_clock_runs_back():
    rows = [(1, 45), (2, 0), (2, 30), (2, 15), (2, 45), (3, 0)]
    clock = fold(rows)
    assert clock.ok.all()
    assert np.diff(clock.time).tolist() == [900, 1800, 2700, 1800, 900]


def test_rows_out_of_order_in_the_fold_are_refused():
    rows = [(1, 45), (2, 45), (2, 0), (2, 30), (2, 15), (3, 0)]
    assert fold(rows).trouble.tolist() == [0, 2, 2, 2, 2, 0]
    apart = [(1, 45), (2, 45), (3, 0), (2, 15), (3, 15)]
    assert fold(apart).trouble[[1, 3]].tolist() == [2, 2]


def test_a_time_that_never_happens_is_refused_and_the_clock_seems_to_be_a_standard_one():
    days = pd.date_range("2026-03-28", "2026-03-30", freq="30min").strftime("%Y-%m-%d %H:%M")
    clock = clock_of(days, "Europe/Paris")
    assert (clock.trouble == 4).sum() == 2
    never, standard = clock.notes
    assert never.trouble == "time_never" and "never happens in this zone" in never.message
    assert "clock: standard" in standard.message and standard.row == never.row
    held = clock_of(days, "Europe/Paris", clock="standard")
    assert held.ok.all() and not held.notes and set(np.diff(held.time).tolist()) == {1800}


def test_a_clock_that_follows_summer_time_is_not_said_to_be_a_standard_one():
    info = "Europe/Paris"
    year = range(
        seconds(datetime(2026, 3, 1, tzinfo=UTC)), seconds(datetime(2026, 11, 9, tzinfo=UTC)), 1800
    )
    cells = written(list(year), info)
    cells.insert(cells.index("2026-03-29 03:00"), "2026-03-29 02:30")
    clock = clock_of(cells, info)
    assert not [n for n in clock.notes if "clock: standard" in n.message]
    assert (~clock.ok).sum() == 1


@pytest.mark.parametrize(
    ("zone", "hours"),
    [("Europe/Paris", 1), ("America/Chicago", -6), ("Australia/Lord_Howe", 10.5),
     ("Africa/Casablanca", 1), ("Europe/Dublin", 0), ("Australia/Sydney", 10),
     ("America/Phoenix", -7), ("Asia/Kathmandu", 5.75), ("UTC", 0), ("+02:00", 2)],
)  # fmt: skip
def test_standard_time_is_one_offset_all_year(zone, hours):
    # The standard offsets of the zones as law has them; in Ireland "standard" is said of summer,
    # but a logger that stays on one time stays on Greenwich's.
    days = pd.date_range("2026-01-01", "2026-12-31", freq="6h").strftime("%Y-%m-%d %H:%M")
    clock = clock_of(days, zone, clock="standard")
    faces = pd.to_datetime(days).as_unit("s").astype("int64").to_numpy()
    assert set((faces - clock.time).tolist()) == {int(hours * 3600)}


@pytest.mark.parametrize(
    ("zone", "offset"),
    [("+02:00", 7200), ("-0330", -12_600), ("UTC+5:45", 20_700), ("UTC", 0), ("+00:00", 0),
     ("gmt-8", -28_800)],
)  # fmt: skip
def test_fixed_offsets_can_be_a_zone(zone, offset):
    assert clock_of(["1970-01-02"], zone).time.tolist() == [86_400 - offset]


def test_the_mapping_wins_over_the_default_zone():
    text, lines = pd.Series(["1970-01-02"]), np.array([2])
    assert to_utc(text, lines, LogMapping(zone="+01:00"), "UTC", "a").time.tolist() == [82_800]


@pytest.mark.parametrize("zone", ["+25:00", "+02:75", "CEST", "America", "../../etc/passwd", "2"])
def test_a_zone_there_is_none_of_is_refused(zone):
    assert f"no zone '{zone}'" in refused(["2026-05-01T00:00Z"], zone)


def test_rows_with_offset_are_not_moved_by_the_zone():
    mapping = LogMapping(zone="Europe/Paris", clock="standard")
    clock = to_utc(pd.Series(["2026-05-01T00:00Z"]), np.array([2]), mapping, None, "a")
    assert clock.time.tolist() == [seconds(datetime(2026, 5, 1, tzinfo=UTC))]


def test_a_year_of_quarter_hours_in_a_zone_is_as_zoneinfo_has_it():
    zone = "America/Chicago"
    start = datetime(2026, 1, 1, tzinfo=UTC)
    times = [seconds(start + timedelta(minutes=15 * i)) for i in range(35_040)]
    clock = clock_of(written(times, zone), zone)
    assert clock.ok.all() and clock.time.tolist() == times
