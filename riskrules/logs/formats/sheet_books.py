"""Open workbooks safely: what is inside is measured first, and old ones are read apart."""

from __future__ import annotations

import io
import lzma
import pickle
import re
import subprocess
import sys
import zipfile
import zlib
from dataclasses import dataclass
from typing import Any, NoReturn

from riskrules.logs.formats.source import fail

OLD = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
"""First bytes of a compound file, as .xls files and protected workbooks are. (memory)"""
MOST_UNPACKED = 512 * 2**20
"""Bytes that a workbook may unpack to; a full sheet of seven columns has 330 MB. (assumption)"""
MOST_CELLS = 10_000_000
"""Cells from the first to the last used row and column of a sheet. (assumption)"""
UNCOMPUTED = "a formula never computed"
OLD_SECONDS, OLD_BYTES = 120, 3 * 2**30
"""What reading one .xls may take. (assumption)"""
SEALED = "EncryptedPackage".encode("utf-16-le")
"""Name of the stream that holds an .xlsx with a password ([MS-OFFCRYPTO]; memory)."""
BROKEN = (zipfile.BadZipFile, zlib.error, lzma.LZMAError, OSError, EOFError, ValueError,
          NotImplementedError)  # fmt: skip
"""What reading a damaged archive raises."""
_FILEPASS = re.compile(
    rb"\x09\x08(?:\x08\x00.{8}|\x10\x00.{16})(?:\x86\x00\x00\x00)?\x2f\x00", re.DOTALL
)
"""The record that says that an .xls file is encrypted, behind its first ([MS-XLS]; memory)."""
_COLUMN = re.compile(rb"""\sr\s*=\s*["']\s*([A-Za-z]+)""")
_ROW = re.compile(rb"""\sr\s*=\s*["']\s*[A-Za-z]*(\d+)""")
_CELL = re.compile(rb"<(?:\w+:)?c[\s/>]")
_FORMULA = re.compile(
    rb"<c(\s[^>]*?)>\s*<f(?:\s[^>]*)?(?:/>|>[^<]*</f>)\s*(?:<v\s*/>|<v>\s*</v>)?\s*</c>"
)
_KIND = re.compile(rb"""\st\s*=\s*["'](\w+)["']""")
_OLD_READER = """
import io, pickle, sys
try:
    import resource
    resource.setrlimit(resource.RLIMIT_AS, (%d,) * 2)
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
except (ImportError, ValueError, OSError):
    pass
from python_calamine import SheetTypeEnum, SheetVisibleEnum, load_workbook
try:
    book = load_workbook(io.BytesIO(sys.stdin.buffer.read()))
    found = []
    for about in book.sheets_metadata:
        if about.typ == SheetTypeEnum.WorkSheet:
            s = book.get_sheet_by_name(about.name)
            hidden = about.visible != SheetVisibleEnum.Visible
            found.append((s.name, hidden, s.start, s.merged_cell_ranges or [], s.to_python()))
except BaseException as error:
    found = type(error).__name__
sys.stdout.buffer.write(pickle.dumps(found))
"""


@dataclass(slots=True)
class Sheet:
    """A worksheet: rows of cells from its first used row (numbered from 1), None where empty.

    ``merged`` are ranges of merged cells, ((top, left), (bottom, right)), as indices of rows.
    """

    name: str
    hidden: bool
    first_row: int
    rows: list[list[Any]]
    merged: list[tuple[tuple[int, int], tuple[int, int]]]


def _sheet(name: str, hidden: bool, start: Any, merged: Any, cells: list[list[Any]]) -> Sheet:
    rows = [[_cell(c) for c in row] for row in cells]
    top, left = start or (0, 0)
    width = len(rows[0]) if rows else 0
    near = [
        ((a - top, b - left), (c - top, d - left))
        for (a, b), (c, d) in merged
        if b >= left and b - left < width
    ]
    return Sheet(name, hidden, top + 1, rows, near)


def _cell(cell: Any) -> Any:
    return None if isinstance(cell, str) and not cell.strip() else cell


def sheets_in_new(raw: bytes, file: str) -> list[Sheet]:
    """Return the worksheets of an .xlsx or .xlsm file; LogError where it cannot be used."""
    safe = _checked(raw, file)
    from python_calamine import SheetTypeEnum, SheetVisibleEnum, load_workbook

    try:
        book = load_workbook(io.BytesIO(safe))
        found = []
        for about in book.sheets_metadata:
            if about.typ == SheetTypeEnum.WorkSheet:
                sheet = book.get_sheet_by_name(about.name)
                rows, merged = sheet.to_python(), sheet.merged_cell_ranges or []
                hidden = about.visible != SheetVisibleEnum.Visible
                found.append(_sheet(sheet.name, hidden, sheet.start, merged, rows))
        return found
    except (KeyboardInterrupt, SystemExit):
        raise
    except BaseException as error:  # the library's panics are no Exception
        raise _damaged(file, error) from None


def _damaged(file: str, error: BaseException | str) -> Exception:
    name = error if isinstance(error, str) else type(error).__name__
    if name == "PasswordError":
        return fail(file, "protected by a password; expected a workbook saved without one")
    return fail(file, f"not readable as a workbook ({name}); expected .xlsx or .xls. Save it again")


def _checked(raw: bytes, file: str) -> bytes:
    """Return the workbook packed anew: only its XML, unpacked and measured.

    The library then sees nothing that was not looked at here, whatever the archive says of
    itself. Error cells become words, so that ``#N/A`` can be shown.
    """
    out = io.BytesIO()
    left = MOST_UNPACKED
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as old, zipfile.ZipFile(out, "w") as new:
            _refuse_others(old, file)
            for name in dict.fromkeys(old.namelist()):
                if not name.lower().endswith((".xml", ".rels")):
                    continue
                with old.open(name) as part:
                    data = part.read(left + 1)
                left -= len(data)
                if left < 0:
                    _too_large(file, f"more than {MOST_UNPACKED:,} bytes when unpacked")
                new.writestr(name, _measured(data, file) if b"sheetData" in data else data)
    except RuntimeError:
        raise _damaged(file, "PasswordError") from None
    except BROKEN as error:
        raise _damaged(file, error) from None
    return out.getvalue()


def _too_large(file: str, what: str) -> NoReturn:
    raise fail(file, f"{what}; expected a log. Save the table as CSV, or in parts")


def _refuse_others(book: zipfile.ZipFile, file: str) -> None:
    names = set(book.namelist())
    if "mimetype" in names and "content.xml" in names:
        raise fail(file, "an OpenDocument sheet; expected .xlsx. Save it as .xlsx or CSV")
    if any(n.lower().endswith("workbook.bin") for n in names):
        raise fail(file, "a binary workbook (.xlsb); expected .xlsx. Save it as .xlsx or CSV")


def _measured(data: bytes, file: str) -> bytes:
    """Return a sheet's XML with errors and uncomputed formulas as words; refuse a vast sheet."""
    if b"\x00" in data[:200]:
        raise fail(file, "a sheet in UTF-16; expected UTF-8. Save it again")
    placed = _COLUMN.findall(data)
    letters = set(placed)
    rows = max(map(int, set(_ROW.findall(data))), default=0)
    columns = max((_number(x) for x in letters), default=0)
    if not letters or len(_CELL.findall(data)) != len(placed):
        # Cells that don't say where they are stand one after the other.
        parts = re.split(rb"<(?:\w+:)?row[\s/>]", data)
        rows, columns = rows + len(parts), columns + max(len(_CELL.findall(p)) for p in parts)
    if rows * columns > MOST_CELLS:
        _too_large(file, f"a sheet of {rows:,} rows and {columns:,} columns")
    data = data.replace(b' t="e"', b' t="str"').replace(b" t='e'", b" t='str'")
    return _FORMULA.sub(_worded, data) if b"<f" in data else data


def _number(letters: bytes) -> int:
    """Return the number of a column of letters: A is 1, AA is 27."""
    n = 0
    for x in letters.upper():
        n = 26 * n + x - 64
    return n


def _worded(cell: re.Match[bytes]) -> bytes:
    kind = _KIND.search(cell[1])
    if kind and kind[1] == b"str":
        return cell[0]  # its value is the empty text
    return b'<c%b t="str"><v>%b</v></c>' % (_KIND.sub(b"", cell[1]), UNCOMPUTED.encode())


def sheets_in_old(raw: bytes, file: str) -> list[Sheet]:
    """Return the worksheets of an .xls file; LogError where it cannot be used.

    It is read by a process of its own, with bounds of time and memory: a damaged file can make
    the library ask for all memory there is, and then the process ends.
    """
    if len(raw) < 1536 or raw[28:30] != b"\xfe\xff":
        raise _damaged(file, "cut short")
    if SEALED in raw:
        raise _damaged(file, "PasswordError")
    command = [sys.executable, "-P", "-c", _OLD_READER % OLD_BYTES]
    try:
        done = subprocess.run(command, input=raw, capture_output=True, timeout=OLD_SECONDS)
    except subprocess.TimeoutExpired:
        raise _damaged(file, "endless") from None
    if done.returncode:
        raise _damaged(file, "larger than we take")
    found = pickle.loads(done.stdout)
    if isinstance(found, str):
        raise _damaged(file, "PasswordError" if _FILEPASS.search(raw) else found)
    return [_sheet(*sheet) for sheet in found]
