"""Workbooks written by the tests: .xlsx through openpyxl, .xls byte by byte."""

from __future__ import annotations

import io
import struct
import zipfile
from collections.abc import Callable, Sequence
from typing import Any

import openpyxl

ROWS = [
    ["time", "air_temperature [degC]", "relative_humidity [%]"],
    ["2026-05-03T00:00:00Z", 10.5, 90],
    ["2026-05-03T01:00:00Z", 10.0, 92],
]


def book(*sheets: tuple[str, Sequence[Sequence[Any]]]) -> Any:
    """Return a workbook with sheets of rows, not yet written."""
    made = openpyxl.Workbook()
    made.remove(made.active)
    for name, rows in sheets:
        sheet = made.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
    return made


def saved(made: Any) -> bytes:
    """Return a workbook's bytes."""
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


def xlsx(rows: Sequence[Sequence[Any]]) -> bytes:
    """Return the bytes of a workbook of one sheet."""
    return saved(book(("Data", rows)))


def rewritten(raw: bytes, part: str, change: Callable[[bytes], bytes]) -> bytes:
    """Return a zip archive with one of its members changed."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(raw)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            data = old.read(name)
            new.writestr(name, change(data) if name == part else data)
    return out.getvalue()


def xls(rows: Sequence[Sequence[Any]], sealed: bool = False) -> bytes:
    """Return the bytes of an .xls file of one sheet; a cell ('date', n) is a date's serial.

    ``sealed`` says that its records are encrypted.

    BIFF8 records in a compound file without small streams, the least that a reader takes
    ([MS-XLS] and [MS-CFB]; memory; held against a reader that we did not write).
    """
    sheet = b"".join(
        _cell(r, c, value) for r, row in enumerate(rows) for c, value in enumerate(row)
    )
    end = _record(0x0A, b"")
    globals_ = _record(0x0809, struct.pack("<HHHH", 0x0600, 0x0005, 0, 0))
    globals_ += _record(0x2F, struct.pack("<HHH", 1, 1, 1)) if sealed else b""
    globals_ += b"".join(_record(0xE0, struct.pack("<HH16x", 0, f)) for f in (0, 22))
    name = b"S"
    size = len(globals_) + 4 + 8 + len(name) + len(end)
    globals_ += _record(0x85, struct.pack("<IBBBB", size, 0, 0, len(name), 0) + name) + end
    body = _record(0x0809, struct.pack("<HHHH", 0x0600, 0x0010, 0, 0)) + sheet + end
    return compound("Workbook", globals_ + body)


def _record(kind: int, data: bytes) -> bytes:
    return struct.pack("<HH", kind, len(data)) + data


def _cell(row: int, place: int, value: Any) -> bytes:
    if value is None:
        return b""
    if isinstance(value, str):
        text = value.encode("utf-16-le")
        data = struct.pack("<HHHHB", row, place, 0, len(value), 1) + text
        return _record(0x0204, data)
    if isinstance(value, tuple):
        return _record(0x0203, struct.pack("<HHHd", row, place, 1, value[1]))
    return _record(0x0203, struct.pack("<HHHd", row, place, 0, value))


def compound(name: str, stream: bytes) -> bytes:
    """Return a compound file that holds one stream."""
    stream = stream.ljust(4096, b"\0")
    stream += b"\0" * (-len(stream) % 512)
    n = len(stream) // 512
    none, last, table = 0xFFFFFFFF, 0xFFFFFFFE, 0xFFFFFFFD
    assert n + 2 <= 128
    fat = [table, last, *range(3, n + 2), last]
    fat += [none] * (128 - len(fat))
    header = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(16)
    header += struct.pack("<HHHHH6x", 0x3E, 3, 0xFFFE, 9, 6)
    header += struct.pack("<IIIIIIIII", 0, 1, 1, 0, 4096, last, 0, last, 0)
    header += struct.pack("<109I", 0, *[none] * 108)
    entries = _entry("Root Entry", 5, 1, last, 0) + _entry(name, 2, none, 2, len(stream))
    return header + struct.pack("<128I", *fat) + entries.ljust(512, b"\0") + stream


def _entry(name: str, kind: int, child: int, start: int, size: int) -> bytes:
    text = name.encode("utf-16-le")
    none = 0xFFFFFFFF
    data = text.ljust(64, b"\0") + struct.pack("<HBB", len(text) + 2, kind, 1)
    return data + struct.pack("<III36xIQ", none, none, child, start, size)
