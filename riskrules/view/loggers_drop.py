"""A dropped log: kept under a name of our own, understood by a mapping beside it, shown as read."""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from riskrules.errors import FileProblems, RiskRulesError
from riskrules.farm import Farm
from riskrules.logs.formats import open_log
from riskrules.logs.mapping import LogMapping, load_mapping
from riskrules.logs.propose import Proposal, propose
from riskrules.logs.propose.text import quoted, remark
from riskrules.logs.raw import RawLog
from riskrules.logs.variables import VARIABLES
from riskrules.show import Style
from riskrules.sources import BESIDE, Source, mapping_for, read_source
from riskrules.view.loggers_store import DROPPED

LIMIT = 50_000_000
"""The most bytes of a dropped log: as much as the server of pages takes in. (assumption)"""
ENDINGS = ("csv", "txt", "tsv", "dat", "log", "json", "jsonl", "ndjson", "gz", "zip", "xlsx", "xls",
           "xlsm", "ods", "parquet", "tm3", "epw", "bz2", "xz")  # fmt: skip
ROWS = 10
"""Rows that are shown as understood. [count]"""
_KNOWN = re.compile(r"^[0-9a-f]{16}$")


@dataclass(frozen=True, slots=True)
class Dropped:
    """A file that was dropped: what it is known by, and where it lies under our own name."""

    known: str
    path: Path

    @property
    def mapping_path(self) -> Path:
        """Where its mapping lies."""
        return self.path.parent / f"{self.path.name}{BESIDE}"


def put(folder: Path, data: bytes, name: str) -> Dropped:
    """Write dropped bytes into the farm's log folder, under a name made of their hash.

    Of the name that came with them only a known ending is taken: it helps to tell formats.

    Raises
    ------
    RiskRulesError
        If they are none, too many, or cannot be written.
    """
    if not data:
        raise RiskRulesError("the file is empty; expected a header and rows")
    if len(data) > LIMIT:
        raise RiskRulesError(f"the file has {len(data):,} bytes; expected at most {LIMIT:,}")
    known = hashlib.sha256(data).hexdigest()[:16]
    ending = name.rsplit(".", 1)[-1].lower() if "." in name else ""
    ending = ending if ending in ENDINGS else "txt"
    home = folder / DROPPED
    try:
        home.mkdir(exist_ok=True)
        for old in home.glob(f"drop_{known}.*"):
            if not old.name.endswith((BESIDE, ".part")):
                return Dropped(known, old)
        path = home / f"drop_{known}.{ending}"
        _write(path, data)
    except OSError as error:
        raise RiskRulesError(f"{home}: cannot be written: {error.strerror}") from None
    return Dropped(known, path)


def _write(path: Path, data: bytes) -> None:
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    part.write_bytes(data)
    os.replace(part, path)


def found(folder: Path, known: str) -> Dropped | None:
    """Return a dropped file by what it is known by; None where there is none."""
    if not _KNOWN.match(known):
        return None
    for path in sorted((folder / DROPPED).glob(f"drop_{known}.*")):
        if not path.name.endswith((BESIDE, ".part")):
            return Dropped(known, path)
    return None


def proposed(dropped: Dropped) -> Proposal:
    """Return how a file might be understood; LogError where it holds no table."""
    return propose(dropped.path)


def mapping_of(dropped: Dropped, proposal: Proposal) -> LogMapping:
    """Return the mapping that lies beside a file, or that of the proposal."""
    path = dropped.mapping_path
    return load_mapping(path) if path.exists() else proposal.mapping


def save(dropped: Dropped, mapping: LogMapping) -> None:
    """Write the mapping beside the file, in place of the one before."""
    try:
        _write(dropped.mapping_path, as_yaml(mapping).encode())
    except OSError as error:
        said = f"{dropped.mapping_path}: cannot be written: {error.strerror}"
        raise RiskRulesError(said) from None


def as_yaml(mapping: LogMapping) -> str:
    """Return the text of a mapping file that loads back into the mapping."""
    lines = [remark("How a dropped log is to be read, as a person set it in the dashboard.")]
    plain = mapping.model_dump(mode="json", exclude={"columns", "shifts"})
    default = LogMapping().model_dump(mode="json")
    for key, value in plain.items():
        if value == default[key] and key not in ("clock", "stamp"):
            continue
        if isinstance(value, list):
            lines.append(f"{key}: [{', '.join(quoted(v) for v in value)}]")
        else:
            lines.append(f"{key}: {value if isinstance(value, int) else quoted(str(value))}")
    if mapping.shifts:
        lines.append("shifts:")
        lines += [f"  - {{from_line: {s.from_line}, hours: {s.hours}}}" for s in mapping.shifts]
    if mapping.columns:
        lines.append("columns:")
        lines += [f"  {quoted(h)}: {quoted(o)}" for h, o in mapping.columns.items()]
    return "\n".join(lines) + "\n"


def table_of(dropped: Dropped, mapping: LogMapping) -> RawLog:
    """Return the table of a file that its mapping is for: the sheet it names, or the widest."""
    raws = open_log(dropped.path, mapping)
    if not raws:
        raise RiskRulesError("no table in the file; expected a header and rows")
    return max(raws, key=lambda r: (len(r.header), len(r.table)))


def choices(now: str | None = None) -> list[str]:
    """Return what a column can be, as we write headers; ``now`` is in it where it is another.

    Examples
    --------
    >>> choices()[:3]
    ['', 'ignore', 'air_temperature [degC]']
    """
    more = {"degC": ("degF",), "%": ("1",), "1": ("%",), "mm": ("in",), "m s-1": ("km/h", "mph")}
    some = [f"{v.name} [{unit}]" for v in VARIABLES.values()
            for unit in (v.unit, *more.get(v.unit, ()))]  # fmt: skip
    listed = ["", "ignore", *some, "forecast"]
    return listed if now is None or now in listed else [*listed, now]


def corrected(
    mapping: LogMapping, *, columns: dict[str, str], time: Sequence[str], zone: str,
    clock: str, stamp: str, date_order: str, missing: str, decimal: str, delimiter: str,
) -> LogMapping:  # fmt: skip
    """Return a mapping as a person corrected it; '' leaves a thing to be found in the file.

    Raises
    ------
    RiskRulesError
        With a sentence where a value is none.
    """
    from pydantic import ValidationError

    from riskrules.journal.checks import sentences

    values = mapping.model_dump() | {
        "columns": {h: o for h, o in columns.items() if o}, "time": list(time),
        "zone": zone.strip() or None, "clock": clock, "stamp": stamp,
        "date_order": date_order or None, "decimal": decimal or None,
        "delimiter": delimiter or None,
        "missing": [m.strip() for m in missing.split() if m.strip()],
    }  # fmt: skip
    try:
        return LogMapping.model_validate(values)
    except ValidationError as error:
        raise RiskRulesError("\n".join(sentences(error))) from None


@dataclass(frozen=True, slots=True)
class AsRead:
    """A file as its sensor would have it: counts, ends, the first rows, notes, or what is wrong.

    ``rows`` are text, in the units of the one who looks; ``wrong`` says why nothing was understood.
    """

    rows: tuple[dict[str, str], ...]
    read: int
    kept: int
    first: int | None
    last: int | None
    step: int
    notes: tuple[str, ...]
    wrong: tuple[str, ...] = ()


def as_read(
    farm: Farm, source: Source, dropped: Dropped, style: Style | None = None
) -> AsRead:  # fmt: skip
    """Return a file as it is read for a sensor, with the mapping that lies beside it.

    What the farm file says of the sensor's logs goes before that mapping, here as in the store.
    """
    try:
        tables = read_source(farm, source, dropped.path)
    except FileProblems as error:
        return AsRead((), 0, 0, None, None, 0, (), tuple(_words(p) for p in error.problems))
    rows = max(tables, key=len)
    shown = []
    for i in range(min(ROWS, len(rows))):
        moment = datetime.fromtimestamp(int(rows.time[i]), farm.zone)
        line = str(int(rows.line[i])) if len(rows.line) else ""
        row = {"line": line, "time": moment.isoformat(" ")}
        for name, values in rows.values.items():
            unit = VARIABLES[name.removesuffix("_outside")].unit
            row[name] = "" if np.isnan(values[i]) else in_units(float(values[i]), unit, style)
        shown.append(row)
    kept = sum(len(r) for r in tables)
    first, last = (int(rows.time[0]), int(rows.time[-1])) if len(rows) else (None, None)
    notes = tuple(_note(n) for n in rows.notes)
    read = sum(r.rows_read for r in tables)
    return AsRead(tuple(shown), read, kept, first, last, int(rows.step), notes)


def in_units(value: float, unit: str, style: Style | None) -> str:
    """Return a value as fine as it was read, to hold it against what the logger wrote.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> in_units(21.7222, "degC", Style(ZoneInfo("UTC"), "degF")), in_units(0.5, "1", None)
    ('71.1 °F', '0.5')
    """
    if style and unit == "degC" and style.temperature == "degF":
        value, unit = value * 1.8 + 32, "°F"
    elif style and unit == "mm" and style.rain == "in":
        value, unit = value / 25.4, "in"
    words = {"degC": " °C", "1": "", "m s-1": " m/s"}.get(unit, f" {unit}")
    return f"{value:.4g}{words}"


def _words(problem: Any) -> str:
    where = f"line {problem.line}: " if problem.line else ""
    return f"{where}{problem.message}"


def _note(note: Any) -> str:
    times = f" ({note.count:,} times)" if note.count > 1 else ""
    return f"{f'line {note.row}: ' if note.row else ''}{note.message}{times}"


def farm_says(farm: Farm, source: Source, dropped: Dropped) -> dict[str, str]:
    """Return what the farm file says of a sensor's logs that another mapping cannot change."""
    beside = load_mapping(dropped.mapping_path) if dropped.mapping_path.exists() else LogMapping()
    whole, _ = mapping_for(farm, source, dropped.path)
    mine, theirs = beside.model_dump(), whole.model_dump()
    return {k: str(theirs[k]) for k in theirs if theirs[k] != mine[k]}
