"""Account for the logs of a farm, or of a few files: read, judged, and made into a log report."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from riskrules.blocks import BlockLogs, fill_hours, limits_of, ready_blocks
from riskrules.errors import Problem
from riskrules.farm import Farm, LogText, default_farm, sensor_of
from riskrules.logbook.intake import given_files
from riskrules.logs.readings import Readings
from riskrules.logs.ready import make_ready
from riskrules.logs.report import OUTSIDE_BLOCK, LogReport
from riskrules.logs.report.count import Judged, log_report
from riskrules.logs.report.row_text import text_of_rows
from riskrules.sources import (
    files_of,
    put_together,
    read_farm_files,
    sources_for,
    sources_of,
    written_at,
)

if TYPE_CHECKING:
    from riskrules.logs.store import LogStore

Key = tuple[str, str]


@dataclass(slots=True)
class Read:
    """What was read of each sensor (block and name), and what could not be."""

    rows: dict[Key, Readings] = field(default_factory=dict)
    aside: list[Problem] = field(default_factory=list)
    paths: list[Path] = field(default_factory=list)


def report_of_files(paths: Sequence[Path]) -> LogReport:
    """Return the report of files that belong to no farm: each is a block of its own."""
    judged: list[Judged] = []
    aside: list[Problem] = []
    for path in paths:
        for one in read_farm_files(default_farm(path), [path]):
            aside += one.problems
            for number, rows in enumerate(make_ready(one.readings)):
                name = sensor_of(LogText(file=one.path.name)) + (f"_{number + 1}" if number else "")
                judged.append(Judged(name, name, rows))
    return log_report(_apart(judged), aside, text_of_rows(paths))


def _apart(sources: Iterable[Judged]) -> list[Judged]:
    """Return sources with their names made different where files of two folders share one."""
    found: dict[str, Judged] = {}
    for s in sources:
        name, number = s.block, 1
        while name in found:
            number += 1
            name = f"{s.block}_{number}"
        found[name] = Judged(name, name, s.rows)
    return list(found.values())


def report_of_farm(farm: Farm, paths: Sequence[Path] = ()) -> LogReport:
    """Return the report of a farm's files, by default of all of them.

    Where some are named, the farm's logs of the air outside still help to judge the others.
    """
    read = read_all(farm, _named(farm, paths) if paths else _files(farm))
    asked = set(read.rows)
    if paths and not any(block == OUTSIDE_BLOCK for block, _ in asked):
        read.rows |= read_all(farm, _files(farm, [OUTSIDE_BLOCK])).rows
    judged = [j for j in judged_of(farm, read.rows) if (j.block, j.sensor) in asked or j.rows.lent]
    return log_report(judged, read.aside, text_of_rows(read.paths))


def report_of_store(farm: Farm, store: LogStore) -> LogReport:
    """Return the report of all that a farm's store holds; files set aside are in it too."""
    from riskrules.logs.report.row_text import text_of_originals

    placed = {(s.block, s.sensor): s.placed for s in sources_of(farm)}
    rows = {}
    for block in store.blocks():
        for sensor in store.sensors(block):
            rows[block, sensor] = store.readings(block, sensor)
            rows[block, sensor].placed = placed.get((block, sensor), rows[block, sensor].placed)
            rows[block, sensor].sensor = sensor
    aside = [p for a in store.asides() for p in a.problems]
    return log_report(judged_of(farm, rows), aside, text_of_originals(store))


def read_all(farm: Farm, paths: Sequence[Path]) -> Read:
    """Read files of a farm, several of one sensor put together: the one written later wins."""
    found = Read()
    pieces: dict[Key, list[tuple[int, Readings]]] = {}
    for one in read_farm_files(farm, paths):
        found.aside += one.problems
        found.paths.append(one.path)
        for rows in one.readings:
            block = one.source.block if one.source else ""
            pieces.setdefault((block, rows.sensor), []).append((written_at(one.path), rows))
    found.rows |= {key: put_together(some) for key, some in pieces.items()}
    return found


def judged_of(farm: Farm, rows: dict[Key, Readings]) -> list[Judged]:
    """Return sensors judged as a review judges them, with what each block borrows."""
    outside = tuple(r for (block, _), r in rows.items() if not block)
    blocks = []
    for text in farm.text.blocks:
        own = tuple(r for (block, _), r in rows.items() if block == text.block)
        if own:
            blocks.append(BlockLogs(text, (*own, *outside)))
    found = []
    theirs = {(r.sensor, r.files): r for r in outside}
    for block in ready_blocks(farm, blocks):
        name = block.text.block
        for r in block.sources:
            shared = (r.sensor, r.files) in theirs and (name, r.sensor) not in rows
            if not shared or r.lent:
                found.append(Judged(name, r.sensor, r))
    ready = make_ready(outside, limits_of(farm), farm.place, fill_hours(farm))
    return found + [Judged(OUTSIDE_BLOCK, r.sensor, r) for r in ready]


def _named(farm: Farm, paths: Sequence[Path]) -> list[Path]:
    """Return the files that were named, and of those in folders the farm's own logs."""
    store = farm.folder / farm.text.store if farm.text.store else None
    return [p for p, named in given_files(paths, store) if named or sources_for(farm, p)]


def _files(farm: Farm, blocks: Sequence[str] | None = None) -> list[Path]:
    some = [s for s in sources_of(farm) if blocks is None or s.block in blocks]
    return [p for s in some for p in files_of(farm, s)]
