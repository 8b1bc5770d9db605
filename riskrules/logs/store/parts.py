"""Readings as Parquet: one part a file version and year, read back exactly as they were.

A column that says nothing new (no forecast, no reasons, a cause that follows from the value) is
left out and named in the part's metadata, which also holds notes, tallies and the version.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from riskrules.logs.readings import PER_VALUE, Ints, Note, Readings, Tally, missing_cause
from riskrules.logs.store.files import hash_of, trouble
from riskrules.logs.store.types import OUTSIDE_FOLDER, Part, Version
from riskrules.logs.variables import Floats

FORMAT = 1
META = b"riskrules_log_part"
DTYPES = {
    "values": np.float64, "cause": np.int64, "low": np.float64, "high": np.float64,
    "origin": np.uint8, "flags": np.uint8, "reasons": np.uint32,
}  # fmt: skip
HINT = (
    "LogStore.check() lists all that is damaged. Put the folder back from a copy, or read the "
    "originals again into a new store"
)


def years_of(time: Ints) -> Ints:
    """Return the UTC year that each row belongs to; a row's time is the end of its step. [s]

    Examples
    --------
    >>> years_of(np.array([1, 1_767_225_600, 1_767_225_601]))
    array([1970, 2025, 2026])
    """
    return (time - 1).astype("datetime64[s]").astype("datetime64[Y]").astype(np.int64) + 1970


def encode(rows: Readings, version: Version) -> Iterator[tuple[Part, bytes]]:
    """Yield each year of a version's readings as a part and its bytes; one empty part of none."""
    years = years_of(rows.time)
    cuts = np.concatenate(([0], np.flatnonzero(np.diff(years)) + 1, [len(rows)]))
    for start, end in zip(cuts[:-1].tolist(), cuts[1:].tolist(), strict=True):
        some = rows if end - start == len(rows) else rows.only(slice(start, end))
        year = int(years[start]) if end > start else 1970
        raw = _parquet(some, version, len(cuts) - 1)
        digest = hashlib.sha256(raw).hexdigest()
        folder = f"readings/block={version.block or OUTSIDE_FOLDER}/year={year}"
        path = f"{folder}/{version.sensor}-{digest[:32]}.parquet"
        first, last = (int(some.time[0]), int(some.time[-1])) if len(some) else (0, 0)
        yield Part(path, digest, len(some), first, last), raw


def _parquet(rows: Readings, version: Version, parts: int) -> bytes:
    import pyarrow as pa
    import pyarrow.parquet as pq

    columns, kept = _columns(rows)
    said = _said(rows, version, parts, kept)
    text = json.dumps(said, default=lambda number: number.item())
    arrays = [_arrow(column) for column in columns.values()]
    table = pa.Table.from_arrays(arrays, names=list(columns), metadata={META: text.encode("utf-8")})
    sink = pa.BufferOutputStream()
    pq.write_table(
        table,
        sink,
        compression="zstd",
        use_dictionary=[n for n in columns if n not in ("time", "line", "forecast")],
        column_encoding={n: "DELTA_BINARY_PACKED" for n in ("time", "line") if n in columns},
        write_statistics=["time"],
    )
    return bytes(sink.getvalue())


def _said(rows: Readings, version: Version, parts: int, kept: list[list[str]]) -> dict[str, Any]:
    """Return a part's metadata: all of the readings that is no column, and the version."""
    return {
        "format": FORMAT,
        "version": version._replace(parts=())._asdict(),
        "parts": parts,
        "columns": kept,
        "step": rows.step,
        "files": rows.files,
        "notes": [_cells(n) for n in rows.notes],
        "rows_read": rows.rows_read,
        "tallies": [_cells(t) for t in rows.tallies],
        "placed": rows.placed,
    }


def _arrow(column: Any) -> Any:
    """Return an array as Arrow sees it. (pyarrow.array would import pandas, half a second.)"""
    import pyarrow as pa

    if column.dtype == bool:
        bits = np.packbits(column, bitorder="little")
        return pa.Array.from_buffers(pa.bool_(), len(column), [None, pa.py_buffer(bits)])
    kind, plain = pa.from_numpy_dtype(column.dtype), np.ascontiguousarray(column)
    return pa.Array.from_buffers(kind, len(column), [None, pa.py_buffer(plain)])


def _cells(record: Note | Tally) -> list[Any]:
    return [getattr(record, name) for name in record.__slots__]


def _columns(rows: Readings) -> tuple[dict[str, Any], list[list[str]]]:
    """Return the columns to write, and for each column there is how to get it back."""
    columns: dict[str, Any] = {"time": rows.time}
    kept: list[list[str]] = []
    for name in ("forecast", "line", "source", "spans"):
        column = getattr(rows, name)
        if len(column) != len(rows):
            how = "empty"
        else:
            how = "stored" if column.any() else "zero"
        kept.append([name, "", how])
        if how == "stored":
            columns[name] = column
    for field in PER_VALUE:
        for variable, column in getattr(rows, field).items():
            how = _how(rows, field, variable, column)
            kept.append([field, variable, how])
            if how == "stored":
                columns[f"{field}/{variable}"] = column
    return columns, kept


def _how(rows: Readings, field: str, variable: str, column: Any) -> str:
    if field == "values":
        return "stored"
    if field == "cause" and np.array_equal(column, usual_cause(rows.values[variable], variable)):
        return "usual"
    value = rows.values.get(variable)
    if field in ("low", "high"):
        same = value is not None and np.array_equal(_bits(column), _bits(value))
        return "value" if same else "stored"
    return "stored" if column.any() else "zero"


def _bits(column: Floats) -> Ints:
    return np.ascontiguousarray(column, dtype=np.float64).view(np.int64)


def absent_cause(variable: str) -> int:
    """Return the cause of a missing value; 0 for a variable that we don't know."""
    try:
        return int(missing_cause(variable))
    except KeyError:
        return 0


def usual_cause(value: Floats, variable: str) -> Ints:
    """Return the cause that follows from the values alone: missing where NaN, else none."""
    return np.where(np.isnan(value), absent_cause(variable), 0).astype(np.int64)


def read_part(folder: Path, part: Part) -> tuple[Readings, dict[str, Any]]:
    """Return a part's readings and its metadata.

    FileNotFoundError where it is gone; LogError where it is not what was written.
    """
    path = folder / part.path
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        raise
    except OSError as error:
        raise trouble(path, f"cannot be read: {error.strerror or error}") from None
    if hash_of(raw) != part.sha256:
        raise trouble(path, f"damaged: its hash is not the one that was written. {HINT}")
    return decode(raw, path)


def decode(raw: bytes, path: Path) -> tuple[Readings, dict[str, Any]]:
    """Return the readings and metadata of a part's bytes; LogError where it is none."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        table = pq.ParquetFile(pa.BufferReader(raw)).read(use_threads=False)
        said = json.loads((table.schema.metadata or {})[META])
        if said["format"] != FORMAT:
            message = f"a part of format {said['format']}; expected {FORMAT}"
            raise trouble(path, f"{message}. Use the program that made it")
        return _readings(table, said), said
    except (pa.ArrowException, OSError, ValueError, KeyError, TypeError) as error:
        raise trouble(path, f"not a part of a log store: {error}. {HINT}") from None


def _readings(table: Any, said: dict[str, Any]) -> Readings:
    n = table.num_rows
    rows = Readings(
        time=_array(table, "time", np.int64),
        step=said["step"],
        values={},
        cause={},
        forecast=np.zeros(0, dtype=bool),
        files=tuple(said["files"]),
        notes=[Note(*cells) for cells in said["notes"]],
        rows_read=said["rows_read"],
        tallies=tuple(Tally(*cells) for cells in said["tallies"]),
        sensor=said["version"]["sensor"],
        placed=said["placed"],
    )
    for field, variable, how in said["columns"]:
        if not variable:
            kind: Any = bool if field == "forecast" else np.int64
            empty = np.zeros(n if how == "zero" else 0, dtype=kind)
            setattr(rows, field, _array(table, field, kind) if how == "stored" else empty)
            continue
        getattr(rows, field)[variable] = _column(table, rows, field, variable, how)
    return rows


def _column(table: Any, rows: Readings, field: str, variable: str, how: str) -> Any:
    if how == "usual":
        return usual_cause(rows.values[variable], variable)
    if how == "value":
        return rows.values[variable].copy()
    if how == "zero":
        return np.zeros(table.num_rows, dtype=DTYPES[field])
    return _array(table, f"{field}/{variable}", DTYPES[field])


def _array(table: Any, name: str, kind: Any) -> Any:
    """Return a column as an array of our own. (to_numpy would import pandas, half a second.)"""
    import pyarrow as pa

    column = table.column(name)
    if column.null_count or column.type != pa.from_numpy_dtype(kind):
        raise ValueError(f"column {name} is not as it was written")
    made = [np.zeros(0, dtype=kind)]
    for chunk in (c for c in column.chunks if len(c)):
        raw, start, n = chunk.buffers()[1], chunk.offset, len(chunk)
        if kind is bool:
            bits = np.frombuffer(raw, dtype=np.uint8)
            made.append(np.unpackbits(bits, count=start + n, bitorder="little")[start:] == 1)
        else:
            made.append(np.frombuffer(raw, dtype=kind)[start : start + n])
    return np.concatenate(made)
