"""Find and read what a review is given: the logs of each block, events, typical years."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from riskrules.blocks import BlockLogs
from riskrules.errors import FileProblems, LogError, Problem
from riskrules.farm import Farm, LogText, default_farm, load_farm, sensor_of
from riskrules.logs.events import Event, read_events
from riskrules.logs.mapping import LogMapping, Placed, load_mapping
from riskrules.logs.read import read_log, read_logs
from riskrules.logs.readings import Note, Readings
from riskrules.logs.times.zone import zone_of
from riskrules.logs.typical_year import PREFIX, locate, read_typical_year
from riskrules.plugins import reader_for

if TYPE_CHECKING:
    from riskrules.logs.store import LogStore

BESIDE = ".mapping.yaml"
"""What is appended to a log's name to name the mapping that belongs to it alone."""


@dataclass(frozen=True, slots=True)
class Source:
    """A sensor of the farm: which files are its, where it hangs, and how to understand them.

    ``block`` is '' for the farm's outside air.
    """

    block: str
    sensor: str
    pattern: str
    placed: Placed
    log: LogText
    silent_after: float


@dataclass(frozen=True, slots=True)
class FarmRead:
    """One file read for a sensor of the farm, unjudged; ``problems`` where it cannot be used."""

    source: Source | None
    path: Path
    readings: tuple[Readings, ...]
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class Gathered:
    """All that was read for a review, with the notes of every file."""

    farm: Farm
    blocks: tuple[BlockLogs, ...]
    events: tuple[Event, ...]
    notes: tuple[Note, ...]
    store: LogStore | None = None


def sources_of(farm: Farm) -> list[Source]:
    """Return the farm's sensors: those of each block, then the outside ones."""
    text = farm.text
    found = [
        Source(b.block, sensor_of(log), log.file, log.placed, log,
               log.silent_after or text.silent_after)
        for b in text.blocks for log in b.logs
    ]  # fmt: skip
    for name in text.outside.files:
        log = LogText(
            file=name, placed="outside", zone=text.outside.zone, columns=text.outside.columns
        )
        found.append(Source("", sensor_of(log), name, "outside", log, text.silent_after))
    return found


def files_of(farm: Farm, source: Source) -> list[Path]:
    """Return the files of a sensor that are there, in order of name."""
    if source.pattern.startswith(PREFIX):
        return [Path(source.pattern)]
    if "*" not in source.pattern:
        return [farm.folder / source.pattern]
    return sorted(p for p in farm.folder.glob(source.pattern) if p.is_file() and _is_log(p))


def _is_log(path: Path) -> bool:
    return not path.name.startswith(".") and not path.name.endswith((BESIDE, ".yaml", ".tmp"))


def sources_for(farm: Farm, path: Path) -> list[Source]:
    """Return the sensors that a file belongs to: by its path, or else by its name alone.

    Two blocks may name one file. A name alone that fits two files of different folders is none.
    """
    every = sources_of(farm)
    exact = [s for s in every if str(path) == s.pattern or path.match(s.pattern)]
    if exact:
        return exact
    plain = [s for s in every if path.name == Path(s.pattern).name]
    return plain if len({s.pattern for s in plain}) == 1 else []


def mapping_for(farm: Farm, source: Source, path: Path) -> tuple[LogMapping, str | None]:
    """Return how a file is to be understood, and the zone of times that name none.

    What the farm file says of the log goes first, then the mapping file that it names, then a
    mapping file beside the log.
    """
    beside = path.parent / f"{path.name}{BESIDE}"
    found = load_mapping(beside) if beside.exists() else LogMapping()
    if found.zone:
        zone_of(found.zone, beside.name)
    log = source.log
    if log.mapping:
        named = load_mapping(farm.folder / log.mapping)
        found = found.model_copy(
            update={k: getattr(named, k) for k in named.model_fields_set}
            | {"columns": {**found.columns, **named.columns}}
        )
    said = {k: v for k in ("zone", "clock", "stamp") if (v := getattr(log, k)) is not None}
    found = found.model_copy(update={**said, "columns": {**found.columns, **log.columns}})
    return found, None if farm.assumed else farm.text.place.zone


def read_source(farm: Farm, source: Source, path: Path) -> list[Readings]:
    """Read one file of a sensor: a table each, unjudged, named by where the sensor hangs.

    Raises
    ------
    LogError, PackError
        Where the file, or its mapping, cannot be used.
    """
    reader = reader_for(path)
    if str(path).startswith(PREFIX):
        tables = [read_typical_year(locate(str(path)))]
    elif reader is not None:
        tables = [reader(path)]
    else:
        mapping, zone = mapping_for(farm, source, path)
        tables = read_logs(path, zone, mapping)
    first = next((b.logs[0] for b in farm.text.blocks if b.block == source.block), None)
    return [_placed(rows, source, first) for rows in tables]


def _placed(rows: Readings, source: Source, first: LogText | None) -> Readings:
    """Name readings by where their sensor hangs, as seen from the block's first log.

    In a block whose first log hangs outside (an open bed), outside is where the plants are.
    """
    rows = replace(rows, sensor=source.sensor, placed=source.placed)
    if source.placed == "in_bed":
        return rows.renamed(lambda n: "soil_temperature" if n == "air_temperature" else n)
    if source.placed == "outside" and (first is None or first.placed != "outside"):
        return rows.placed_outside()
    return rows


def read_farm_files(farm: Farm, paths: Sequence[Path]) -> Iterator[FarmRead]:
    """Read files, and folders of files, for the sensors they belong to, one after the other.

    A file that belongs to no sensor, or cannot be used, comes with its problems: none is
    skipped in silence.
    """
    for path in files_in(paths):
        sources = sources_for(farm, path)
        if not sources:
            known = ", ".join(s.pattern for s in sources_of(farm))
            message = f"no sensor of the farm file has this log; expected one of {known}"
            yield FarmRead(None, path, (), (Problem(str(path), 0, 0, message),))
        for source in sources:
            try:
                yield FarmRead(source, path, tuple(read_source(farm, source, path)))
            except FileProblems as error:
                yield FarmRead(source, path, (), error.problems)


def files_in(paths: Sequence[Path]) -> list[Path]:
    """Return files, with folders replaced by the logs below them, in order of name."""
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            found += sorted(p for p in path.rglob("*") if p.is_file() and _is_log(p))
        else:
            found.append(path)
    return found


def store_of(farm: Farm) -> LogStore | None:
    """Return the log store that the farm file names, or None."""
    from riskrules.logs.store import LogStore

    return LogStore(farm.folder / farm.text.store, create=False) if farm.text.store else None


def gather(
    logs: Sequence[Path],
    farm_file: Path | None = None,
    event_files: Sequence[Path] = (),
    forecast: Path | None = None,
    store: LogStore | None = None,
    journal: str | None = None,
) -> Gathered:
    """Read the logs and events of a review.

    Parameters
    ----------
    logs : sequence of Path
        Files, or folders that hold the farm's logs. With a farm file, only the blocks whose logs
        are among them are read; without one, the log is one block's. Not needed with a store.
    farm_file, event_files, forecast : optional
        A second log of forecast rows goes in with every block.
    store : LogStore, optional
        Take the readings from it; by default that of the farm file if no logs are given.
    journal : str, optional
        The field journal, a file or a database URL, whose records go in beside the events files;
        by default that of the farm file, unless events files are given.

    Raises
    ------
    LogError, PackError
        Where a file cannot be used.
    """
    farm = load_farm(farm_file) if farm_file else default_farm(logs[0])
    if farm_file is None and len(logs) > 1:
        message = "several logs without a farm file; expected one log, or --farm"
        raise LogError([Problem(str(logs[1]), 0, 0, message)])
    if store is None and not logs:
        store = store_of(farm)
    blocks = block_logs(farm, logs, forecast, store)
    if journal is None and not event_files:
        journal = journal_of(farm)
    events = _events(farm, event_files, journal)
    unique = {n for b in blocks for r in b.sources for n in r.notes}
    return Gathered(
        farm, blocks, events, tuple(sorted(unique, key=lambda n: (n.file, n.row))), store
    )


def block_logs(
    farm: Farm,
    logs: Sequence[Path],
    forecast: Path | None = None,
    store: LogStore | None = None,
) -> tuple[BlockLogs, ...]:
    """Return the sources of each block as they were read: its own, then the outside ones."""
    outside = [r for s in sources_of(farm) if not s.block
               for r in _rows_of(farm, s, [], store)]  # fmt: skip
    if forecast:
        rows = read_log(forecast, farm.text.place.zone)
        rows.forecast[:] = True
        outside.insert(0, rows.placed_outside())  # what was asked for goes before the farm's own
    own: dict[str, list[Readings]] = {}
    for source in (s for s in sources_of(farm) if s.block):
        own.setdefault(source.block, []).extend(_rows_of(farm, source, logs, store))
    if not any(own.values()):
        raise _nothing(farm, logs, store)
    return tuple(
        BlockLogs(text, (*own[text.block], *outside))
        for text in farm.text.blocks if own[text.block]
    )  # fmt: skip


def _rows_of(
    farm: Farm, source: Source, logs: Sequence[Path], store: LogStore | None
) -> list[Readings]:
    """Return the readings of one sensor: one source, or none where nothing was asked for."""
    if store is not None:
        rows = store.readings(source.block, source.sensor)
        return [replace(rows, sensor=source.sensor, placed=source.placed)] if len(rows) else []
    found: list[tuple[int, Readings]] = []
    for path in files_of(farm, source):
        if not source.block or _asked_for(path, logs):
            given = _given(path, logs)
            found += [(written_at(given), rows) for rows in read_source(farm, source, given)]
    return [put_together(found)] if found else []


def written_at(path: Path) -> int:
    """Return when a file was last changed [ns]; 0 where it is no file."""
    return path.stat().st_mtime_ns if path.exists() else 0


def put_together(pieces: Sequence[tuple[int, Readings]]) -> Readings:
    """Return the tables of one sensor as one: of those that disagree, the one written later wins.

    Each comes with when its file was written; ties go by the file's name. At least one is needed.
    """
    if len(pieces) == 1:
        return pieces[0][1]
    from riskrules.logs.store.merge import merge, step_of

    parts = [rows for _, rows in sorted(pieces, key=lambda pair: (pair[0], pair[1].files))]
    step = step_of([(rows.step, len(rows)) for rows in parts])
    return replace(merge(parts, step, parts[0].sensor), placed=parts[0].placed)


def _nothing(farm: Farm, logs: Sequence[Path], store: LogStore | None) -> LogError:
    if store is not None:
        message = "the log store has no readings of this farm; expected some, by `logs read`"
        return LogError([Problem(str(store.folder), 0, 0, message)])
    known = ", ".join(log.file for b in farm.text.blocks for log in b.logs)
    message = f"no block of the farm file has this log; expected one of {known}"
    return LogError([Problem(str(logs[0] if logs else farm.folder), 0, 0, message)])


def _asked_for(path: Path, logs: Sequence[Path]) -> bool:
    for log in logs:
        if log.is_dir() or str(path) == str(log):
            return True
        if log.name == path.name:
            return True
    return not logs


def _given(path: Path, logs: Sequence[Path]) -> Path:
    """Return the log as the user named it, where it was named by file."""
    return next((log for log in logs if not log.is_dir() and log.name == path.name), path)


def profile_of(farm: Farm) -> Path | None:
    """Return the region profile that the farm names, if any."""
    return farm.folder / farm.text.profile if farm.text.profile else None


def journal_of(farm: Farm) -> str | None:
    """Return the farm's journal: a database URL as it is, a file as seen from the farm file."""
    named = farm.text.journal
    return named if named is None or "://" in named else str(farm.folder / named)


def _events(farm: Farm, files: Sequence[Path], journal: str | None = None) -> tuple[Event, ...]:
    named = [farm.folder / name for name in farm.text.events] if not files else list(files)
    zone = None if farm.assumed else farm.text.place.zone
    known = None if farm.assumed else {b.block for b in farm.text.blocks}
    found = {event for path in named for event in read_events(path, zone, known)}
    strange = sorted({e.block for e in found if e.block}) if farm.assumed else []
    if strange:
        message = f"events of {', '.join(strange)}; expected no block, or --farm to say which"
        raise LogError([Problem(str(named[0]), 0, 0, message)])
    if journal is not None:
        found |= _of_journal(journal, known)
    return tuple(sorted(found))


def _of_journal(journal: str, known: set[str] | None) -> set[Event]:
    """Return the events of a journal; those of a block that the farm lacks are refused."""
    from riskrules.journal.events import events_of
    from riskrules.journal.store import open_journal

    if "://" not in journal and not Path(journal).exists():
        raise LogError([Problem(journal, 0, 0, "no such journal; `riskrules journal` makes one")])
    with open_journal(journal) as opened:
        found = set(events_of(opened))
    strange = sorted({e.block for e in found if e.block and known is not None} - (known or set()))
    if strange:
        message = f"records of {', '.join(strange)}; expected blocks of the farm file"
        raise LogError([Problem(journal, 0, 0, message)])
    return found
