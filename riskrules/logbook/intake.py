"""Take log files into the store: read, stored or set aside, one file after the other."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Literal, NamedTuple

from riskrules.errors import FileProblems, Problem
from riskrules.farm import Farm
from riskrules.logs.store import Incoming, LogStore
from riskrules.sources import Source, files_in, mapping_for, read_source, sources_for, sources_of


class Taken(NamedTuple):
    """What became of one file: as in the store, or ``not ours`` where no sensor has it.

    ``rows`` are the rows kept, ``read`` those in the file.
    """

    path: Path
    block: str
    sensor: str
    state: Literal["new", "known", "grown", "aside", "not ours"]
    rows: int = 0
    read: int = 0
    problems: tuple[Problem, ...] = ()


def take_in(farm: Farm, store: LogStore, paths: Sequence[Path]) -> Iterator[Taken]:
    """Read files and folders into a store, one file after the other, and say what became of each.

    A file that was named and is no sensor's comes with its problem; one that only lies in a
    folder is left alone. Each file is stored whole or not at all.

    Raises
    ------
    LogError
        Where the store cannot be written.
    """
    for path, named in given_files(paths, store.folder):
        sources = sources_for(farm, path)
        if not sources:
            yield _stranger(farm, path, named)
        for source in sources:
            yield take_in_file(farm, store, source, path)


def given_files(paths: Sequence[Path], without: Path | None) -> Iterator[tuple[Path, bool]]:
    """Yield files, and those below folders, with whether each was named itself.

    What lies in the folder ``without``, which is the log store's, is no log.
    """
    kept = without.resolve() if without else None
    for given in paths:
        for path in files_in([given]):
            if kept is None or kept not in path.resolve().parents:
                yield path, path == given


def _stranger(farm: Farm, path: Path, named: bool) -> Taken:
    known = ", ".join(s.pattern for s in sources_of(farm))
    message = f"no sensor of the farm file has this log; expected one of {known}"
    problems = (Problem(str(path), 0, 0, message),) if named else ()
    return Taken(path, "", "", "not ours", problems=problems)


def take_in_file(farm: Farm, store: LogStore, source: Source, path: Path) -> Taken:
    """Read one file of a sensor into a store; one that cannot be read is set aside."""
    where = (path, source.block, source.sensor)
    try:
        raw = path.read_bytes()
        written = int(path.stat().st_mtime)
    except OSError as error:
        said = "no such file" if isinstance(error, FileNotFoundError) else error.strerror
        return Taken(*where, "aside", problems=(Problem(str(path), 0, 0, f"{said}"),))
    sha256 = hashlib.sha256(raw).hexdigest()
    by = ""
    try:
        by = hash_of_mapping(farm, source, path)
        if store.knows(sha256, by):
            return _known(store, where, sha256, by)
        tables = read_source(farm, source, path)
    except FileProblems as error:
        store.set_aside(path.name, raw, error.problems, by)
        return Taken(*where, "aside", problems=error.problems)
    items = [
        Incoming(source.block, source.sensor, (rows.files or (path.name,))[0], path, written, rows,
                 by, sha256=sha256)
        for rows in tables
    ]  # fmt: skip
    state = store.add(items)[0].state
    kept = sum(len(rows) for rows in tables)
    return Taken(*where, state, kept, sum(rows.rows_read for rows in tables))


def _known(store: LogStore, where: tuple[Path, str, str], sha256: str, by: str) -> Taken:
    """Return what became of a file that was read before: also a broken one stays broken."""
    for aside in store.asides():
        if (aside.sha256, aside.mapping_hash) == (sha256, by):
            return Taken(*where, "aside", problems=aside.problems)
    mine = [r for r in store.history(*where[1:]) if r.sha256 == sha256]
    return Taken(*where, "known", sum(r.rows for r in mine), sum(r.rows_read for r in mine))


def hash_of_mapping(farm: Farm, source: Source, path: Path) -> str:
    """Return what stands for all that decides whose readings a file holds, beside its bytes.

    Raises
    ------
    PackError
        Where the mapping cannot be used.
    """
    mapping, zone = mapping_for(farm, source, path)
    first = next((b.logs[0].placed for b in farm.text.blocks if b.block == source.block), "")
    whose = [source.block, source.sensor, source.placed, first]
    body = [mapping.model_dump(mode="json"), zone, *whose]
    return hashlib.sha256(json.dumps(body, sort_keys=True).encode()).hexdigest()
