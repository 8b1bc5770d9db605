"""Proposals: each guess with its reason, each doubt as a question, and ten rows as read."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskrules.errors import LogError
from riskrules.logs.mapping import LogMapping, load_mapping
from riskrules.logs.propose import Proposal, propose, propose_tables
from riskrules.logs.raw import RawLog
from riskrules.logs.read import read_log

from .helpers import written


def weather(hours: int = 144, late: float = 0.0, form: str = "%Y-%m-%d %H:%M") -> list[list[str]]:
    """An invented log: coolest at 5:30, warmest at 14:30, plus the hours that its clock is off."""
    rows = []
    for i in range(hours):
        at = datetime(2026, 5, 10) + timedelta(hours=i)
        hour = (at.hour - 5.5 - late) % 24
        turn = hour / 9 if hour < 9 else 1 + (hour - 9) / 15
        warm = 15 - 7 * math.cos(turn * math.pi) + (i * 7 % 5) / 50
        rows.append([at.strftime(form), f"{warm:.1f}", f"{75 - 3 * (warm - 15):.0f}"])
    return rows


def proposed(folder: Path, header: str, rows: list[list[str]], sep: str = ",") -> Proposal:
    text = header + "\n" + "".join(sep.join(r) + "\n" for r in rows)
    result = propose(written(folder, text))
    path = written(folder, result.text, "mapping.yaml")
    assert load_mapping(path) == result.mapping  # what is proposed is what is written
    return result


def asks(result: Proposal, *words: str) -> None:
    assert any(all(w in d for w in words) for d in result.doubts), (words, result.doubts)


def says(result: Proposal, *words: str) -> None:
    assert any(all(w in r for w in words) for r in result.reasons), (words, result.reasons)


def test_a_plain_log_is_proposed_as_it_is_read_with_ten_rows(tmp_path):
    rows = [[f"{r[0].replace(' ', 'T')}+02:00", *r[1:]] for r in weather()]
    result = proposed(tmp_path, "time,air_temperature [degC],relative_humidity [%]", rows)
    assert result.mapping == LogMapping(time=["time"])
    assert len(result.rows) == 10
    assert result.rows[0] == {
        "line": 2, "time": "2026-05-09T22:00:00+00:00", "air_temperature": f"{rows[0][1]} degC",
        "relative_humidity": f"{rows[0][2]} %",
    }  # fmt: skip
    says(result, "interval: 1 h", "100%")
    says(result, "falls as", "as relative humidity does")
    assert not [d for d in result.doubts if "zone" in d]


def test_what_is_proposed_is_what_the_reader_then_reads(tmp_path):
    rows = [[r[0], str(float(r[1]) * 1.8 + 32), r[2]] for r in weather(form="%d.%m.%Y %H:%M")]
    result = proposed(tmp_path, "Datum;Temp innen (°F);rel. Feuchte (%)", rows, ";")
    assert result.mapping.date_order == "day_first" and result.mapping.delimiter == ";"
    read = read_log(tmp_path / "log.csv", "UTC", mapping=result.mapping)
    assert read.values["air_temperature"] == pytest.approx([float(r[1]) for r in weather()])
    assert len(read) == 144
    says(result, "date_order: day first (sure)", "'13.05.2026 00:00'")
    asks(result, "In which zone")
    assert "# zone: " in result.text and "\nzone: " not in result.text
    assert result.rows[0]["time"] == "2026-05-10T00:00:00"  # no zone is made up


def test_a_date_and_a_clock_column_make_the_time(tmp_path):
    rows = weather(form="%m/%d/%Y,%I:%M %p")
    result = proposed(tmp_path, "Date,Time,Temp [C],RH [%]", rows)
    assert result.mapping.time == ["Date", "Time"] and result.mapping.date_order == "month_first"
    assert result.rows[1]["time"] == "2026-05-10T01:00:00"


def test_dates_that_may_be_either_are_a_question_and_nothing_is_written(tmp_path):
    rows = [[f"03/05/2026 {h:02d}:00", "12"] for h in range(20)]
    result = proposed(tmp_path, "time,Temp [degC]", rows)
    assert result.mapping.date_order is None and result.rows == []
    asks(result, "3 May 2026 (day first) or 5 March 2026 (month first)")
    assert "# date_order: day_first" in result.text


def test_a_temperature_without_unit_is_told_where_its_range_excludes_one(tmp_path):
    rows = [[r[0], f"{float(r[1]) * 1.8 + 52:.1f}", r[2]] for r in weather()]
    result = proposed(tmp_path, "time,Temp,RH", rows)
    assert result.mapping.columns["Temp"] == "air_temperature [degF]"
    says(result, "'Temp' is air_temperature [degF] (likely)", "cannot be degC")


def test_a_temperature_that_fits_no_unit_is_a_question(tmp_path):
    rows = [[r[0], f"{float(r[1]) + 400:.1f}", r[2]] for r in weather()]
    asks(proposed(tmp_path, "time,Temp,RH", rows), "fits none of degC, degF")


def test_a_temperature_that_may_be_both_is_a_question(tmp_path):
    result = proposed(tmp_path, "time,Temp,RH", weather())
    asks(result, "What is 'Temp'?", "may be degC or degF")
    assert result.mapping.columns == {"Temp": "ignore", "RH": "relative_humidity [%]"}
    assert '# "Temp": "air_temperature [degF]"' in result.text
    assert "air_temperature" not in result.rows[0]


def test_a_humidity_without_unit_is_told_by_its_range(tmp_path):
    shares = [[r[0], r[1], f"{float(r[2]) / 100:.2f}"] for r in weather()]
    result = proposed(tmp_path, "time,Temp [C],RH", shares)
    assert result.mapping.columns["RH"] == "relative_humidity [1]"
    assert proposed(tmp_path, "time,Temp [C],RH", weather()).mapping.columns["RH"].endswith("[%]")


def test_a_scale_in_the_name_is_taken_as_likely(tmp_path):
    result = proposed(tmp_path, "time,AirTempF,rh_pct [%]", weather())
    assert result.mapping.columns["AirTempF"] == "air_temperature [degF]"
    says(result, "'AirTempF' is air_temperature [degF] (likely)")


def test_two_sensors_of_one_kind_are_a_question_and_neither_is_taken(tmp_path):
    rows = [[*r[:2], *r[1:]] for r in weather()]
    result = proposed(tmp_path, "time,Temp 1 [°C],Temp 2 [°C],RH [%]", rows)
    assert "Temp 1 [°C]" not in result.mapping.columns
    asks(result, "What is 'Temp 1 [°C]'?", "as may 'Temp 2 [°C]'", "air_temperature_outside [°C]")


def test_of_a_mean_and_its_extremes_the_mean_is_taken(tmp_path):
    rows = [[r[0], r[1], r[1], r[1]] for r in weather()]
    result = proposed(tmp_path, "time,Temp Avg [°C],Temp Max [°C],Temp Min [°C]", rows)
    assert result.mapping.columns == {"Temp Avg [°C]": "air_temperature [°C]"}


def test_inside_outside_and_soil_are_three_things(tmp_path):
    rows = [[r[0], r[1], r[1], r[1]] for r in weather()]
    result = proposed(tmp_path, "time,Temp [°C],Outdoor temp [°C],Soil temp 10cm [°C]", rows)
    assert set(result.rows[0]) == {
        "line", "time", "air_temperature", "air_temperature_outside", "soil_temperature"
    }  # fmt: skip


@pytest.mark.parametrize(
    ("header", "cell", "words"),
    [("leaf wetness", lambda i: i % 16, ("leaf wetness", "0..15", "0..60")),
     ("leaf wetness", lambda i: i % 900, ("leaf wetness", "DRY..WET")),
     ("rain", lambda i: 0.2 * (i % 3), ("rain", "mm or in")),
     ("rain [mm]", lambda i: 0.2 * i, ("never falls", "counter")),
     ("rain rate [mm/h]", lambda i: i % 3, ("is a rate",)),
     ("wind", lambda i: i % 7, ("wind", "m/s", "mph"))],
)  # fmt: skip
def test_what_a_column_may_be_is_asked(tmp_path, header, cell, words):
    rows = [[*r, f"{cell(i):g}"] for i, r in enumerate(weather())]
    result = proposed(tmp_path, f"time,Temp [C],RH [%],{header}", rows)
    asks(result, *words)
    assert result.mapping.columns.get(header, "ignore") == "ignore"
    assert len(result.rows) == 10 and len(result.rows[0]) == 4


def test_a_humidity_that_rises_with_the_temperature_is_doubted(tmp_path):
    rows = [[r[0], r[1], f"{float(r[1]) * 2:.0f}"] for r in weather()]
    asks(proposed(tmp_path, "time,Temp [C],RH [%]", rows), "rises with", "r = 1.00")


@pytest.mark.parametrize(("late", "word"), [(5.5, "5.5 hours ahead"), (-4.5, "4.5 hours behind")])
def test_a_clock_against_the_sun_is_a_doubt_and_never_written(tmp_path, late, word):
    result = proposed(tmp_path, "time,Temp [C],RH [%]", weather(late=late))
    asks(result, word, "another zone?")
    assert result.mapping.zone is None and result.mapping.shifts == []


@pytest.mark.parametrize("late", [-2, 0, 2])
def test_a_clock_near_the_sun_is_not_doubted(tmp_path, late):
    result = proposed(tmp_path, "time,Temp [C],RH [%]", weather(late=late))
    assert not [d for d in result.doubts if "warmest" in d]


def test_codes_for_missing_are_proposed(tmp_path):
    rows = weather()
    rows[5][1] = rows[90][1] = "-9999"
    result = proposed(tmp_path, "time,Temp [C],RH [%]", rows)
    assert result.mapping.missing == ["-9999"]
    assert result.rows[5]["air_temperature"] == "unknown"


def test_seconds_since_1970_need_no_zone(tmp_path):
    rows = [[str(1777593600 + 3600 * i), *r[1:]] for i, r in enumerate(weather())]
    result = proposed(tmp_path, "time [s],Temp [C],RH [%]", rows)
    assert not [d for d in result.doubts if "zone" in d]
    assert result.rows[0]["time"] == "2026-05-01T00:00:00+00:00"


def test_a_zone_that_the_file_states_is_taken(tmp_path):
    text = "# timezone: America/Chicago\ntime,Temp [C],RH [%]\n"
    path = written(tmp_path, text + "".join(",".join(r) + "\n" for r in weather()))
    result = propose(path)
    assert result.mapping.zone == "America/Chicago"
    assert result.rows[0]["time"] == "2026-05-10T00:00:00-05:00"


def test_a_reset_clock_is_a_doubt_with_how_to_put_it_right(tmp_path):
    rows = weather()
    rows += [[f"2000-01-01 {h:02d}:00", *rows[h][1:]] for h in range(9)]
    asks(proposed(tmp_path, "time,Temp [C],RH [%]", rows), "clock was reset", "from_line: 146")


def test_a_log_of_nothing_we_know_is_a_question(tmp_path):
    result = proposed(tmp_path, "a,b", [["1", "2"]] * 9)
    asks(result, "Which column holds the time?")
    asks(result, "Which columns hold temperature")
    assert result.rows == []


def test_of_several_tables_the_one_that_we_know_most_of_is_taken():
    n = 30
    time = pd.Series(pd.date_range("2026-05-01", periods=n, freq="h"))
    lines = np.arange(2, 2 + n)
    notes = RawLog("a.xlsx [Notes]", ["x"], pd.DataFrame({0: ["hello"] * n}), lines)
    table = pd.DataFrame({0: time, 1: np.linspace(0, 20, n)})
    data = RawLog("a.xlsx [Data]", ["Date", "Temp [°C]"], table, lines)
    result = propose_tables([notes, data])
    assert result.mapping.sheet == "Data" and len(result.rows) == 10
    asks(result, "other tables too (a.xlsx [Notes])")


def test_two_columns_of_one_name_cannot_be_told_apart(tmp_path):
    rows = [[r[0], r[1], r[1], r[2]] for r in weather()]
    result = proposed(tmp_path, "time,Temp [C],Temp [C],RH [%]", rows)
    asks(result, "stands in two columns")


CELLS = st.one_of(
    st.sampled_from(
        ["", "2026-05-01 00:00", "03/05/2026", "12", "-9999", "12,5", "24:00", "x", '"']
    ),
    st.floats(-99, 999).map(lambda x: f"{x:.1f}"),
    st.text(max_size=5),
)
HEADERS = st.one_of(
    st.sampled_from(["time", "Date", "Temp", "Temp [C]", "RH", "rain [mm/h]", "T1 (°F)", "wetness",
                     "*a", "Feuchte", "'&#", ""]),
    st.text(max_size=9),
)  # fmt: skip


@settings(max_examples=80)
@given(
    header=st.lists(HEADERS, min_size=1, max_size=5),
    rows=st.lists(st.lists(CELLS, min_size=1, max_size=5), max_size=8),
    sep=st.sampled_from([",", ";", "\t"]),
)
def test_any_small_file_is_proposed_for_or_refused(tmp_path_factory, header, rows, sep):
    folder = tmp_path_factory.mktemp("any")
    text = "\n".join(sep.join(r) for r in [header, *rows])
    path = written(folder, text.encode("utf-8", "surrogatepass"))
    try:
        result = propose(path)
    except LogError as error:
        assert all(p.message for p in error.problems)
        return
    assert load_mapping(written(folder, result.text, "m.yaml")) == result.mapping
    assert result.rows or result.doubts
