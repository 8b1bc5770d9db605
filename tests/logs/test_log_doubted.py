"""Values that cannot be true stay in the log as unknown, each with a note: nothing is lost."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from riskrules.facts.kinds import Cause
from riskrules.logs.judge import judge
from riskrules.logs.read import read_log
from riskrules.logs.readings import Readings

from .helpers import HEAD, ROWS, notes, written

T, RH = "air_temperature", "relative_humidity"


def read(tmp_path: Path, text: str, zone: str | None = None) -> Readings:
    return read_log(written(tmp_path, text), zone)


def test_a_clean_log_gives_no_notes_and_every_row(tmp_path):
    rows = read(tmp_path, HEAD + ROWS)
    assert len(rows) == 6 and rows.rows_read == 6 and not rows.notes and rows.step == 3600
    assert rows.values[T].tolist() == [10.0, 10.1, 10.2, 10.3, 10.4, 10.5]


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ("120", "relative_humidity is 120; expected 0 to 110 %"),
        ("-9999", "relative_humidity is -9999; expected 0 to 110 %"),
        ("inf", "relative_humidity is inf; expected 0 to 110 %"),
        ("wet", "relative_humidity is 'wet'; expected a number"),
        ('"81,5"', "relative_humidity is '81,5'; expected a number"),
        ("81 %", "relative_humidity is '81 %'; expected a number"),
    ],
)
def test_a_value_that_cannot_be_is_unknown_with_row_value_and_what_is_expected(
    tmp_path, cell, said
):
    rows = read(tmp_path, f"{HEAD}{ROWS}2026-05-01T06:00Z,11,{cell}\n2026-05-01T07:00Z,12,80\n")
    assert notes(rows) == [f"log.csv:8: {said}. Kept as unknown."]
    assert len(rows) == 8 and np.isnan(rows.values[RH][6]) and rows.values[T][6] == 11
    assert rows.cause[RH].tolist() == [0] * 6 + [int(Cause.NO_HUMIDITY), 0]


def test_a_column_of_true_and_false_is_no_temperature(tmp_path):
    rows = read(tmp_path, HEAD.replace(",relative", ",x_relative") + "2026-05-01T00:00Z,True,1\n")
    assert np.isnan(rows.values[T]).all() and "'True'; expected a number" in notes(rows)[0]


def test_many_values_of_one_trouble_are_one_note_with_their_count(tmp_path):
    bad = "".join(f"2026-05-02T{h:02d}:00Z,-9999,81\n" for h in range(24))
    rows = read(tmp_path, HEAD + ROWS + bad)
    assert notes(rows) == [
        "log.csv:8: air_temperature is -9999; expected -40 to 60 degC. Kept as unknown, "
        "with 23 more like it."
    ]
    assert int(np.isnan(rows.values[T]).sum()) == 24 and len(rows) == 30


def test_an_empty_cell_is_unknown_and_never_zero(tmp_path):
    rows = read(
        tmp_path, HEAD + "2026-05-01T00:00Z,,80\n2026-05-01T01:00Z,,\n2026-05-01T02:00Z,5,6\n"
    )
    assert np.isnan(rows.values[T][:2]).all() and rows.values[T][2] == 5
    assert rows.cause[T].tolist() == [int(Cause.NO_TEMPERATURE)] * 2 + [0]


def test_a_row_whose_time_cannot_be_read_is_left_out_with_a_note(tmp_path):
    text = HEAD + "bogus,1,2\n" + ROWS + ",7,8\n2026-05-01T99:00Z,9,9\n\n"
    rows = read(tmp_path, text)
    assert len(rows) == 6
    assert notes(rows) == [
        "log.csv:2: time is 'bogus'; expected ISO 8601. Row left out, with 2 more like it."
    ]


def test_a_clock_that_lost_its_year_is_left_out_with_a_note(tmp_path):
    rows = read(tmp_path, HEAD + ROWS + "0001-01-01T00:00Z,1,2\n9999-12-31T00:00Z,1,2\n")
    assert len(rows) == 6 and notes(rows)[0].startswith("log.csv:8: time is '0001-01-01T00:00Z'")


def test_a_clock_that_runs_back_is_said_at_its_line_and_rows_come_in_order(tmp_path):
    late = "bogus,1,1\n2026-05-01T09:00Z,3,3\n2026-05-01T08:00Z,2,2\n"
    rows = read(tmp_path, HEAD + ROWS + late)
    assert "log.csv:10: the clock runs back here; rows were put in order of time." in notes(rows)
    assert (np.diff(rows.time) > 0).all() and rows.values[T][-2:].tolist() == [2, 3]
    assert not [n for n in rows.notes if "runs back" in n.message][0].doubts


def test_two_rows_of_one_time_that_agree_count_once(tmp_path):
    rows = read(tmp_path, HEAD + ROWS + ROWS)
    assert len(rows) == 6 and not np.isnan(rows.values[T]).any()
    assert [n for n in notes(rows) if "disagree" in n] == []


def test_two_rows_of_one_time_that_disagree_leave_unknown_only_what_they_disagree_on(tmp_path):
    rows = read(tmp_path, HEAD + ROWS + "2026-05-01T05:00Z,33,85\n")
    assert len(rows) == 6 and np.isnan(rows.values[T][5]) and rows.values[RH][5] == 85
    assert rows.cause[T][5] & Cause.DISAGREE
    assert notes(rows) == [
        "log.csv:8: another row has the time of this one; rows of one time were merged.",
        "log.csv:7: air_temperature is 10.5 and 33 in rows of one time; expected one value. "
        "Kept as unknown.",
    ]
    repeated, disagree = rows.notes
    assert (repeated.trouble, repeated.doubts) == ("repeated", False)
    assert (disagree.trouble, disagree.variable, disagree.doubts) == ("disagree", T, True)
    # 2026-05-01T05:00Z is 20,574 days and 5 hours after 1970.
    assert disagree.first == disagree.last == 20_574 * 86_400 + 5 * 3600


def test_of_two_rows_of_one_time_an_empty_cell_takes_the_other_ones_value(tmp_path):
    rows = read(tmp_path, HEAD + "2026-05-01T00:00Z,,80\n2026-05-01T00:00Z,7,\n")
    assert rows.values[T].tolist() == [7] and rows.values[RH].tolist() == [80]


def test_a_measured_row_wins_over_a_forecast_of_the_same_time(tmp_path):
    head = "time,air_temperature [degC],forecast\n"
    rows = read(tmp_path, head + "2026-05-01T00:00Z,9,1\n2026-05-01T00:00Z,7,0\n")
    assert rows.values[T].tolist() == [7] and not rows.forecast.any()
    assert [n.trouble for n in rows.notes] == ["repeated"] and not rows.notes[0].doubts


def test_forecast_rows_are_marked_and_a_doubtful_mark_counts_as_forecast_with_a_note(tmp_path):
    head = "time,air_temperature [degC],forecast\n"
    marks = ["0", "", "no", "1", "true", "perhaps"]
    rows = read(
        tmp_path, head + "".join(f"2026-05-01T0{i}:00Z,9,{m}\n" for i, m in enumerate(marks))
    )
    assert rows.forecast.tolist() == [False, False, False, True, True, True]
    assert notes(rows) == [
        "log.csv:7: forecast is 'perhaps'; expected 0 or 1. Taken as a forecast."
    ]


def test_an_hour_and_a_month_that_are_missing_stay_missing(tmp_path):
    text = HEAD + ROWS.replace("2026-05-01T03:00Z,10.3,83\n", "") + "2026-06-03T00:00Z,1,50\n"
    rows = read(tmp_path, text)
    assert len(rows) == 6 and rows.step == 3600
    assert sorted(np.diff(rows.time).tolist())[-2:] == [7200, int(32.7916666667 * 86400)]


def test_a_clock_time_that_happens_twice_or_never_is_left_out_with_a_note(tmp_path):
    # Europe/Paris 2026: no 02:00 to 03:00 on 29 March, 02:00 to 03:00 twice on 25 October.
    text = "time,air_temperature [degC]\n"
    for day in ("2026-03-29", "2026-10-25"):
        text += "".join(f"{day}T0{h}:30,{h}\n" for h in range(1, 5))
    rows = read(tmp_path, text, "Europe/Paris")
    left_out = [n for n in notes(rows) if "Row left out" in n]
    assert left_out == [
        "log.csv:7: clock time happens twice in this zone; expected an offset. Row left out.",
        "log.csv:3: clock time never happens in this zone; expected an offset. Row left out.",
    ]
    assert rows.values[T].tolist() == [1, 3, 4, 1, 3, 4]
    # 01:30 is UTC+1 and 03:30 UTC+2 in spring: one hour apart; in autumn three.
    gaps = np.diff(rows.time).tolist()
    assert gaps[0] == 3600 and gaps[3] == 3 * 3600


def test_offsets_that_change_in_a_file_are_each_honoured(tmp_path):
    rows = read(tmp_path, HEAD + "2026-05-01T02:00+02:00,1,1\n2026-04-30T21:00-04:00,2,2\n")
    assert np.diff(rows.time).tolist() == [3600]


def test_naive_times_are_put_into_the_given_zone(tmp_path):
    naive = read(tmp_path, HEAD + "2026-05-01T02:00,1,1\n2026-12-01T02:00,1,1\n", "Europe/Paris")
    aware = read(tmp_path, HEAD + "2026-05-01T00:00Z,1,1\n2026-12-01T01:00Z,1,1\n")
    assert naive.time.tolist() == aware.time.tolist()


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_line_ends_a_byte_mark_remarks_and_a_comma_at_the_end_change_nothing(tmp_path, ending):
    plain = read(tmp_path, HEAD + ROWS)
    text = "\ufeff# logger\u2028 7\n\n" + "".join(f"{x},\n" for x in (HEAD + ROWS).splitlines())
    other = read(tmp_path, text.replace("\n", ending))
    assert other.time.tolist() == plain.time.tolist() and not other.notes
    assert all((other.values[n] == plain.values[n]).all() for n in plain.values)


def test_columns_we_do_not_know_do_no_harm(tmp_path):
    rows = read(tmp_path, "time,battery,air_temperature [degC]\n2026-05-01T00:00Z,low,4\n")
    assert rows.values[T].tolist() == [4]


def stuck(tmp_path: Path, temperature: list[float], humidity: list[float]) -> Readings:
    text = HEAD + "".join(
        f"2026-05-{1 + h // 24:02d}T{h % 24:02d}:00Z,{t},{rh}\n"
        for h, (t, rh) in enumerate(zip(temperature, humidity, strict=True))
    )
    return judge(read(tmp_path, text))


def test_a_stuck_sensor_is_unknown_from_its_first_same_value_with_the_reason(tmp_path):
    # stuck_temperature is 12 h (assumption): 13 rows an hour apart span 12 h, 12 rows span 11 h
    moving = [float(h % 7) for h in range(48)]
    rows = stuck(tmp_path, [*moving, *[5.5] * 13], [80 + h % 5 for h in range(61)])
    assert np.isnan(rows.values[T][48:]).all() and not np.isnan(rows.values[T][:48]).any()
    assert (rows.cause[T][48:] & int(Cause.STUCK) > 0).all()
    assert any("stays at 5.5 for 13 rows; a stuck sensor" in n for n in notes(rows))
    assert not np.isnan(stuck(tmp_path, [*moving, *[5.5] * 12], [80 + h % 5 for h in range(60)])
                        .values[T]).any()  # fmt: skip


def test_a_stuck_sensor_with_readings_taken_away_is_still_stuck(tmp_path):
    text = HEAD + "".join(f"2026-05-01T{h:02d}:00Z,5.5,{80 + h}\n" for h in (0, 1, 5, 12))
    rows = judge(read(tmp_path, text))
    assert np.isnan(rows.values[T]).all()


def test_a_humidity_of_100_that_stands_still_is_fog_but_one_of_90_is_stuck(tmp_path):
    moving = [float(h % 7) for h in range(40)]
    assert not np.isnan(stuck(tmp_path, moving, [100.0] * 40).values[RH]).any()
    assert np.isnan(stuck(tmp_path, moving, [90.0] * 40).values[RH]).all()
