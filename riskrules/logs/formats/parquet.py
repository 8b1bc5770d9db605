"""Read Parquet through pyarrow: typed columns, a row a row."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from riskrules.errors import LogError
from riskrules.logs.formats.cells import EXACT, column, content, frame
from riskrules.logs.formats.source import fail
from riskrules.logs.mapping import LogMapping
from riskrules.logs.raw import RawLog

MAGIC = b"PAR1"
SEALED = b"PARE"
"""First bytes of Parquet and of encrypted Parquet (format's specification; memory)."""
MOST_CELLS = 100_000_000
"""Cells of the columns that are read: 800 MB as numbers. (assumption)"""
MOST_TEXT = 512_000_000
"""Bytes that the words of a column may have when written out. (assumption)"""
INDEX = "__index_level_0__"
"""Name that pandas gives to an index without one. (read: pandas' metadata of such a file)"""


def matches(head: bytes, path: Path) -> bool:
    """Return whether a file is Parquet, by its first bytes."""
    return head.startswith((MAGIC, SEALED))


def read(source: bytes | Path, file: str, mapping: LogMapping | None = None) -> list[RawLog]:
    """Return the table of a Parquet file; lines are row numbers, from 1.

    Timestamps keep the zone of their type. Dates and times of day become text, truth values
    TRUE and FALSE.

    Raises
    ------
    LogError
        Where the file is damaged or encrypted, larger than we take, or has a column of a kind
        that no log has: nested, binary, a duration. A mapping can leave such a column out.
    """
    raw = content(source, file)
    if raw.startswith(SEALED):
        raise fail(file, "encrypted Parquet; expected a file without a key")
    try:
        return [_read(raw, file, mapping or LogMapping())]
    except LogError:
        raise
    except Exception as error:  # pyarrow's errors have no one base
        what = str(error).splitlines()[0][:120] if str(error) else type(error).__name__
        raise fail(file, f"damaged Parquet ({what}); expected a whole file") from None


def _read(raw: bytes, file: str, mapping: LogMapping) -> RawLog:
    import pyarrow as pa
    import pyarrow.parquet as pq

    opened = pq.ParquetFile(pa.BufferReader(raw))
    schema, rows = opened.schema_arrow, opened.metadata.num_rows
    asked = [i for i, name in enumerate(schema.names) if mapping.columns.get(name) != "ignore"]
    _refuse_strange(pa.types, [schema.field(i) for i in asked], file)
    if not rows or not asked:
        raise fail(file, "no rows; expected rows of a log")
    _refuse_vast(opened.metadata, file)
    texts = [f.name for f in schema if _is_text(pa.types, f.type)]
    # Text comes as a dictionary, so that it can be measured before it is written out.
    table = pq.ParquetFile(pa.BufferReader(raw), read_dictionary=texts).read()
    if table.num_rows != rows:
        raise fail(file, f"{table.num_rows:,} rows, but its footer says {rows:,}")
    for i in asked:
        _refuse_wordy(table.column(i), schema.names[i], file)
    columns = [_column(pa.types, table.column(i)) for i in asked]
    header, said = _header([schema.field(i) for i in asked], pa.types)
    lines = np.arange(1, rows + 1, dtype=np.int64)
    return RawLog(file, header, frame(columns, rows), lines, 0, said=said)


def _header(fields: list[Any], types: Any) -> tuple[list[str], list[str]]:
    """Return the names of the columns, an index of timestamps named time, and what is said."""
    header = [str(f.name) for f in fields]
    if INDEX in header and "time" not in header:
        at = header.index(INDEX)
        if types.is_timestamp(fields[at].type):
            header[at] = "time"
            return header, ["Parquet", "its index of timestamps taken as time"]
    return header, ["Parquet"]


def _refuse_vast(about: Any, file: str) -> None:
    """Refuse a file of more values than we take, nested ones counted too."""
    cells = sum(
        about.row_group(g).column(c).num_values
        for g in range(about.num_row_groups)
        for c in range(about.num_columns)
    )
    if cells > MOST_CELLS:
        raise fail(file, f"{cells:,} values; expected at most {MOST_CELLS:,}. Save it in parts")


def _refuse_wordy(cells: Any, name: str, file: str) -> None:
    """Refuse a column whose words, each kept once in the file, are too much when written out."""
    import pyarrow as pa
    import pyarrow.compute as pc

    if not pa.types.is_dictionary(cells.type) or not _is_text(pa.types, cells.type.value_type):
        return
    size = 0
    for part in cells.chunks:
        lengths = pc.binary_length(part.dictionary).to_numpy(zero_copy_only=False)
        size += int(lengths[part.indices.drop_null().to_numpy()].sum())
    if size > MOST_TEXT:
        message = f"column '{name[:40]}' has {size:,} bytes of text"
        raise fail(file, f"{message}; expected at most {MOST_TEXT:,}")


def _refuse_strange(types: Any, fields: list[Any], file: str) -> None:
    """Refuse columns of kinds that no log has, by name."""
    for f in fields:
        kind = f.type.value_type if types.is_dictionary(f.type) else f.type
        if types.is_nested(kind):
            what = f"is nested ({kind})"
        elif _is_plain(types, kind):
            continue
        else:
            what = f"is of type {kind}"
        expected = "expected numbers, text or times. Map it to 'ignore' to leave it out"
        raise fail(file, f"column '{f.name[:40]}' {what[:80]}; {expected}")


def _is_plain(types: Any, kind: Any) -> bool:
    """Return whether a column's kind is one that a log has."""
    plain = ("integer", "floating", "decimal", "boolean", "string", "large_string",
             "timestamp", "date", "time", "null")  # fmt: skip
    return any(getattr(types, f"is_{name}")(kind) for name in plain)


def _column(types: Any, cells: Any) -> Any:
    """Return an Arrow column as numbers, datetimes (with the zone of the type) or text."""
    kind = cells.type
    if types.is_dictionary(kind):
        inner = kind.value_type
        return _texts(cells) if _is_text(types, inner) else _column(types, cells.cast(inner))
    if types.is_timestamp(kind):
        return cells.to_pandas()
    if types.is_integer(kind):
        return _whole(cells)
    if types.is_floating(kind):
        return cells.to_numpy().astype(float)
    if types.is_decimal(kind):
        return np.array([np.nan if v is None else float(v) for v in cells.to_pylist()], float)
    if _is_text(types, kind):
        return _texts(cells)
    return column(cells.to_pylist())


def _is_text(types: Any, kind: Any) -> bool:
    return bool(types.is_string(kind) or types.is_large_string(kind))


def _texts(cells: Any) -> Any:
    text = cells.to_pandas().astype(object)
    return text.where(text.notna(), np.nan)


def _whole(cells: Any) -> Any:
    """Return whole numbers: as floats where one is missing and all are exact, else as text."""
    if not cells.null_count:
        found = cells.to_numpy()
        return found.astype(np.int64) if found.dtype != np.uint64 else column(found.tolist())
    given = cells.drop_null()
    found = given.to_numpy()
    if not len(found) or (int(found.min()) >= -EXACT and int(found.max()) <= EXACT):
        return cells.to_numpy().astype(float)
    return column(cells.to_pylist())
