"""Read dropped logs into the farm's store, and begin a store where the farm has none yet."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from riskrules.errors import PackError, RiskRulesError
from riskrules.farm import Farm, load_farm
from riskrules.logbook.intake import Taken, take_in_file
from riskrules.logs.store import LogStore
from riskrules.logs.typical_year import PREFIX
from riskrules.sources import Source, files_of, sources_of

DROPPED = "dropped"
"""The folder beside the farm file in which dropped logs lie."""
STORE = "store"
"""The folder of a store that is begun here."""
Told = Callable[[Taken], None]


def can_begin(farm: Farm) -> bool:
    """Return whether all that the farm's logs say can go into a store: typical years cannot."""
    return not any(s.pattern.startswith(PREFIX) for s in sources_of(farm))


def begin_store(farm_file: Path, told: Told = lambda taken: None) -> LogStore:
    """Return the farm's store; where it has none, make one that holds all its logs.

    A store is all that a farm is reviewed by once it is there, so the farm's own files go into a
    new one before anything else does; then the farm file names it. Stopped in between, the farm
    is as before, and this may be done again.

    Raises
    ------
    RiskRulesError
        Where the store or the farm file cannot be written.
    """
    farm = load_farm(farm_file)
    if not can_begin(farm):
        said = "the farm is reviewed by a typical year, which no store holds"
        raise RiskRulesError(f"{said}; expected logs of loggers")
    folder = farm.folder / (farm.text.store or STORE)
    if not folder.exists():
        _fill(farm, folder, told)
    store = LogStore(folder, create=False)
    if not farm.text.store:
        _name_it(farm_file)
    return store


def _fill(farm: Farm, folder: Path, told: Told) -> None:
    """Make a store of all the farm's logs under another name, and give it its own at the end."""
    making = folder.with_name(f"{folder.name}.begin")
    store = LogStore(making, create=True)
    for source in sources_of(farm):
        for path in files_of(farm, source):
            if path.exists():
                told(take_in_file(farm, store, source, path))
    try:
        os.rename(making, folder)
    except OSError as error:
        raise RiskRulesError(f"{folder}: cannot be made: {error.strerror}") from None


def _name_it(farm_file: Path) -> None:
    """Add the line that names the store to a farm file, whole or not at all."""
    text = farm_file.read_text(encoding="utf-8")
    added = text + ("" if text.endswith("\n") else "\n") + f"store: {STORE}\n"
    part = farm_file.with_name(f".{farm_file.name}.{os.getpid()}.part")
    try:
        part.write_text(added, encoding="utf-8")
        if load_farm(part).text.store != STORE:
            raise RiskRulesError(f"{farm_file}: no place for 'store: {STORE}'; write it yourself")
        os.replace(part, farm_file)
    except PackError as error:
        said = f"{farm_file}: 'store: {STORE}' has no place at its end; write it yourself"
        raise RiskRulesError(f"{said} ({error.problems[0].message})") from None
    except OSError as error:
        raise RiskRulesError(f"{farm_file}: cannot be written: {error.strerror}") from None
    finally:
        part.unlink(missing_ok=True)


def read_in(farm_file: Path, store: LogStore, source: Source, path: Path) -> Taken:
    """Read a dropped file into the store for a sensor; one that cannot be read is set aside."""
    return take_in_file(load_farm(farm_file), store, source, path)


def source_named(farm: Farm, block: str, sensor: str) -> Source | None:
    """Return a sensor of the farm by its block ('' for the air outside) and name."""
    return next((s for s in sources_of(farm) if (s.block, s.sensor) == (block, sensor)), None)
