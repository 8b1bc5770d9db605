"""Workbooks as people keep them: every value here was stated by hand."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from openpyxl.styles import PatternFill

from riskrules.logs.formats import open_log, sheet
from riskrules.logs.mapping import LogMapping
from riskrules.logs.raw import RawLog

from .books import ROWS, book, rewritten, saved, xls, xlsx

START = datetime(2026, 5, 3)
SHEET1 = "xl/worksheets/sheet1.xml"


def one(raw: bytes, **mapping: Any) -> RawLog:
    (found,) = sheet.read(raw, "a.xlsx", LogMapping.model_validate(mapping))
    return found


def test_dates_are_datetimes_and_numbers_numbers() -> None:
    rows = [["time", "t", "n"]] + [[START + timedelta(hours=h), 20 + h / 4, h] for h in range(30)]
    log = one(xlsx(rows))
    assert log.header == ["time", "t", "n"] and log.file == "a.xlsx [Data]"
    assert log.table[0].dtype.kind == "M" and log.table[1].dtype == float
    assert log.table[0][24] == datetime(2026, 5, 4) and log.table[0][25].hour == 1
    assert log.table[1].tolist() == [20 + h / 4 for h in range(30)]
    assert log.lines.tolist() == list(range(2, 32)) and log.header_line == 1 and log.zone is None


def test_times_that_a_formula_added_up_come_out_on_the_second() -> None:
    rows = [["time", "t"]] + [[46145 + sum([1 / 24] * h), 1.0] for h in range(24)]
    made = book(("Data", rows))
    for i in range(2, 26):
        made["Data"].cell(i, 1).number_format = "yyyy-mm-dd hh:mm"
    found = one(saved(made)).table[0].dt.round("s")
    # Day 46145 of the sheet's count is 3 May 2026: 46144 days after 1 January 1900, less one for
    # the leap day that the count gives to 1900.
    assert found.tolist() == [START + timedelta(hours=h) for h in range(24)]


def test_the_1904_count_of_days_is_minded() -> None:
    raw = xlsx([["time", "t"], [datetime(2026, 5, 3, 6), 1.0], [datetime(2026, 5, 3, 7), 2.0]])
    moved = rewritten(
        raw, "xl/workbook.xml", lambda x: x.replace(b"<workbookPr", b'<workbookPr date1904="1"')
    )
    assert moved != raw
    # 1462 days lie between the two counts' beginnings.
    assert one(moved).table[0][0] == datetime(2026, 5, 3, 6) + timedelta(days=1462)


def test_a_date_column_and_a_clock_column_are_iso_text() -> None:
    log = one(xlsx([["date", "clock", "t"], [date(2026, 5, 3), time(6, 15), 1.5],
                    [date(2026, 5, 3), time(0, 0), 2.5]]))  # fmt: skip
    assert log.table[0].tolist() == ["2026-05-03", "2026-05-03"]
    assert log.table[1].tolist() == ["06:15:00", "00:00:00"]


def test_a_time_column_with_a_word_in_it_is_text_of_one_kind() -> None:
    rows = [["time", "t"], [START, 1], ["logger moved", 2], [START + timedelta(hours=1), 3]]
    shown = ["2026-05-03 00:00:00", "logger moved", "2026-05-03 01:00:00"]
    assert one(xlsx(rows)).table[0].tolist() == shown


def test_the_header_below_a_preamble_with_a_row_of_units_under_it() -> None:
    rows: list[list[Any]] = [
        ["Invented logger", None, None], ["Serial", 12345, None], [None, None, None],
        ["Time zone", "UTC", None], ["Time", "Temp", "RH"], [None, "°C", "%"],
        [START, 10.5, 90], [START + timedelta(hours=1), 11, 91],
    ]  # fmt: skip
    log = one(xlsx(rows))
    assert log.header == ["Time", "Temp [°C]", "RH [%]"]
    assert (log.header_line, log.lines.tolist(), log.zone) == (5, [7, 8], "UTC")
    assert log.table[1].tolist() == [10.5, 11]


def test_a_header_in_words_that_nobody_knows_is_the_last_row_of_words_above_the_data() -> None:
    rows = [["Field", "North"], ["Zeitpunkt", "Luft"], [START, 10.5], [START, 10.5]]
    assert one(xlsx(rows)).header == ["Zeitpunkt", "Luft"]


def test_a_mapping_names_the_header_row_or_its_names() -> None:
    rows = [["when", "date"], ["a", "b"], [START, 10.5]]
    assert one(xlsx(rows), header_line=2).header == ["a", "b"]
    assert one(xlsx(rows), columns={"b": "air_temperature [degC]"}).header == ["a", "b"]
    assert one(xlsx(rows)).header == ["when", "date"]


def test_a_table_that_does_not_begin_in_the_first_cell() -> None:
    made = book(("Data", []))
    for i, row in enumerate(ROWS):
        for j, value in enumerate(row):
            made["Data"].cell(10 + i, 4 + j, value)
    log = one(saved(made))
    assert log.header == ROWS[0] and log.lines.tolist() == [11, 12] and log.header_line == 10


def test_empty_rows_are_counted_and_left_out_and_empty_columns_dropped() -> None:
    rows = [["time", None, "t"], [START, None, 1], [None] * 3, ["", None, "  "], [START, None, 2]]
    log = one(xlsx(rows))
    assert log.header == ["time", "t"] and log.blank == 2 and log.lines.tolist() == [2, 5]


def test_cells_that_only_have_a_colour_are_empty() -> None:
    made = book(("Data", ROWS))
    for row in range(4, 50):
        made["Data"].cell(row, 1).fill = PatternFill("solid", start_color="00AAAAAA")
    log = one(saved(made))
    assert len(log.table) == 2


def test_merged_dates_and_words_hold_for_all_their_rows_but_numbers_for_one() -> None:
    made = book(("Data", [["date", "clock", "t"], ["2026-05-03", "01:00", 5.5],
                          [None, "02:00", None], [None, "03:00", 6.5]]))  # fmt: skip
    made["Data"].merge_cells("A2:A4")
    made["Data"].merge_cells("C2:C3")
    log = one(saved(made))
    assert log.table[0].tolist() == ["2026-05-03"] * 3
    np.testing.assert_array_equal(log.table[2], [5.5, np.nan, 6.5])
    assert "2 cells filled from the merged cell above them" in log.said


def test_a_merged_title_is_no_header() -> None:
    made = book(("Data", [["Tunnel four, invented", None], ["time", "t"], [START, 1]]))
    made["Data"].merge_cells("A1:B1")
    assert one(saved(made)).header == ["time", "t"]


@pytest.mark.parametrize("word", ["#N/A", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!"])
def test_an_error_cell_keeps_its_word_and_is_no_number(word: str) -> None:
    log = one(xlsx([["time", "t"], [START, 1.5], [START, word], [START, 2]]))
    assert log.table[1].tolist() == ["1.5", word, "2"]


def test_formulas_count_by_their_stored_value_only() -> None:
    raw = xlsx([["time", "t"], [START, "=1+1"], [START, "=2*3"], [START, '=IF(1,"","x")']])
    stored = rewritten(
        raw,
        SHEET1,
        lambda x: x.replace(b"<f>2*3</f><v />", b"<f>2*3</f><v>6.25</v>")
        .replace(b'<c r="B4"><f>', b'<c r="B4" t="str"><f>'),
    )  # fmt: skip
    log = one(stored)
    assert log.table[1].tolist()[:2] == ["a formula never computed", "6.25"]
    assert log.table[1].isna().tolist() == [False, False, True]


def test_truth_values_and_words_stay_words() -> None:
    log = one(xlsx([["time", "wet"], [START, True], [START, False], [START, "dry"]]))
    assert log.table[1].tolist() == ["TRUE", "FALSE", "dry"]


def test_decimal_commas_written_as_text_are_numbers() -> None:
    log = one(xlsx([["time", "t"], [START, "20,55"], [START, "21,5"]]))
    assert log.table[1].tolist() == [20.55, 21.5]


def test_several_sheets_are_several_logs_and_those_without_a_table_are_said() -> None:
    made = book(("North", ROWS), ("Notes", [["only words"], ["more"]]), ("South", ROWS[:2]))
    made.create_sheet("Empty")
    found = sheet.read(saved(made), "a.xlsx", None)
    assert [log.file for log in found] == ["a.xlsx [North]", "a.xlsx [South]"]
    assert [len(log.table) for log in found] == [2, 1]
    said = [n.message for n in found[0].notes]
    assert said == [f"sheet '{s}' has no table; left out" for s in ("Notes", "Empty")]
    assert not any(n.doubts for n in found[0].notes)


def test_a_mapping_names_the_sheet_even_a_hidden_one() -> None:
    made = book(("North", ROWS), ("Old", ROWS[:2]))
    made["Old"].sheet_state = "hidden"
    (north,) = sheet.read(saved(made), "a.xlsx", None)
    assert [n.message for n in north.notes] == ["sheet 'Old' is hidden; left out"]
    (old,) = sheet.read(saved(made), "a.xlsx", LogMapping(sheet="Old"))
    assert old.file == "a.xlsx [Old]" and len(old.table) == 1 and not old.notes


def test_an_xls_file_reads_as_an_xlsx_file_does() -> None:
    # 46145.25 is 3 May 2026, 06:00: see above.
    log = one(xls([["time", "t", "word"], [("date", 46145.25), 10.5, "a"], [None] * 3,
                   [("date", 46145.5), 11.25, "°C"]]))  # fmt: skip
    assert log.header == ["time", "t", "word"]
    assert log.table[0].tolist() == [datetime(2026, 5, 3, 6), datetime(2026, 5, 3, 12)]
    assert log.table[1].tolist() == [10.5, 11.25] and log.table[2].tolist() == ["a", "°C"]
    assert log.blank == 1 and log.lines.tolist() == [2, 4]


@pytest.mark.parametrize("name", ["a.xlsx", "a.xls", "a.dat", "a.zip"])
def test_a_workbook_is_known_by_its_bytes_whatever_its_name(tmp_path: Path, name: str) -> None:
    for raw in (xlsx(ROWS), xls(ROWS)):
        (tmp_path / name).write_bytes(raw)
        (log,) = open_log(tmp_path / name)
        assert log.header == ROWS[0] and log.table[1].tolist() == [10.5, 10.0]
