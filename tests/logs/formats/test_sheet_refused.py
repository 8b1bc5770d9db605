"""Workbooks that cannot be used: each is refused with the reason, none ends the process."""

from __future__ import annotations

import io
import random
import struct
import zipfile

import pytest

from riskrules.errors import LogError
from riskrules.logs.formats import sheet, sheet_books
from riskrules.logs.mapping import LogMapping

from .books import ROWS, book, compound, rewritten, saved, xls, xlsx

SHEET1 = "xl/worksheets/sheet1.xml"
GOOD = xlsx(ROWS)


def zipped(**members: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        for name, data in members.items():
            made.writestr(name.replace("__", "/"), data)
    return out.getvalue()


def in_sheet(old: bytes, new: bytes) -> bytes:
    changed = rewritten(GOOD, SHEET1, lambda x: x.replace(old, new))
    assert changed != rewritten(GOOD, SHEET1, lambda x: x)
    return changed


def refused(raw: bytes, mapping: LogMapping | None = None) -> str:
    with pytest.raises(LogError) as caught:
        sheet.read(raw, "a.xlsx", mapping)
    return str(caught.value)


def test_one_cell_a_million_rows_away_is_refused_before_it_takes_the_memory() -> None:
    message = refused(in_sheet(b'r="C3"', b'r="XFD1048576"'))
    assert "1,048,576 rows and 16,384 columns" in message and "expected a log" in message


@pytest.mark.parametrize(
    "cell", [b"r = 'XFD1048576'", b'r="xfd1048576"', b'\n\tr\n=\n"XFD1048576"']
)
def test_however_the_far_cell_is_written(cell: bytes) -> None:
    assert "a sheet of" in refused(in_sheet(b'r="C3"', cell))


def test_cells_that_do_not_say_where_they_are_are_counted() -> None:
    cells = b"<row>" + b"<c/>" * 5_000 + b"</row>" + b"<row/>" * 5_000
    assert "a sheet of" in refused(in_sheet(b"</sheetData>", cells + b"</sheetData>"))


def test_a_workbook_that_unpacks_to_too_much(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sheet_books, "MOST_UNPACKED", 10_000)
    message = refused(in_sheet(b"</sheetData>", b"</sheetData>" + b" " * 100_000))
    assert message.startswith("a.xlsx: more than 10,000 bytes when unpacked; expected a log")


@pytest.mark.parametrize(
    ("raw", "what"),
    [
        (zipped(mimetype=b"application/vnd.oasis.opendocument.spreadsheet",
                **{"content.xml": b"<x/>"}), "an OpenDocument sheet"),
        (zipped(xl__workbook_bin=b"x", **{"xl/workbook.bin": b""}), "a binary workbook"),
        (zipped(**{"[Content_Types].xml": b"<x/>"}), "not readable as a workbook"),
        (GOOD[: len(GOOD) // 2], "not readable as a workbook"),
        (xls(ROWS)[:1000], "not readable as a workbook (cut short)"),
        (b"", "empty"),
    ],
)  # fmt: skip
def test_what_is_no_workbook_that_we_read(raw: bytes, what: str) -> None:
    assert what in refused(raw) and "expected" in refused(raw)


def encrypted_member() -> bytes:
    raw = bytearray(GOOD)
    at = raw.find(b"PK\x01\x02")
    while at >= 0:  # set the flag 'encrypted' of every member in the directory
        raw[at + 8] |= 1
        at = raw.find(b"PK\x01\x02", at + 4)
    at = raw.find(b"PK\x03\x04")
    while at >= 0:
        raw[at + 6] |= 1
        at = raw.find(b"PK\x03\x04", at + 4)
    return bytes(raw)


@pytest.mark.parametrize(
    "raw",
    [encrypted_member(), xls(ROWS, sealed=True), compound("EncryptedPackage", bytes(5000))],
    ids=["zip", "xls", "xlsx"],
)
def test_a_workbook_with_a_password(raw: bytes) -> None:
    assert "protected by a password" in refused(raw)


def test_an_xls_cell_far_away_ends_only_the_process_that_read_it() -> None:
    raw = xls([*ROWS[:2], ["x", 7.125]])
    at = raw.index(struct.pack("<d", 7.125)) - 6
    far = raw[:at] + struct.pack("<HH", 65535, 65535) + raw[at + 4 :]
    assert "larger than we take" in refused(far)


def test_sheets_without_a_table() -> None:
    assert "no table in 'Data'" in refused(xlsx([["only words"], ["here"]]))
    assert "no table in 'Data'" in refused(xlsx([]))
    assert "a header but no rows" in refused(xlsx([["time", "t"]]))
    assert "no table in 'Data'" in refused(GOOD, LogMapping(header_line=99))


def test_a_sheet_that_is_not_there_names_those_that_are() -> None:
    made = saved(book(("North", ROWS), ("South", ROWS)))
    message = refused(made, LogMapping(sheet="West"))
    assert "no sheet 'West'; expected one of 'North', 'South'" in message


def damaged(raw: bytes, dice: random.Random) -> bytes:
    changed = bytearray(raw)
    for _ in range(dice.choice([1, 3, 20])):
        changed[dice.randrange(len(changed))] = dice.randrange(256)
    return bytes(changed[: dice.choice([len(changed), dice.randrange(8, len(changed))])])


@pytest.mark.parametrize(
    ("raw", "times"),
    [
        (GOOD, 200),
        (rewritten(GOOD, "x", bytes), 200),  # stored unpacked: damage reaches the XML
        pytest.param(xls(ROWS), 12),
        pytest.param(xls(ROWS), 500, marks=pytest.mark.long),
    ],
)
def test_damage_anywhere_gives_a_table_or_an_error_that_names_the_file(
    raw: bytes, times: int
) -> None:
    dice = random.Random(4)
    outcomes = set()
    for _ in range(times):
        try:
            found = sheet.read(damaged(raw, dice), "a.xlsx")
            assert all(len(log.lines) == len(log.table) for log in found)
            outcomes.add("read")
        except LogError as error:
            assert str(error).startswith("a.xlsx")
            outcomes.add("refused")
    assert "refused" in outcomes
