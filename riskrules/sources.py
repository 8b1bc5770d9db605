"""Find and read what a review is given: the logs of each block, events, typical years."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from riskrules.errors import LogError, PackError, Problem
from riskrules.farm import Farm, default_farm, load_farm
from riskrules.logs.events import Event, read_events
from riskrules.logs.read import check_zone, read_log
from riskrules.logs.readings import Note, Readings
from riskrules.logs.typical_year import PREFIX, locate, read_typical_year
from riskrules.packs.load import schema_problems
from riskrules.packs.marked import read_marked
from riskrules.packs.model import Strict
from riskrules.plugins import reader_for
from riskrules.review import BlockLogs


class MappingText(Strict):
    """A small file beside a log that has no farm: ``LOGNAME.mapping.yaml``."""

    zone: str | None = None
    columns: dict[str, str] = {}


@dataclass(frozen=True, slots=True)
class Gathered:
    """All that was read for a review, with the notes of every file."""

    farm: Farm
    blocks: tuple[BlockLogs, ...]
    events: tuple[Event, ...]
    notes: tuple[Note, ...]


def gather(
    logs: Sequence[Path],
    farm_file: Path | None = None,
    event_files: Sequence[Path] = (),
    forecast: Path | None = None,
) -> Gathered:
    """Read the logs and events of a review.

    Parameters
    ----------
    logs : sequence of Path
        Files, or folders that hold the farm's logs. With a farm file, only the blocks whose logs
        are among them are read; without one, the log is one block's.
    farm_file, event_files, forecast : optional
        A second log of forecast rows goes in with every block.

    Raises
    ------
    LogError, PackError
        Where a file cannot be used.
    """
    farm = load_farm(farm_file) if farm_file else default_farm(logs[0])
    if farm_file is None and len(logs) > 1:
        message = "several logs without a farm file; expected one log, or --farm"
        raise LogError([Problem(str(logs[1]), 0, 0, message)])
    outside = _outside(farm)
    if forecast:
        rows = _read(forecast, farm.text.place.zone, {})
        rows.forecast[:] = True
        outside.insert(0, rows.placed_outside())  # what was asked for goes before the farm's own
    blocks = tuple(b for b in (_block(farm, i, logs, outside) for i in range(len(farm.text.blocks)))
                   if b is not None)  # fmt: skip
    if not blocks:
        known = ", ".join(log.file for b in farm.text.blocks for log in b.logs)
        message = f"no block of the farm file has this log; expected one of {known}"
        raise LogError([Problem(str(logs[0]), 0, 0, message)])
    events = _events(farm, event_files)
    unique = {n for b in blocks for r in b.sources for n in r.notes}
    return Gathered(farm, blocks, events, tuple(sorted(unique, key=lambda n: (n.file, n.row))))


def _outside(farm: Farm) -> list[Readings]:
    text = farm.text.outside
    zone = text.zone or farm.text.place.zone
    return [_read(farm.folder / name, zone, text.columns).placed_outside() for name in text.files]


def _block(
    farm: Farm, i: int, logs: Sequence[Path], outside: Sequence[Readings]
) -> BlockLogs | None:
    text = farm.text.blocks[i]
    own = []
    for log in text.logs:
        path = Path(log.file) if log.file.startswith(PREFIX) else farm.folder / log.file
        if not _asked_for(path, logs):
            continue
        given = _given(path, logs)
        own.append(_read(given, log.zone or farm.text.place.zone, log.columns, farm.assumed))
    return BlockLogs(text, (*own, *outside)) if own else None


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


def _read(
    path: Path, zone: str | None, columns: Mapping[str, str], assumed: Sequence[str] = ()
) -> Readings:
    if str(path).startswith(PREFIX):
        return read_typical_year(locate(str(path)))
    reader = reader_for(path)
    if reader is not None:
        return reader(path)
    beside = path.parent / f"{path.name}.mapping.yaml"
    if beside.exists():
        text = _mapping(beside)
        zone, columns = text.zone or zone, {**columns, **text.columns}
    elif assumed:
        zone = None  # without a farm nobody has said in which zone naive times are
    return read_log(path, zone, columns)


def _mapping(path: Path) -> MappingText:
    doc = read_marked(path)
    try:
        text = MappingText.model_validate(doc.data)
    except ValidationError as error:
        raise PackError(schema_problems(doc, error)) from None
    check_zone(text.zone, path.name)
    return text


def _events(farm: Farm, files: Sequence[Path]) -> tuple[Event, ...]:
    named = [farm.folder / name for name in farm.text.events] if not files else list(files)
    zone = None if farm.assumed else farm.text.place.zone
    known = None if farm.assumed else {b.block for b in farm.text.blocks}
    found = {event for path in named for event in read_events(path, zone, known)}
    strange = sorted({e.block for e in found if e.block}) if farm.assumed else []
    if strange:
        message = f"events of {', '.join(strange)}; expected no block, or --farm to say which"
        raise LogError([Problem(str(named[0]), 0, 0, message)])
    return tuple(sorted(found))
