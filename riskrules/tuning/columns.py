"""One season's readings as plain Parquet that any tool reads, and back."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from riskrules.errors import LogError, Problem
from riskrules.farm import BlockText, sensor_of
from riskrules.logs.columns import Understood, understood
from riskrules.logs.mapping import LogMapping
from riskrules.logs.order import spread, tidy
from riskrules.logs.raw import RawLog
from riskrules.logs.readings import Readings, Tally
from riskrules.logs.store.files import write_flushed
from riskrules.logs.values import ValueReader, forecast_rows
from riskrules.logs.variables import OUTSIDE, VARIABLES


def season_sources(raw: bytes, path: Path, block: BlockText) -> list[Readings]:
    """Return the readings of a season's file, one source a sensor, the outside ones last.

    In the order in which the file names them. Unjudged; a value that is missing is unknown, never
    zero.

    Raises
    ------
    LogError
        Where the file is no Parquet, its times are no times, or a column has no unit or one that
        is unknown.
    """
    table = _table(raw, path)
    sensors = _sensors(table, path)
    found = []
    for name in dict.fromkeys(sensors.tolist()):
        at = np.flatnonzero(sensors == name)
        rows = _source(table.take(at) if len(at) < len(table) else table, at, path)
        placed = _placed(rows, name, block)
        found.append(replace(rows, sensor=name, placed=placed))
    return sorted(found, key=lambda rows: rows.placed == "outside")


def write_season(path: Path, sources: Sequence[Readings]) -> None:
    """Write a block's unjudged sources of one season as one file, whole or not at all.

    Times, values and what is a forecast are kept; why a value is missing is not, only that it is.
    LogError where two sources have one name.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    sensors = [rows.sensor or "log" for rows in sources]
    if len(set(sensors)) < len(sensors):
        raise _trouble(path, f"sensors are {', '.join(sensors)}; expected a name for each")
    names = sorted({n for rows in sources for n in rows.values})
    count = [len(rows) for rows in sources]
    columns: dict[str, Any] = {
        "time": pa.array(np.concatenate([r.time for r in sources])).cast(pa.timestamp("s", "UTC")),
        "sensor": pa.array(sensors).take(pa.array(np.repeat(np.arange(len(sources)), count))),
        "forecast": pa.array(np.concatenate([r.forecast for r in sources])),
    }
    for name in names:
        nothing = [r.values.get(name, np.full(len(r), np.nan)) for r in sources]
        unit = VARIABLES[name.removesuffix(OUTSIDE)].unit
        columns[f"{name} [{unit}]"] = pa.array(np.concatenate(nothing), from_pandas=True)
    sink = pa.BufferOutputStream()
    pq.write_table(pa.table(columns), sink, compression="zstd")
    raw = bytes(sink.getvalue())
    path.parent.mkdir(parents=True, exist_ok=True)
    write_flushed(path, raw, hashlib.sha256(raw).hexdigest())


def _table(raw: bytes, path: Path) -> Any:
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        table = pq.ParquetFile(pa.BufferReader(raw)).read(use_threads=False)
    except (pa.ArrowException, OSError, ValueError) as error:
        raise _trouble(path, f"not readable as Parquet: {str(error)[:200]}") from None
    if not len(table):
        raise _trouble(path, "no rows; expected a season's readings")
    if "time" not in table.column_names:
        shown = ", ".join(table.column_names[:12])
        raise _trouble(path, f"columns are {shown}; expected one 'time'")
    return table


def _sensors(table: Any, path: Path) -> Any:
    if "sensor" not in table.column_names:
        return np.full(len(table), "log", dtype=object)
    column = table.column("sensor")
    if column.null_count:
        raise _trouble(path, f"{column.null_count} rows name no sensor; expected a name in each")
    return np.array(column.to_pylist(), dtype=object)


def _times(table: Any, path: Path) -> Any:
    """Return the times [s since 1970 UTC]; a clock time without a zone is refused."""
    import pyarrow as pa

    column = table.column("time")
    if column.null_count:
        raise _trouble(path, f"{column.null_count} rows without time; expected one in each")
    kind = column.type
    if pa.types.is_timestamp(kind) and kind.tz is None:
        raise _trouble(path, "'time' has no zone; expected timestamps in UTC")
    if pa.types.is_timestamp(kind):
        whole = column.cast(pa.timestamp("s", kind.tz), safe=False)
        return np.asarray(whole.cast(pa.int64()).to_numpy(), dtype=np.int64)
    if pa.types.is_integer(kind):
        return np.asarray(column.cast(pa.int64()).to_numpy(), dtype=np.int64)
    raise _trouble(path, f"'time' is {kind}; expected timestamps, or whole seconds since 1970 UTC")


def _source(table: Any, at: Any, path: Path) -> Readings:
    """Return the rows of one sensor, as they would be of a log file of their own."""
    import pandas as pd

    plain = [n for n in table.column_names if n not in ("time", "sensor", "forecast")]
    filled = [n for n in plain if table.column(n).null_count < len(table)]
    names = ["time", *(filled or plain), *({"forecast"} & {*table.column_names})]
    time = _times(table, path)
    cells = [time, *(table.column(n).to_pandas() for n in names[1:])]
    raw = RawLog(path.name, names, pd.concat([pd.Series(c) for c in cells], axis=1,
                                             ignore_index=True), at + 1, 0)  # fmt: skip
    rows = _read(raw, understood(raw, LogMapping()), time)
    kept = tidy(rows, raw.file)
    tally = Tally(raw.file, len(time), len(kept), 0, len(time) - len(kept), 0)
    return replace(spread(kept, raw.file), rows_read=len(time), tallies=(tally,))


def _read(raw: RawLog, columns: Understood, time: Any) -> Readings:
    reader = ValueReader(raw.file, raw.lines, time, LogMapping().missing)
    rows = Readings(time, 0, {}, {}, np.zeros(len(time), dtype=bool), (raw.file,), reader.notes)
    for i, column in columns.found.items():
        found = reader.read(raw.table[i], column)
        rows.values[column.name], rows.cause[column.name] = found.value, found.cause
        rows.reasons[column.name] = found.reasons
    if columns.forecast is not None:
        rows.forecast, notes = forecast_rows(raw.table[columns.forecast], raw.file, raw.lines)
        rows.notes += notes
    rows.line, rows.source = raw.lines, np.zeros(len(time), dtype=np.int64)
    return rows


def _placed(rows: Readings, sensor: str, block: BlockText) -> str:
    if all(name.endswith(OUTSIDE) for name in rows.values):
        return "outside"
    named = {sensor_of(log): log.placed for log in block.logs}
    return named.get(sensor, block.logs[0].placed)


def _trouble(path: Path, message: str) -> LogError:
    return LogError([Problem(str(path), 0, 0, message)])
