"""Any time, written in any way of writing that is supported, reads back as itself."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskrules.errors import LogError
from riskrules.logs.mapping import LogMapping
from riskrules.logs.times import Clock, to_utc

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def clock_of(
    cells: object, zone: str | None = None, name: str = "time", **mapping: object
) -> Clock:
    text = pd.Series(cells, name=name)
    lines = np.arange(2, 2 + len(text))
    return to_utc(text, lines, LogMapping.model_validate(mapping), zone, "log.csv")


def refused(cells: object, zone: str | None = None, **mapping: object) -> str:
    with pytest.raises(LogError) as caught:
        clock_of(cells, zone, **mapping)
    return str(caught.value)


def seconds(time: datetime) -> int:
    return (time - EPOCH) // timedelta(seconds=1)


# What each way of writing can say, as a strftime-like function of a local time.
def _half(t: datetime, mark: str = "{}M") -> str:
    return f"{(t.hour + 11) % 12 + 1}:{t:%M:%S} " + mark.format("AP"[t.hour >= 12])


MONTHS = ["January", "February", "March", "April", "May", "June", "July", "August", "September",
          "October", "November", "December"]  # fmt: skip
DIALECTS = {
    "iso": (None, lambda t: f"{t:%Y-%m-%dT%H:%M:%S}"),
    "iso, a space": (None, lambda t: f"{t:%Y-%m-%d %H:%M:%S}"),
    "iso, small t": (None, lambda t: f"{t:%Y-%m-%dt%H:%M:%S}"),
    "iso, fraction": (None, lambda t: f"{t:%Y-%m-%dT%H:%M:%S}.125"),
    "iso, comma fraction": (None, lambda t: f"{t:%Y-%m-%d %H:%M:%S},4999"),
    "iso, basic": (None, lambda t: f"{t:%Y%m%dT%H%M%S}"),
    "slashes": (None, lambda t: f"{t:%Y/%m/%d %H:%M:%S}"),
    "dots, year first": (None, lambda t: f"{t.year}.{t.month}.{t.day} {t:%H:%M:%S}"),
    "day first": ("day_first", lambda t: f"{t:%d/%m/%Y %H:%M:%S}"),
    "day first, dots": ("day_first", lambda t: f"{t.day}.{t.month}.{t.year} {t:%H.%M.%S}"),
    "day first, short year": ("day_first", lambda t: f"{t:%d-%m-%y %H:%M:%S}"),
    "month first": ("month_first", lambda t: f"{t:%m/%d/%Y %H:%M:%S}"),
    "month first, AM": ("month_first", lambda t: f"{t.month}/{t.day}/{t.year} {_half(t)}"),
    "month first, a.m.": ("month_first", lambda t: f"{t:%m/%d/%y}, {_half(t, '{}.M.').lower()}"),
    "month first, thin space": (
        "month_first",
        lambda t: f"{t:%m/%d/%Y} {_half(t)}".replace(" ", "\u202f"),
    ),
    "year first, short": ("year_first", lambda t: f"{t:%y/%m/%d %H:%M:%S}"),
    "month named": (None, lambda t: f"{t.day} {MONTHS[t.month - 1]} {t.year} {t:%H:%M:%S}"),
    "month named short": (None, lambda t: f"{t:%d}-{MONTHS[t.month - 1][:3]}-{t:%y %H:%M:%S}"),
    "month named first": (
        None,
        lambda t: f"{MONTHS[t.month - 1][:3]} {t.day}, {t.year} {_half(t)}",
    ),
    "weekday": (None, lambda t: f"Tue, {t:%d} {MONTHS[t.month - 1][:3].upper()} {t:%Y %H:%M:%S}"),
}
TIMES = st.datetimes(datetime(1970, 1, 3), datetime(2069, 12, 30)).map(
    lambda t: t.replace(microsecond=0)
)
OFFSETS = st.integers(-14 * 4, 14 * 4).map(lambda q: timezone(timedelta(minutes=15 * q)))


def _written_offset(t: datetime, style: int) -> str:
    minutes = int((t.utcoffset() or timedelta()) / timedelta(minutes=1))
    sign, left = "-" if minutes < 0 else "+", abs(minutes)
    if minutes == 0 and style < 2:
        return ("Z", " UTC")[style]
    return (f"{sign}{left // 60:02d}:{left % 60:02d}", f" {sign}{left // 60:02d}{left % 60:02d}",
            f" UTC{sign}{left // 60}:{left % 60:02d}", f"{sign}{left // 60:02d}:{left % 60:02d}")[
                style]  # fmt: skip


@settings(max_examples=10)
@pytest.mark.parametrize("dialect", DIALECTS)
@given(times=st.lists(TIMES, min_size=1, max_size=12), offset=OFFSETS, style=st.integers(0, 3))
def test_a_time_with_offset_reads_back_in_every_way_of_writing(dialect, times, offset, style):
    order, write = DIALECTS[dialect]
    aware = [t.replace(tzinfo=offset) for t in times]
    cells = [write(t) + _written_offset(a, style) for t, a in zip(times, aware, strict=True)]
    clock = clock_of(cells, date_order=order)
    judged = clock.trouble & ~np.uint32(8)  # far from the others: said to be a reset clock
    assert not judged.any()
    good = clock.ok
    assert clock.time[good].tolist() == [
        seconds(a) for a, g in zip(aware, good.tolist(), strict=True) if g
    ]
    assert good.any()


@settings(max_examples=10)
@pytest.mark.parametrize("dialect", DIALECTS)
@given(start=TIMES, steps=st.lists(st.sampled_from([60, 900, 3600, 10_800]), max_size=30))
def test_a_run_of_rows_reads_back_in_every_way_of_writing(dialect, start, steps):
    order, write = DIALECTS[dialect]
    times = [start + timedelta(seconds=int(s)) for s in np.cumsum([0, *steps])]
    clock = clock_of([write(t) for t in times], "UTC", date_order=order)
    assert clock.ok.all() and clock.time.tolist() == [seconds(t.replace(tzinfo=UTC)) for t in times]


@settings(max_examples=30)
@given(start=TIMES, offset=OFFSETS)
def test_datetimes_and_epoch_numbers_read_back(start, offset):
    times = [start + timedelta(minutes=15 * i) for i in range(5)]
    expected = [seconds(t.replace(tzinfo=UTC)) for t in times]
    naive = pd.Series(times)
    assert clock_of(naive, "UTC").time.tolist() == expected
    aware = naive.dt.tz_localize("UTC").dt.tz_convert(offset)
    assert clock_of(aware).time.tolist() == expected
    assert clock_of(expected, name="time [s]").time.tolist() == expected
    assert clock_of([e * 1000 for e in expected], name="time [ms]").time.tolist() == expected
    text = [str(e) for e in expected]
    assert clock_of(text, name="t", columns={"t": "time [s since 1970-01-01]"}).time.tolist() == (
        expected
    )


@pytest.mark.parametrize(
    ("cell", "iso"),
    [
        ("2026-05-03 24:00", "2026-05-04T00:00"),
        ("31/12/2026 24:00:00", "2027-01-01T00:00"),
        ("2026-05-03", "2026-05-03T00:00"),
        ("2026-05-03T06", "2026-05-03T06:00"),
        ("2026-05-03T0615", "2026-05-03T06:15"),
        ("20260503 615", "2026-05-03T06:15"),
        ("5/13/26 12:00 AM", "2026-05-13T00:00"),
        ("5/13/26 12:00 pm", "2026-05-13T12:00"),
        ("13 May 2026 6 p.m.", "2026-05-13T18:00"),
        ("May 3rd, 2026 06h15", "2026-05-03T06:15"),
        ("Sept. 3, 2026 06:15", "2026-09-03T06:15"),
        ("13/May/2026:06:15:00", "2026-05-13T06:15"),
        ("2026-05-03\u00a006:15", "2026-05-03T06:15"),
        ("2026-05-03T05:59:59.9996", "2026-05-03T06:00"),
        ("  2026-05-03T06:15  ", "2026-05-03T06:15"),
    ],
)
def test_ways_of_writing_one_by_one(cell, iso):
    expected = seconds(datetime.fromisoformat(iso).replace(tzinfo=UTC))
    assert clock_of([cell], "UTC").time.tolist() == [expected]


@pytest.mark.parametrize(
    "cell",
    ["2026-02-30T00:00", "2026-13-01T00:00", "2026-05-03T25:00", "2026-05-03T24:01", "06:15",
     "2026-05-03T06:60", "2026-05-03T06:15:60", "2026-05-03T06:15+99:00", "2026-05-03 13:00 AM",
     "2026/05-03 06:15", "2026-05", "5 Mayor 2026", "soon", "2026-05-03T06:15 EST",
     "0001-01-01T00:00Z",
     "9999-12-31T00:00Z", "2026-05-03T06:15:00.", "²026-05-03", "2026-05-03T06:15\x00Z", "x" * 99],
)  # fmt: skip
def test_what_is_no_time_is_refused_with_the_rest_kept(cell):
    good = "2026-05-03T06:00" + ("Z" if cell.endswith("Z") else "")
    clock = clock_of([good, cell, cell], "UTC")
    assert clock.ok.tolist() == [True, False, False] and clock.trouble.tolist() == [0, 1, 1]
    (note,) = clock.notes
    assert note.row == 3 and note.count == 2 and note.trouble == "no_time"
    assert note.message == f"time is {cell[:40]!r}; expected ISO 8601. Row left out"
    assert "no readable time; the first is" in refused([cell, cell], "UTC")


def test_bare_hours_are_minutes_where_another_row_shows_that_they_are():
    cells = [f"2026-05-03 {t}" for t in (0, 15, 30, 45, 100, 115)]
    assert np.diff(clock_of(cells, "UTC").time).tolist() == [900] * 5
    cells = [f"2026-05-03 {t}" for t in (0, 1, 2, 23)]
    assert np.diff(clock_of(cells, "UTC").time).tolist() == [3600, 3600, 21 * 3600]


def test_numbers_are_times_only_where_the_header_says_so():
    assert "log.csv:2: time is 20260501; expected such as 2026" in refused(
        [20260501, 20260502], "UTC"
    )
    assert "time is 1.5" in refused([1.5], "UTC")
    clock = clock_of([1777593600, np.nan, 5e17], name="time [s]")
    assert clock.ok.tolist() == [True, False, False]


def test_offsets_of_some_rows_only_and_no_offset_without_zone_are_refused():
    some = refused(["2026-05-01T00:00Z", "x", "2026-05-01T01:00"], "UTC")
    assert "log.csv:4: some times have an offset and some not" in some and "01:00'" in some
    assert "log.csv:3: time '2026-05-01T00:00' has no offset" in refused(["", "2026-05-01T00:00"])
    assert "no zone 'Mars/Base'" in refused(["2026-05-01T00:00Z"], "Mars/Base")
    assert "no zone ''" in refused(["2026-05-01T00:00Z"], "")
    assert "has no offset" in refused(pd.Series([datetime(2026, 5, 1)]))


def test_summer_and_winter_offsets_in_one_log_are_each_taken():
    clock = clock_of(["2026-10-25T02:30+02:00", "2026-10-25T02:30+01:00"])
    assert np.diff(clock.time).tolist() == [3600] and not clock.notes


@settings(max_examples=150)
@given(
    cells=st.lists(
        st.one_of(
            st.text(max_size=24),
            st.text("0123456789-/.: TZ+apm", max_size=22),
            st.sampled_from(["2026-05-01T00:00Z", "03/05/2026", "2026-03-29T02:30", "1e9", ""]),
        ),
        max_size=8,
    ),
    zone=st.sampled_from([None, "UTC", "Europe/Paris", "-03:30"]),
)
def test_any_text_is_read_or_refused_with_every_row_accounted_for(cells, zone):
    try:
        clock = clock_of(pd.Series(cells, dtype=object), zone)
    except LogError as error:
        assert all(p.message for p in error.problems)
        return
    assert len(clock.time) == len(cells) and (clock.ok == (clock.trouble == 0)).all()
    assert sum(n.count for n in clock.notes if n.trouble) == int((~clock.ok).sum())
