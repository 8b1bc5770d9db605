"""Encodings: the same log in other bytes reads the same, and what was odd is said."""

from __future__ import annotations

import pytest

from riskrules.logs.read import read_log

from .helpers import notes, written

TEXT = "time,air_temperature [°C],relative_humidity [%]\n" + "".join(
    f"2026-05-01T{h:02d}:00Z,{10 + h / 10},{80 + h}\n" for h in range(6)
)
T = [10.0, 10.1, 10.2, 10.3, 10.4, 10.5]


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_a_utf16_file_is_read_with_and_without_its_mark(tmp_path, encoding, end):
    rows = read_log(written(tmp_path, TEXT.replace("\n", end).encode(encoding)))
    assert rows.values["air_temperature"].tolist() == T
    wanted = "BE" if encoding.endswith("be") else "LE"
    assert notes(rows) == [f"log.csv: how it was read: UTF-16 {wanted}."]


def test_a_latin1_file_is_read_and_it_is_said(tmp_path):
    rows = read_log(written(tmp_path, TEXT.encode("latin-1")))
    assert rows.values["air_temperature"].tolist() == T
    assert notes(rows) == ["log.csv: how it was read: not UTF-8; read as Latin-1 (Windows-1252), "
                           "from line 1 on."]  # fmt: skip


def test_a_utf8_file_with_one_damaged_byte_loses_that_cell_only(tmp_path):
    raw = TEXT.encode().replace(b"10.3", b"1\xff.3")
    rows = read_log(written(tmp_path, raw))
    assert [v == v for v in rows.values["air_temperature"].tolist()] == [1, 1, 1, 0, 1, 1]
    assert rows.values["relative_humidity"].tolist() == [80, 81, 82, 83, 84, 85]
    assert {n.trouble for n in rows.notes} == {"", "not_a_number"}


def test_a_file_cut_within_a_character_is_still_utf8(tmp_path):
    rows = read_log(written(tmp_path, TEXT.encode() + b"2026-05-01T09:00Z,5,\xc2"))
    assert len(rows) == 7 and any("UTF-8 with 1 damaged" in n for n in notes(rows))
    assert rows.values["relative_humidity"][-1] != rows.values["relative_humidity"][-1]
