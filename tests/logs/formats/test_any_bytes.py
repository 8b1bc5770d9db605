"""Random bytes behind each format's first bytes: an error that names the file, never a crash."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from riskrules.errors import LogError
from riskrules.logs.formats import columnar, open_bytes, sheet, weather_year
from riskrules.logs.mapping import LogMapping
from riskrules.logs.read import read_raw

from .books import ROWS, compound, xls, xlsx

COMPOUND = xls(ROWS)[:512]
STARTS = {
    "zip": (sheet, b"PK\x03\x04" + xlsx(ROWS)[4:60]),
    "compound": (sheet, COMPOUND[:8]),
    "parquet": (columnar, b"PAR1"),
    "sealed": (columnar, b"PARE"),
    "json": (columnar, b'{"time": '),
    "epw": (weather_year, b"LOCATION,"),
    "tmy3": (weather_year, b"1,a,b,-5\nDate (MM/DD/YYYY),Time (HH:MM)"),
}


@pytest.mark.parametrize("name", STARTS)
@given(tail=st.binary(max_size=3000))
@example(tail=b"")
def test_random_bytes_behind_each_first_bytes_are_refused(name: str, tail: bytes) -> None:
    module, start = STARTS[name]
    assert module.matches(start + tail, Path("a.bin"))
    with pytest.raises(LogError) as caught:
        module.read(start + tail, "a.bin")
    assert str(caught.value).startswith("a.bin")
    with pytest.raises(LogError):
        open_bytes(start + tail, "a.bin", Path("a.bin"))


@given(tail=st.binary(min_size=1000, max_size=3000))
@settings(max_examples=8)  # each starts a process
def test_random_bytes_behind_a_whole_head_of_a_compound_file_are_refused(tail: bytes) -> None:
    with pytest.raises(LogError):
        sheet.read(COMPOUND + tail, "a.xls")
    with pytest.raises(LogError):
        sheet.read(compound("Workbook", tail), "a.xls")


CELLS = st.one_of(
    st.sampled_from(["", "1", "01/01/1990", "24:00", "99.9", "-9900", "x", '"', "é", "\r", "\n"]),
    st.text(max_size=5),
)


@given(lines=st.lists(st.lists(CELLS, max_size=36), max_size=12), kind=st.booleans())
def test_any_cells_below_the_header_of_a_year_read_or_are_refused(
    lines: list[list[str]], kind: bool
) -> None:
    """Every row that is read has one line and one value in each column."""
    if kind:
        head = "1,a,b,-5\nDate (MM/DD/YYYY),Time (HH:MM),Dry-bulb (C),Dew-point (C),RHum (%)," + (
            "Wspd (m/s),Lprecip depth (mm),Lprecip quantity (hr)\n01/01/1990,01:00,1,1,1,1,1,1\n"
        )
    else:
        head = "LOCATION,a,b,c,d,e,1,2,5\n" + "x\n" * 6 + "DATA PERIODS,1,1\n"
    text = head + "\n".join(",".join(cells) for cells in lines)
    try:
        (log,) = weather_year.read(text.encode(), "a.bin", None)
        assert len(log.lines) == len(log.table) and len(log.header) == log.table.shape[1]
        body = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
        count = len(log.lines) + len(log.wrong_cells) + log.blank
        assert count == len(body) - (2 if kind else 8) - (not body[-1])
        read_raw(log, LogMapping())
    except LogError as error:
        assert str(error).startswith("a.bin")


OBJECTS = st.dictionaries(
    st.sampled_from(["time", "air_temperature [degC]", "rain [mm]", "é", ""]),
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=8),
              st.sampled_from(["2026-05-03T00:00Z", "20,5", "-9999"])),
)  # fmt: skip


@given(rows=st.lists(st.one_of(OBJECTS, st.text(max_size=20)), max_size=12))
def test_any_objects_read_or_are_refused_and_every_line_is_counted(
    rows: list[dict[str, object] | str],
) -> None:
    import json

    lines = [row if isinstance(row, str) else json.dumps(row) for row in rows]
    raw = "\n".join(["{}", *lines]).encode("utf-8", "replace")
    try:
        (log,) = columnar.read(raw, "a.jsonl")
        count = len(log.lines) + len(log.wrong_cells) + log.blank
        assert count == len(raw.rstrip().decode().split("\n"))
        read_raw(log, LogMapping())
    except LogError as error:
        assert str(error).startswith("a.jsonl")
