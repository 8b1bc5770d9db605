"""What the four tests of QARTOD make of values: flags, reasons, intervals, notes."""

from __future__ import annotations

import numpy as np
import pytest

from riskrules.facts.kinds import Cause
from riskrules.logs.judge import judge
from riskrules.logs.troubles import Flag, Trouble

from .hand import DEW, HOUR, LIMITS, RAIN, RH, START, T, flagged, log, moving


def test_what_cannot_be_is_refused_and_what_hardly_is_becomes_an_interval() -> None:
    rows = judge(log(**{T: [20.0, 57, 70, 21]}, placed="under_cover"))
    assert rows.flags[T].tolist()[2] == Flag.FAIL and np.isnan(rows.values[T][2])
    assert rows.cause[T][2] & Cause.DOUBTED
    assert rows.flags[T].tolist()[1] == Flag.SUSPECT and rows.values[T][1] == 57
    doubt = LIMITS.of(T).doubt
    assert rows.low[T][1] <= 57 - doubt and rows.high[T][1] == 60  # no air is hotter
    assert rows.cause[T].tolist()[1] == Cause.DOUBTED
    # 70 is gone when the changes are looked at, so that the jump is the one from 57 to 21
    assert flagged(rows, T, Trouble.IMPOSSIBLE) == [2]
    assert flagged(rows, T, Trouble.UNLIKELY) == [1]
    assert flagged(rows, T, Trouble.SPIKE) == [1]  # 36 K above both neighbours
    assert rows.reasons[T][1] == Trouble.UNLIKELY | Trouble.SPIKE  # all reasons are kept


def test_a_note_says_where_when_and_how_many() -> None:
    rows = judge(log(**{RH: [80.0, 2, 80, 80.5, 81, 1]}))
    (note,) = [n for n in rows.notes if n.trouble == "unlikely"]
    assert (note.file, note.row, note.count, note.variable) == ("a.csv", 3, 2, RH)
    assert (note.first, note.last) == (START + 2 * HOUR, START + 6 * HOUR)
    assert str(note) == (
        "a.csv:3: relative_humidity is 2; expected 3 to 100 %. Kept, but doubted, "
        "with 1 more like it."
    )


def test_a_spike_spans_its_neighbours_and_leaves_them_in_peace() -> None:
    values = [12.0, 12.1, 40.0, 12.2, 12.1]
    rows = judge(log(**{T: values}))
    assert flagged(rows, T, Trouble.SPIKE) == [2]
    assert rows.flags[T].tolist() == [1, 1, 3, 1, 1]
    doubt = LIMITS.of(T).doubt
    assert (rows.low[T][2], rows.high[T][2]) == pytest.approx((12.1 - doubt, 40 + doubt))


def test_a_jump_that_stays_is_doubted_once_and_small_steps_never() -> None:
    rows = judge(log(**{T: [5.0, 5.1, 45.0, 44.9, 45.1]}))
    assert flagged(rows, T, Trouble.JUMP) == [2]
    assert rows.low[T][2] <= 5.1 and rows.high[T][2] >= 45
    # a minute log with a resolution of half a degree changes by 30 K an hour, and is sound
    fine = judge(log(1 / 60, **{T: [20.0, 20.5, 20, 20.5, 21]}))
    assert (fine.flags[T] == Flag.PASS).all()


def test_a_gap_does_not_hide_a_jump_but_gives_it_time() -> None:
    near = judge(log(**{RH: [95.0, None, 20, 21]}))
    assert flagged(near, RH, Trouble.JUMP) == []  # 75 % in two hours is slower than 70 an hour
    rows = judge(log(0.5, **{RH: [95.0, None, 20, 21]}))
    assert flagged(rows, RH, Trouble.JUMP) == [2]


@pytest.mark.parametrize("name", [T, DEW, RH, "soil_temperature"])
def test_a_run_is_refused_from_its_first_value_if_it_lasts_the_stated_hours(name: str) -> None:
    hours = int(LIMITS.of(name).flat_hours or 0)
    stuck = [15.0, *[17.5] * (hours + 1), 15.0]
    rows = judge(log(**{name: stuck}))
    assert flagged(rows, name, Trouble.STUCK) == list(range(1, hours + 2))
    assert np.isnan(rows.values[name][1:-1]).all()
    assert (rows.cause[name][1:-1] == Cause.STUCK).all()
    honest = judge(log(**{name: [15.0, *[17.5] * hours, 15.0]}))
    assert (honest.flags[name] == Flag.PASS).all()


def test_a_stuck_run_stays_stuck_whatever_half_of_its_readings_are_lost() -> None:
    stuck: list[float | None] = [15.0, 15.1, *[17.5] * 13, 15.1, 15.0]
    for lost in range(1, 6):
        for side in (slice(2, 2 + lost), slice(15 - lost, 15)):
            less = list(stuck)
            less[side] = [None] * lost
            rows = judge(log(**{T: less}))
            assert np.isnan(rows.values[T][2:15]).all(), (lost, side)
            gone = log(**{T: stuck})
            keep = np.ones(len(stuck), dtype=bool)
            keep[side] = False
            assert np.isnan(judge(gone.only(keep)).values[T][2:-2]).all(), (lost, side)


def test_a_few_equal_readings_beside_a_long_gap_are_no_stuck_sensor() -> None:
    rows = judge(log(**{T: [15.0, 17.5, 17.5, *[None] * 30, 17.5, 17.5, 15.0]}))
    # equal before and after a gap of 30 h: seen over 33 h, so it is taken for one run
    assert np.isnan(rows.values[T][[1, 2, 33, 34]]).all()
    rows = judge(log(**{T: [15.0, 17.5, 17.5, *[None] * 30, 14.5, 14.6, 15.0]}))
    assert not np.isnan(rows.values[T][[1, 2, 33, 34]]).any()


def test_a_run_at_minute_steps_within_a_log_of_hours_is_measured_in_time_not_in_values() -> None:
    hours = log(**{T: moving(15, 30)})
    burst = log(1 / 60, **{T: [17.5] * 40})
    time = np.concatenate([hours.time, hours.time[-1] + 60 * np.arange(1, 41)])
    mixed = log(**{T: [*moving(15, 30), *[17.5] * 40]})
    mixed.time, mixed.step = time, burst.step
    assert (judge(mixed).flags[T] == Flag.PASS).all()  # forty minutes are not twelve hours


def test_fog_may_stand_still_and_so_may_dry_weather() -> None:
    n = 24 * 8
    rows = judge(log(**{RH: [100.0] * n, T: moving(9, n), RAIN: [0.0] * n}))
    assert (rows.flags[RH] == Flag.PASS).all() and (rows.flags[RAIN] == Flag.PASS).all()


def test_forecast_rows_are_not_judged_as_measured() -> None:
    values = [*moving(15, 20), *[17.5] * 30]
    rows = judge(log(forecast=30, **{T: values}))
    assert rows.flags[T].tolist() == [Flag.PASS] * 20 + [Flag.NOT_EVALUATED] * 30
    assert not rows.notes and not np.isnan(rows.values[T]).any()


def test_what_the_reader_refused_is_failed_and_what_was_not_there_is_missing() -> None:
    rows = log(**{T: [15.0, None, None, 15.2]})
    rows.reasons[T] = np.array([0, Trouble.IMPOSSIBLE, Trouble.SENTINEL, 0], dtype=np.uint32)
    judged = judge(rows)
    assert judged.flags[T].tolist() == [Flag.PASS, Flag.FAIL, Flag.MISSING, Flag.PASS]
    assert judged.reasons[T].tolist() == rows.reasons[T].tolist()


def test_notes_of_several_files_are_apart() -> None:
    rows = log(**{RH: [80.0, 2, 80, 80.5, 81, 1]})
    rows.files = ("a.csv", "b.csv")
    rows.source = np.array([0, 0, 0, 1, 1, 1])
    notes = [n for n in judge(rows).notes if n.trouble == "unlikely"]
    assert [(n.file, n.row, n.count) for n in notes] == [("a.csv", 3, 1), ("b.csv", 7, 1)]
    assert "is 1;" in notes[1].message
