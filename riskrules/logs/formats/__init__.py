"""Open a log of any format: what stands in the file decides, its name only where that is open."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from types import ModuleType

from riskrules.logs.formats.source import check_lines, file_bytes
from riskrules.logs.mapping import LogMapping
from riskrules.logs.raw import RawLog

HEAD_BYTES = 65_536
"""Bytes by which a format is told. (assumption)"""
OTHERS = ("columnar", "sheet", "weather_year")
"""Modules of formats that are not plain text, in the order in which they are asked."""


def open_log(path: Path, mapping: LogMapping | None = None) -> list[RawLog]:
    """Return the tables of a log file as they stand in it, none of it understood yet.

    Parameters
    ----------
    path : Path
        Text of any delimiter, gzip or zip, Excel, Parquet, JSON lines, TMY3 or EPW.
    mapping : LogMapping, optional
        What a person says of the file goes before what is found in it.

    Raises
    ------
    LogError
        Where the file is missing, empty, damaged, or holds no table.
    """
    head = file_bytes(path, HEAD_BYTES)
    return _opened(path, head, path.name, path, mapping)


def open_bytes(
    data: bytes, file: str, path: Path, mapping: LogMapping | None = None
) -> list[RawLog]:
    """Return the tables of bytes that a file would hold; ``file`` is shown, ``path`` names it."""
    return _opened(data, data[:HEAD_BYTES], file, path, mapping)


def _opened(
    source: bytes | Path, head: bytes, file: str, path: Path, mapping: LogMapping | None
) -> list[RawLog]:
    from riskrules.logs.formats import packed, text

    if not head.strip():
        check_lines(source if isinstance(source, bytes) else file_bytes(source), file)
    other = other_format(head, path)
    if other is not None:
        found: list[RawLog] = other.read(source, file, mapping)
        return found
    if packed.matches(head, path):
        return packed.read(source, file, mapping)
    return text.read(source, file, mapping)


def other_format(head: bytes, path: Path) -> ModuleType | None:
    """Return the module that reads a format other than text, by its first bytes, or None."""
    for name in OTHERS:
        try:
            module = import_module(f"riskrules.logs.formats.{name}")
        except ModuleNotFoundError as error:
            if error.name != f"riskrules.logs.formats.{name}":
                raise
            continue
        if module.matches(head[:HEAD_BYTES], path):
            return module
    return None
