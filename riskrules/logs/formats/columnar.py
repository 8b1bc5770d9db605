"""Read logs in columns and records: Parquet, and JSON lines."""

from __future__ import annotations

from pathlib import Path

from riskrules.logs.formats import json_lines, parquet
from riskrules.logs.formats.cells import content
from riskrules.logs.mapping import LogMapping
from riskrules.logs.raw import RawLog


def matches(head: bytes, path: Path) -> bool:
    """Return whether a file is Parquet or JSON, by its first bytes."""
    return parquet.matches(head, path) or json_lines.matches(head, path)


def read(source: bytes | Path, file: str, mapping: LogMapping | None = None) -> list[RawLog]:
    """Return the table of a Parquet file or of JSON lines; LogError where it cannot be used."""
    source = content(source, file)
    if parquet.matches(source[:4], Path(file)):
        return parquet.read(source, file, mapping)
    return json_lines.read(source, file, mapping)
