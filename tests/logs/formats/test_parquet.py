"""Parquet as loggers' software and pandas write it: every value here was stated by hand."""

from __future__ import annotations

import io
import random
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from riskrules.errors import LogError
from riskrules.logs.formats import columnar, open_log, parquet
from riskrules.logs.mapping import LogMapping
from riskrules.logs.raw import RawLog
from riskrules.logs.read import read_log

START = datetime(2026, 5, 3)
HOURS = [START + timedelta(hours=h) for h in range(3)]


def bytes_of(columns: dict[str, Any], **more: Any) -> bytes:
    out = io.BytesIO()
    pq.write_table(pa.table(columns), out, **more)
    return out.getvalue()


def one(raw: bytes, **mapping: Any) -> RawLog:
    (found,) = columnar.read(raw, "a.parquet", LogMapping.model_validate(mapping))
    return found


def refused(raw: bytes) -> str:
    with pytest.raises(LogError) as caught:
        columnar.read(raw, "a.parquet")
    return str(caught.value)


def test_numbers_times_and_words_by_their_types() -> None:
    log = one(bytes_of({
        "time": pa.array(HOURS, pa.timestamp("us")), "t": pa.array([1.5, None, 2.5]),
        "n": pa.array([1, 2, 3], pa.int8()), "m": pa.array([1, None, 3], pa.int64()),
        "small": pa.array([1.5, 2.5, 3.5], pa.float32()), "word": ["a", None, "°C"],
        "wet": [True, False, None], "money": [Decimal("1.25"), None, Decimal("2.50")],
        "none": pa.nulls(3),
    }))  # fmt: skip
    t = log.table
    assert log.header == ["time", "t", "n", "m", "small", "word", "wet", "money", "none"]
    assert log.lines.tolist() == [1, 2, 3] and log.header_line == 0 and log.zone is None
    assert t[0].tolist() == HOURS and t[0].dt.tz is None
    np.testing.assert_array_equal(t[1], [1.5, np.nan, 2.5])
    assert t[2].tolist() == [1, 2, 3] and t[2].dtype == np.int64
    np.testing.assert_array_equal(t[3], [1, np.nan, 3])
    assert t[4].tolist() == [1.5, 2.5, 3.5]
    assert t[5].isna().tolist() == [False, True, False] and t[5][2] == "°C"
    assert t[6].tolist()[:2] == ["TRUE", "FALSE"] and t[6].isna()[2]
    np.testing.assert_array_equal(t[7], [1.25, np.nan, 2.5])
    assert t[8].isna().all()


@pytest.mark.parametrize("unit", ["s", "ms", "us", "ns"])
@pytest.mark.parametrize(
    ("zone", "hours"), [("America/New_York", -4), ("+05:45", 5.75), ("UTC", 0)]
)
def test_the_zone_of_the_type_goes_with_the_times(unit: str, zone: str, hours: float) -> None:
    utc = [h.replace(tzinfo=None) - timedelta(hours=hours) for h in HOURS]
    column = pa.array(utc, pa.timestamp(unit)).cast(pa.timestamp(unit, zone))
    log = one(bytes_of({"time": column, "t": [1.0, 2.0, 3.0]}))
    assert str(log.table[0].dt.tz) != "None"
    assert [t.utcoffset() for t in log.table[0]] == [timedelta(hours=hours)] * 3
    assert [t.replace(tzinfo=None) for t in log.table[0]] == HOURS


def test_an_index_of_timestamps_is_the_time(tmp_path: Path) -> None:
    index = pd.DatetimeIndex(HOURS, tz="Europe/Paris")
    made = pd.DataFrame({"air_temperature [degC]": [1.0, 2.0, 3.0]}, index=index)
    made.to_parquet(tmp_path / "a.parquet")
    made.rename_axis("time").to_parquet(tmp_path / "b.parquet")
    for name in ("a.parquet", "b.parquet"):
        rows = read_log(tmp_path / name)
        # 00:00 in Paris in May is 22:00 UTC of the day before.
        assert rows.time[0] == int(datetime.fromisoformat("2026-05-02T22:00Z").timestamp())
        assert rows.values["air_temperature"].tolist() == [1, 2, 3]


def test_a_plain_index_is_no_column(tmp_path: Path) -> None:
    pd.DataFrame({"time": HOURS, "t": [1.0, 2, 3]}).to_parquet(tmp_path / "a.dat")
    (log,) = open_log(tmp_path / "a.dat")
    assert log.header == ["time", "t"]


def test_dictionaries_are_decoded() -> None:
    log = one(bytes_of({
        "time": pa.array(["2026-05-03", "2026-05-04", "2026-05-03"]).dictionary_encode(),
        "t": pa.array([20.5, None, 20.5]).dictionary_encode(),
        "word": pd.Categorical(["b", None, "a"]),
    }))  # fmt: skip
    assert log.table[0].tolist() == ["2026-05-03", "2026-05-04", "2026-05-03"]
    np.testing.assert_array_equal(log.table[1], [20.5, np.nan, 20.5])
    assert log.table[2].tolist()[::2] == ["b", "a"] and log.table[2].isna()[1]


def test_dates_and_clock_times_are_iso_text() -> None:
    log = one(bytes_of({"date": [date(2026, 5, 3)] * 2, "clock": [time(6, 15), None]}))
    assert log.table[0].tolist() == ["2026-05-03"] * 2
    assert log.table[1][0] == "06:15:00" and log.table[1].isna()[1]


def test_whole_numbers_too_large_for_a_float_stay_exact() -> None:
    big = 2**53 + 1
    log = one(bytes_of({"a": pa.array([big, None]), "b": pa.array([2**64 - 1, 1], pa.uint64()),
                        "c": [big, 1]}))  # fmt: skip
    assert log.table[0].tolist()[0] == "9007199254740993"
    assert log.table[1].tolist() == ["18446744073709551615", "1"]
    assert log.table[2].tolist() == [big, 1]


@pytest.mark.parametrize(
    ("column", "what"),
    [
        (pa.array([{"a": 1}] * 3), "column 'odd' is nested"),
        (pa.array([[1], [2], [3]]), "column 'odd' is nested"),
        (pa.array([[("k", 1)]] * 3, pa.map_(pa.string(), pa.int64())), "column 'odd' is nested"),
        (pa.array([b"x"] * 3), "column 'odd' is of type binary"),
        (pa.array([timedelta(hours=1)] * 3), "column 'odd' is of type duration"),
    ],
)
def test_columns_that_no_log_has_are_refused_by_name_or_left_out(column: Any, what: str) -> None:
    raw = bytes_of({"time": HOURS, "odd": column, "t": [1.0, 2.0, 3.0]})
    assert what in refused(raw) and "expected numbers, text or times" in refused(raw)
    log = one(raw, columns={"odd": "ignore"})
    assert log.header == ["time", "t"] and log.table[1].tolist() == [1, 2, 3]


def test_two_columns_of_one_name_are_both_there() -> None:
    out = io.BytesIO()
    pq.write_table(pa.table([pa.array([1.0]), pa.array([2.0])], names=["t", "t"]), out)
    log = one(out.getvalue())
    assert log.header == ["t", "t"] and [log.table[0][0], log.table[1][0]] == [1, 2]


def test_several_row_groups_are_one_table() -> None:
    log = one(bytes_of({"time": HOURS, "t": [1.0, 2.0, 3.0]}, row_group_size=1))
    assert log.table[1].tolist() == [1, 2, 3] and log.lines.tolist() == [1, 2, 3]


def test_more_values_than_we_take(monkeypatch: pytest.MonkeyPatch) -> None:
    raw = bytes_of({"time": [1] * 2000, "t": [1.0] * 2000})
    assert len(raw) < 2000  # the values cost the file nothing
    monkeypatch.setattr(parquet, "MOST_CELLS", 3999)
    assert "4,000 values; expected at most 3,999" in refused(raw)
    monkeypatch.setattr(parquet, "MOST_CELLS", 4000)
    assert len(one(raw).table) == 2000


def test_a_long_word_that_stands_often_is_measured_before_it_is_written_out(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    raw = bytes_of({"t": [1.0] * 2000, "word": ["x" * 10_000, None] * 1000})
    assert len(raw) < 20_000
    monkeypatch.setattr(parquet, "MOST_TEXT", 9_999_999)
    assert "column 'word' has 10,000,000 bytes of text; expected at most 9,999,999" in refused(raw)
    monkeypatch.setattr(parquet, "MOST_TEXT", 10_000_000)
    assert one(raw).table[1][0] == "x" * 10_000


def test_no_rows_and_no_whole_file() -> None:
    raw = bytes_of({"time": HOURS, "t": [1.0, 2.0, 3.0]})
    assert "no rows" in refused(bytes_of({"time": pa.array([], pa.string())}))
    assert "damaged Parquet" in refused(raw[: len(raw) // 2])
    assert "damaged Parquet" in refused(b"PAR1")
    assert "encrypted Parquet" in refused(b"PARE" + raw[4:])


def test_damage_anywhere_gives_a_table_or_an_error_that_names_the_file() -> None:
    raw = bytes_of({"time": HOURS * 50, "t": [1.5, 2.5, None] * 50, "w": ["a", "b", None] * 50})
    dice, outcomes = random.Random(5), set()
    for _ in range(200):
        changed = bytearray(raw)
        for _ in range(dice.choice([1, 3, 20])):
            changed[dice.randrange(4, len(changed))] = dice.randrange(256)
        try:
            (log,) = columnar.read(bytes(changed), "a.parquet")
            assert len(log.lines) == len(log.table)
            outcomes.add("read")
        except LogError as error:
            assert str(error).startswith("a.parquet: ")
            outcomes.add("refused")
    assert outcomes == {"read", "refused"}
