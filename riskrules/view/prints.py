"""Fingerprints of what a review depends on, so that nothing is computed twice."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from pathlib import Path

from riskrules.farm import Farm
from riskrules.logs.store import LogStore
from riskrules.logs.store.manifest import MANIFEST
from riskrules.packs.marked import read_marked
from riskrules.packs.regions import chain_of
from riskrules.shipped import rulepacks_folder
from riskrules.sources import BESIDE, files_of, sources_of


def print_of(parts: Iterable[object]) -> str:
    """Return a short hash of the words of some values, in order.

    Examples
    --------
    >>> print_of(["a", 1]) == print_of(["a", 1]), print_of(["a", 1]) == print_of(["a1"])
    (True, False)
    """
    text = "\0".join(repr(part) for part in parts)
    return hashlib.sha256(text.encode()).hexdigest()[:24]


def stamp(path: Path) -> tuple[str, int, int, int]:
    """Return a file's path, which file it is, when it was written [ns] and how long it is [bytes].

    A file that is not there has -1 for each.
    """
    try:
        found = path.stat()
    except OSError:
        return (str(path), -1, -1, -1)
    return (str(path), found.st_ino, found.st_mtime_ns, found.st_size)


def farm_print(farm_file: Path) -> str:
    """Return the fingerprint of a farm file."""
    return print_of(stamp(farm_file))


def logs_print(farm: Farm, store: LogStore | None) -> str:
    """Return the fingerprint of all logs of a farm, or of its store's manifest; and of limits."""
    parts: list[object] = [stamp(farm.folder / farm.text.limits)] if farm.text.limits else []
    for source in sources_of(farm):
        if store is not None:
            continue
        for path in files_of(farm, source):
            parts += [stamp(path), stamp(path.parent / f"{path.name}{BESIDE}")]
        if source.log.mapping:
            parts.append(stamp(farm.folder / source.log.mapping))
    if store is not None:
        parts.append(stamp(store.folder / MANIFEST))
    return print_of(parts)


def events_print(farm: Farm, noted: str) -> str:
    """Return the fingerprint of a farm's events files, and of what its journal says.

    ``noted`` is the fingerprint of the journal's events, '' where there is no journal. It is of
    what they say: a mark or a note in the journal is no event, and changes nothing.
    """
    return print_of([*(stamp(farm.folder / name) for name in farm.text.events), noted])


def packs_print(profile: Path | None) -> str:
    """Return the fingerprint of the shipped packs and jobs, of a profile and those it builds on."""
    files = sorted(rulepacks_folder().rglob("*.yaml"))
    links = chain_of(read_marked(profile)) if profile else ()
    return print_of(
        [*map(stamp, files), *(stamp(link.doc.path) for link in links if link.doc.path)]
    )
