"""What a manifest's files say: readings of a sensor, where a value comes from, the history."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

import numpy as np

from riskrules.logs.readings import PER_ROW, PER_VALUE, Readings
from riskrules.logs.store.files import hash_of, trouble
from riskrules.logs.store.manifest import aside_path, original_path
from riskrules.logs.store.merge import merge, says, step_of
from riskrules.logs.store.parts import read_part
from riskrules.logs.store.types import Aside, Contents, Part, Record, Traced, Version

Span = tuple[int | None, int | None]
"""First and last time asked for [s], both included; None: no end."""


def merged(folder: Path, now: Contents, block: str, sensor: str, span: Span) -> Readings:
    """Return the readings of a sensor over a span; FileNotFoundError where a part is gone."""
    versions = now.counting(block, sensor)
    pieces = [rows for _, rows in _pieces(folder, versions, span)]
    return merge(pieces, step_of([(v.step, v.rows) for v in versions]), sensor)


def _pieces(
    folder: Path, versions: Sequence[Version], span: Span
) -> Iterator[tuple[Version, Readings]]:
    """Yield the rows of a span of each version that has any, or has none at all."""
    first, last = span
    for version in versions:
        parts = [p for p in version.parts if _within(p, first, last)]
        if not parts:
            continue
        rows = _joined([read_part(folder, p)[0] for p in parts])
        if first is not None or last is not None:
            keep = rows.time >= (first if first is not None else rows.time)
            keep &= rows.time <= (last if last is not None else rows.time)
            rows = rows.only(keep)
        if len(rows) or not version.rows:
            yield version, rows


def _within(part: Part, first: int | None, last: int | None) -> bool:
    if not part.rows:
        return True
    return (first is None or part.last >= first) and (last is None or part.first <= last)


def _joined(years: Sequence[Readings]) -> Readings:
    """Return the years of one version as one."""
    if len(years) == 1:
        return years[0]
    whole: dict[str, Any] = {
        field: {
            name: np.concatenate([getattr(y, field)[name] for y in years])
            for name in getattr(years[0], field)
        }
        for field in PER_VALUE
    }
    whole |= {name: np.concatenate([getattr(y, name) for y in years]) for name in PER_ROW}
    return replace(years[0], **whole)


def traced(
    folder: Path, now: Contents, block: str, sensor: str, time: int, variable: str
) -> list[Traced]:
    """Return where a value comes from, the one that wins first."""
    found, measured = [], False
    for version, rows in _pieces(folder, now.counting(block, sensor), (time, time)):
        measured |= bool((~rows.forecast).any())
        if not len(rows) or variable not in rows.values:
            continue
        file = rows.files[int(rows.source[0])] if len(rows.source) else version.file
        line = int(rows.line[0]) if len(rows.line) else 0
        value = float(rows.values[variable][0])
        place = (not rows.forecast[0], bool(says(rows, variable)[0]), version.order)
        found.append((place, Traced(file, line, version.sha256, value, False)))
    found.sort(key=lambda f: f[0], reverse=True)
    # A forecast does not count where any row was measured, of whatever variables.
    wins = bool(found) and (found[0][0][0] or not measured)
    return [t._replace(wins=wins and i == 0) for i, (_, t) in enumerate(found)]


def original_bytes(folder: Path, now: Contents, sha256: str) -> bytes:
    """Return a file as it came, alone or from the beginning of the longer one that holds it."""
    known = now.originals.get(sha256)
    if known is None and all(a.sha256 != sha256 for a in now.asides.values()):
        raise trouble(folder, f"no file with the hash {sha256[:80]!r} was ever read")
    place = original_path(known.within or sha256) if known else aside_path(sha256)
    path = folder / place
    try:
        with path.open("rb") as file:
            raw = file.read(known.size if known and known.within else -1)
    except FileNotFoundError:
        raise
    except OSError as error:
        raise trouble(path, f"cannot be read: {error.strerror or error}") from None
    if hash_of(raw) != sha256:
        message = "damaged: its hash is not the one that was written. Put it back from a copy"
        raise trouble(path, message)
    return raw


def records(now: Contents, block: str | None, sensor: str | None) -> list[Record]:
    """Return the history, oldest first; with asides where no block or sensor is asked for."""
    over: dict[str, list[tuple[str, str]]] = {}
    for v in now.versions.values():
        if v.superseded_by:
            over.setdefault(v.superseded_by, []).append((v.file, v.sha256))
    found = [
        _record(v, now, tuple(sorted(over.get(v.id, ()))))
        for v in now.versions.values()
        if block in (None, v.block) and sensor in (None, v.sensor)
    ]
    if block is None and sensor is None:
        found += [_aside_record(a) for a in now.asides.values()]
    return sorted(found, key=lambda r: (r.read_at, r.block, r.sensor, r.written, r.sha256))


def _record(v: Version, now: Contents, over: tuple[tuple[str, str], ...]) -> Record:
    by = now.versions.get(v.superseded_by)
    state: Literal["counts", "grown", "mapping"] = (
        "counts" if not v.superseded_by else "grown" if v.why == "grown" else "mapping"
    )
    return Record(
        v.block, v.sensor, v.file, v.sha256, v.written, v.read_at, v.rows, v.rows_read, v.first,
        v.last, state, over, (by.file, by.sha256) if by else None,
    )  # fmt: skip


def _aside_record(a: Aside) -> Record:
    return Record(
        "", "", a.file, a.sha256, 0, a.read_at, 0, 0, None, None, "aside", problems=a.problems
    )
