"""The result of a run as Parquet tables, put in place as one folder when all of it is there."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any

from riskrules.tuning.kept import ROWS, stop_writing
from riskrules.tuning.rows import (
    ChanceRow,
    FindingRow,
    JobRow,
    OpenRow,
    SeasonResult,
    SeenRow,
    UnknownRow,
)

SAYS = "replay.json"
"""The file that says what a run's tables are of."""
GROUP = 5_000
"""Rows that are held before they are written: what bounds the memory. (assumption)"""
PLACE = {"block": "string", "season": "string"}
SEASON = PLACE | {
    "zone": "string", "start": "int64", "end": "int64", "logged_from": "int64",
    "logged_until": "int64", "logged_share": "double", "readings": "int64",
}  # fmt: skip
PROFILE = PLACE | {"name": "string", "profile": "string", "crew_hours": "double"}
KINDS = {
    "str": "string", "int": "int64", "float": "double", "bool": "bool", "float | None": "double",
}  # fmt: skip


def _columns(kind: type, named: bool = True) -> dict[str, str]:
    own = {f.name: KINDS[str(f.type)] for f in fields(kind)}
    return PLACE | ({"name": "string"} if named else {}) | own


TABLES: Mapping[str, Mapping[str, str]] = {
    "seasons": SEASON,
    "seen": _columns(SeenRow, named=False),
    "profiles": PROFILE,
    "findings": _columns(FindingRow),
    "unknowns": _columns(UnknownRow),
    "chances": _columns(ChanceRow),
    "jobs": _columns(JobRow),
    "open": _columns(OpenRow),
}
"""Columns of each table, with their Arrow types. ``name`` is that of the profile in the run."""


def rows_of(result: SeasonResult) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield each row of a result with the name of its table."""
    place = {"block": result.block, "season": result.season}
    yield "seasons", {name: getattr(result, name) for name in SEASON}
    for seen in result.seen:
        yield "seen", place | _plain(seen)
    for profile in result.profiles:
        yield "profiles", {name: getattr(profile, name) for name in PROFILE}
        for table in ROWS:
            for row in getattr(profile, table):
                yield table, place | {"name": profile.name} | _plain(row)


def _plain(row: Any) -> dict[str, Any]:
    return {f.name: getattr(row, f.name) for f in fields(row)}


def write_tables(folder: Path, results: Iterable[SeasonResult], said: Mapping[str, Any]) -> None:
    """Write a run's tables and what they are of; the folder appears whole or not at all.

    Parameters
    ----------
    folder : Path
        Of the run; what is there already is left as it is.
    results : iterable of SeasonResult
        One after the other, in order: no more than `GROUP` rows of a table are held.
    said : mapping
        What goes into ``replay.json``, beside the hash of each table.

    Raises
    ------
    ReplayStop
        Where the disk takes no more.
    """
    beside = folder.with_name(f".tmp-{os.getpid()}-{folder.name}")
    try:
        beside.mkdir(parents=True, exist_ok=True)
        _write_all(beside, results)
        hashes = {name: _hash(beside / f"{name}.parquet") for name in TABLES}
        text = json.dumps({**said, "tables": hashes}, indent=1, ensure_ascii=False) + "\n"
        (beside / SAYS).write_text(text, encoding="utf-8")
        for path in sorted(beside.iterdir()):
            _flush(path)
        if not folder.exists():
            beside.rename(folder)
    except OSError as error:
        stop_writing(folder, error)
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def _write_all(folder: Path, results: Iterable[SeasonResult]) -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    schemas = {name: pa.schema(list(columns.items())) for name, columns in TABLES.items()}
    held: dict[str, list[dict[str, Any]]] = {name: [] for name in TABLES}
    files = {
        name: pq.ParquetWriter(folder / f"{name}.parquet", schema, compression="zstd")
        for name, schema in schemas.items()
    }

    def give(name: str) -> None:
        files[name].write_table(pa.Table.from_pylist(held[name], schema=schemas[name]))
        held[name].clear()

    try:
        for result in results:
            for name, row in rows_of(result):
                held[name].append(row)
                if len(held[name]) >= GROUP:
                    give(name)
        for name in TABLES:
            give(name)
        for file in files.values():
            file.close()
    except BaseException:
        for file in files.values():
            file.is_open = False  # else it tries again to write its end when it is forgotten
        raise


def _hash(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _flush(path: Path) -> None:
    with path.open("rb") as file:
        os.fsync(file.fileno())
