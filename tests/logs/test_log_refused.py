"""Logs that cannot be trusted at all are refused with file, line, value and what is expected."""

from __future__ import annotations

import re
import time
from pathlib import Path

import pytest

from riskrules.logs.read import LONGEST_LINE, read_log

from .helpers import HEAD, ROWS, notes, only, problems, says, written


def refused(tmp_path: Path, text: str | bytes, line: int, *words: str, zone: str | None = None):
    path = written(tmp_path, text)
    says(only(lambda: read_log(path, zone)), "log.csv", line, *words)


def test_a_log_without_a_time_column_is_refused(tmp_path):
    refused(tmp_path, "air_temperature [degC]\n12\n", 1, "0 time columns", "air_temperature",
            "expected one named 'time'")  # fmt: skip


def test_a_log_with_two_time_columns_is_refused_and_both_are_named(tmp_path):
    text = "# made by hand\ntime,Timestamp,air_temperature [degC]\n"
    refused(tmp_path, text + "2026-05-01T00:00Z,2026-05-01T00:00Z,1\n", 2, "2 time columns",
            "time, Timestamp", "expected one")  # fmt: skip


def test_a_log_without_any_column_we_know_is_refused_with_what_we_know(tmp_path):
    refused(tmp_path, "time,battery [V]\n2026-05-01T00:00Z,3.1\n", 1, "battery [V]",
            "air_temperature [degC]", "rain [mm]")  # fmt: skip


def test_a_column_that_is_missing_is_unknown_with_its_reason_and_not_zero(tmp_path):
    rows = read_log(written(tmp_path, "time,humidity [%]\n2026-05-01T00:00Z,81\n"))
    assert list(rows.values) == ["relative_humidity"]


def test_an_unknown_unit_is_refused_with_the_units_we_know(tmp_path):
    refused(tmp_path, "time,air_temperature [furlong]\n2026-05-01T00:00Z,1\n", 1,
            "air_temperature [furlong]", "furlong", "degc", "°f", "k")  # fmt: skip


def test_a_unit_of_another_variable_is_refused(tmp_path):
    refused(tmp_path, "time,rain [degC]\n2026-05-01T00:00Z,1\n", 1, "rain [degC]", "mm", "in")


def test_a_column_without_unit_is_refused_with_how_to_write_it(tmp_path):
    refused(tmp_path, "time,air_temperature\n2026-05-01T00:00Z,1\n", 1, "no unit",
            "expected 'air_temperature [degC]'")  # fmt: skip


def test_all_wrong_columns_are_named_at_once(tmp_path):
    path = written(tmp_path, "time,air_temperature [x],humidity\n2026-05-01T00:00Z,1,2\n")
    found = problems(lambda: read_log(path))
    assert len(found) == 2
    assert "unit 'x'" in found[0].message and "no unit" in found[1].message


def test_one_variable_in_two_columns_is_refused(tmp_path):
    refused(tmp_path, "time,temperature [degC],air_temperature [degF]\n2026-05-01T00:00Z,1,2\n",
            1, "air_temperature stands in two columns")  # fmt: skip


@pytest.mark.parametrize("text", ["", "\n\n  \n", "# nothing but a remark\n", "\ufeff"])
def test_an_empty_file_is_refused(tmp_path, text):
    refused(tmp_path, text, 0, "empty", "expected a header and rows")


@pytest.mark.parametrize("text", [HEAD, HEAD.strip(), "# note\n" + HEAD])
def test_a_header_without_rows_is_refused(tmp_path, text):
    refused(tmp_path, text, text.strip().count("\n") + 1, "a header but no rows")


def test_a_file_that_is_not_there_is_named_with_its_path(tmp_path):
    problem = only(lambda: read_log(tmp_path / "gone.csv"))
    assert problem.file == str(tmp_path / "gone.csv") and "no such file" in problem.message


def test_a_folder_in_place_of_a_log_is_refused(tmp_path):
    assert "directory" in only(lambda: read_log(tmp_path)).message.lower()


@pytest.mark.parametrize(("extra", "count"), [(",99", 4), (",1,2,3,4", 7)])
@pytest.mark.parametrize("at", [2, 4, 7])
def test_a_row_with_more_cells_than_the_header_is_left_out_and_the_others_are_kept(
    tmp_path, extra, count, at
):
    lines = (HEAD + ROWS).splitlines()
    lines[at - 1] += extra
    rows = read_log(written(tmp_path, "\n".join(lines) + "\n"))
    assert len(rows) == 5 and at not in rows.line and rows.tallies[0].refused == 1
    assert notes(rows) == [f"log.csv:{at}: {count} cells; expected 3, as in the header. "
                           "Row left out."]  # fmt: skip
    assert rows.notes[0].trouble == "wrong_cells"


def test_a_log_of_which_no_row_fits_the_header_is_refused_at_its_first_row(tmp_path):
    text = HEAD + "".join(f"2026-05-01T0{h}:00Z,10,5,80,1\n" for h in range(6))
    refused(tmp_path, text, 2, "5 cells", "expected 3", "header")


def test_an_unclosed_quote_costs_its_own_row_only(tmp_path):
    rows = read_log(written(tmp_path, HEAD + '2026-05-01T09:00Z,"1,2\n' + ROWS))
    assert len(rows) == 6 and rows.line.tolist() == [3, 4, 5, 6, 7, 8]
    assert notes(rows)[0].startswith("log.csv:2: a quote that does not close; expected 3")


def test_an_overlong_header_cell_is_refused_in_few_words(tmp_path):
    path = written(tmp_path, "time," + "x" * 200_000 + "\n1,2\n")
    problem = only(lambda: read_log(path))
    says(problem, "log.csv", 1, "no column that we know")
    assert len(problem.message) < 1000


def test_a_single_line_of_200_megabytes_is_refused_quickly(tmp_path):
    path = tmp_path / "log.csv"
    piece = b"x" * 10_000_000
    with path.open("wb") as out:
        out.write(HEAD.encode())
        for _ in range(20):
            out.write(piece)
    began = time.perf_counter()
    problem = only(lambda: read_log(path))
    took = time.perf_counter() - began
    path.unlink()
    says(problem, "log.csv", 2, f"more than {LONGEST_LINE:,} bytes", "expected rows")
    assert took < 10


def test_lines_just_under_the_longest_are_read(tmp_path):
    remark = "# " + "x" * (LONGEST_LINE - 10) + "\n"
    assert len(read_log(written(tmp_path, remark * 2 + HEAD + ROWS))) == 6


def test_naive_times_without_a_zone_are_refused_at_the_first_of_them(tmp_path):
    refused(tmp_path, HEAD + ",,\n2026-05-01T00:00,1,2\n", 3, "2026-05-01T00:00", "no offset",
            "expected an offset, Z, or a zone")  # fmt: skip


def test_a_zone_there_is_none_of_is_refused(tmp_path):
    for zone in ("Mars/Base", "", "America", "../../etc/passwd"):
        refused(tmp_path, HEAD + ROWS, 0, f"no zone '{zone}'", "America/Chicago", zone=zone)


@pytest.mark.parametrize("zone", [None, "Europe/Paris"])
@pytest.mark.parametrize(
    ("first", "second"),
    [("2026-05-01T00:00Z", "2026-05-01T01:00"), ("2026-05-01T00:00", "2026-05-01T01:00+02:00")],
)
def test_times_with_and_without_offset_in_one_file_are_refused_where_it_changes(
    tmp_path, zone, first, second
):
    text = f"{HEAD}{first},1,2\nnot a time at all,1,2\n{second},1,2\n"
    refused(tmp_path, text, 4, second, "expected one way", zone=zone)


def test_times_that_are_numbers_are_refused(tmp_path):
    refused(tmp_path, HEAD + "20260501,1,2\n20260502,1,2\n", 2, "20260501",
            "expected such as 2026-05-03T06:15:00+02:00", zone="UTC")  # fmt: skip


@pytest.mark.parametrize("cell", ["", "yesterday", "2026-13-45T00:00Z", "9999-12-31T23:59"])
def test_a_log_of_which_no_time_can_be_read_is_refused(tmp_path, cell):
    text = f"{HEAD}{cell},1,2\n{cell},1,2\n"
    refused(tmp_path, text, 2, "no readable time", f"'{cell}'", zone="America/Chicago")


def test_a_mapping_to_something_we_do_not_know_is_refused(tmp_path):
    path = written(tmp_path, "when,T1\n2026-05-01T00:00Z,50\n")
    columns = {"when": "time", "T1": "air_temprature [degF]"}
    problem = only(lambda: read_log(path, None, columns))
    says(problem, "log.csv", 1, "'T1'", "air_temprature [degF]", "expected such as")


def test_every_refusal_reads_as_file_line_and_message(tmp_path):
    path = written(tmp_path, "time,air_temperature\n2026-05-01T00:00Z,1\n")
    assert re.match(r"log\.csv:1: column .* expected", str(only(lambda: read_log(path))))
