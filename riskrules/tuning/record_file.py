"""The record as data: one JSON file beside the HTML, for pages and programs that show it again."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Literal

from pydantic import TypeAdapter, ValidationError

from riskrules.errors import RiskRulesError
from riskrules.logs.store.files import write_flushed
from riskrules.tuning.apart import Apart
from riskrules.tuning.kept import stop_writing
from riskrules.tuning.record import ProfileSaid, Record
from riskrules.tuning.rows import What
from riskrules.tuning.scores import Score
from riskrules.tuning.summary import Cover, Summary
from riskrules.tuning.sweep import Sweep

_Format = Literal["replay record 1"]
FORMAT: _Format = "replay record 1"


@dataclass(frozen=True, slots=True)
class _Summed:
    """A summary as a file holds it: counts as rows, and nothing of what scores alone need."""

    base: str
    covers: tuple[Cover, ...]
    findings: tuple[tuple[str, str, int], ...]
    unknowns: tuple[tuple[str, str, int], ...]
    changes: tuple[tuple[str, str, str, str, What, int], ...]
    hours: tuple[tuple[str, str, float], ...]
    hours_from: dict[str, str]


@dataclass(frozen=True, slots=True)
class _Written:
    """A record as a file holds it."""

    format: _Format
    question: str
    profiles: tuple[ProfileSaid, ...]
    summary: _Summed
    scores: tuple[Score, ...]
    sweeps: tuple[Sweep, ...]
    versions: dict[str, str]
    command: str
    inputs: str
    remarks: tuple[str, ...]
    swept: tuple[_Summed, ...]
    apart: tuple[Apart, ...]


@lru_cache(maxsize=1)
def _adapter() -> TypeAdapter[_Written]:
    return TypeAdapter(_Written)


def record_bytes(record: Record) -> bytes:
    """Return a record as JSON; the rows that scores alone rest on are left to the run's tables."""
    written = _Written(
        FORMAT, record.question, record.profiles, _summed(record.summary), record.scores,
        record.sweeps, record.versions, record.command, record.inputs, record.remarks,
        tuple(_summed(s) for s in record.swept), record.apart,
    )  # fmt: skip
    return _adapter().dump_json(written)


def write_record_data(path: Path, record: Record) -> None:
    """Write a record as JSON, whole or not at all; ReplayStop where the disk takes no more."""
    raw = record_bytes(record)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_flushed(path, raw, hashlib.sha256(raw).hexdigest())
    except OSError as error:
        stop_writing(path, error)


def read_record(path: Path) -> Record:
    """Return the record of a file that `write_record_data` wrote.

    Raises
    ------
    RiskRulesError
        Where it cannot be read, or is no such file.
    """
    try:
        w = _adapter().validate_json(path.read_bytes())
    except OSError as error:
        raise RiskRulesError(f"{path}: cannot be read: {error.strerror or error}") from None
    except ValidationError as error:
        first = error.errors()[0]
        at = ".".join(map(str, first["loc"]))
        message = f"{path}: no {FORMAT}, or damaged ({at}: {first['msg']})"
        raise RiskRulesError(message) from None
    return Record(
        w.question, w.profiles, _summary(w.summary), w.scores, w.sweeps, w.versions, w.command,
        w.inputs, w.remarks, tuple(_summary(s) for s in w.swept), w.apart,
    )  # fmt: skip


def _summed(s: Summary) -> _Summed:
    return _Summed(
        s.base, tuple(s.covers), _pairs(s.findings), _pairs(s.unknowns),
        tuple((*key, n) for key, n in sorted(s.changes.items())),
        tuple((*key, h) for key, h in sorted(s.hours.items())),
        dict(sorted(s.hours_from.items())),
    )  # fmt: skip


def _pairs(counts: Mapping[tuple[str, str], int]) -> tuple[tuple[str, str, int], ...]:
    return tuple((a, b, n) for (a, b), n in sorted(counts.items()))


def _summary(s: _Summed) -> Summary:
    return Summary(
        s.base, list(s.covers), Counter({(a, b): n for a, b, n in s.findings}),
        Counter({(a, b): n for a, b, n in s.unknowns}),
        Counter({(a, b, c, d, what): n for a, b, c, d, what, n in s.changes}),
        {(a, b): h for a, b, h in s.hours}, s.hours_from,
    )  # fmt: skip
