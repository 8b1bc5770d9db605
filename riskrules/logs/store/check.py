"""Is the store whole: what is checked, what is left over, and the ways back from damage."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from riskrules.errors import LogError, Problem
from riskrules.logs.store.files import (
    TEMPORARY,
    hash_and_size,
    hash_of,
    head_of,
    prefix_hashes,
)
from riskrules.logs.store.manifest import (
    MANIFEST,
    PREVIOUS,
    aside_path,
    files_of,
    load,
    original_path,
)
from riskrules.logs.store.parts import decode, read_part
from riskrules.logs.store.plan import Plan
from riskrules.logs.store.types import Contents, Original, Part, Version

FOLDERS = ("readings", "originals", "aside")


def problems_of(folder: Path, contents: Contents) -> list[Problem]:
    """Return all that is wrong with a store whose manifest is readable."""
    found = list(_records(folder, contents))
    for version in contents.versions.values():
        for part in version.parts:
            found += _said(lambda p=part: read_part(folder, p), folder / part.path)  # type: ignore[misc]
    for original in contents.originals.values():
        found += _original(folder, original)
    for aside in contents.asides.values():
        found += _hash(folder / aside_path(aside.sha256), aside.sha256)
        found += _hash(folder / aside.report, aside.report_sha256)
    if (folder / PREVIOUS).exists():
        found += _said(lambda: load(folder, PREVIOUS), folder / PREVIOUS)
    message = "not named by the manifest: left by a writer that was stopped. tidy() removes it"
    found += [Problem(str(folder / p), 0, 0, message) for p in left_over(folder, contents)]
    return found


def _said(read: Callable[[], Any], path: Path) -> list[Problem]:
    try:
        read()
    except LogError as error:
        return list(error.problems)
    except FileNotFoundError:
        return [Problem(str(path), 0, 0, "missing; the manifest names it")]
    return []


def _hash(path: Path, sha256: str, most: int | None = None) -> list[Problem]:
    if not path.exists():
        return [Problem(str(path), 0, 0, "missing; the manifest names it")]
    try:
        if hash_of(path, most) == sha256:
            return []
    except LogError as error:
        return list(error.problems)
    message = "damaged: its hash is not the one that was written. Put it back from a copy"
    return [Problem(str(path), 0, 0, message)]


def _original(folder: Path, original: Original) -> list[Problem]:
    if original.within:
        return _hash(folder / original_path(original.within), original.sha256, original.size)
    return _hash(folder / original_path(original.sha256), original.sha256)


def _records(folder: Path, contents: Contents) -> Iterator[Problem]:
    """Yield where records of the manifest contradict each other."""
    path = str(folder / MANIFEST)
    for version in contents.versions.values():
        name = f"{version.file} ({version.id})"
        if version.sha256 not in contents.originals:
            yield Problem(path, 0, 0, f"{name} has no original")
        if version.superseded_by and version.superseded_by not in contents.versions:
            yield Problem(path, 0, 0, f"{name} is superseded by a version that is not there")
        rows = sum(p.rows for p in version.parts)
        expected = 0 if version.superseded_by else version.rows
        if rows != expected:
            yield Problem(path, 0, 0, f"{name} has {rows} rows in its parts; expected {expected}")
    for original in contents.originals.values():
        holder = contents.originals.get(original.within)
        if original.within and (holder is None or holder.within):
            yield Problem(path, 0, 0, f"original {original.sha256} is within one not kept")


def left_over(folder: Path, contents: Contents) -> list[str]:
    """Return the files that neither this manifest nor the one before it names, in order."""
    named = files_of(contents)
    with contextlib.suppress(LogError):
        named |= files_of(load(folder, PREVIOUS))
    here = {p.name for p in folder.glob(f"{TEMPORARY}*")}
    for top in FOLDERS:
        here |= {p.relative_to(folder).as_posix() for p in (folder / top).rglob("*") if p.is_file()}
    return sorted(here - named)


def remove(folder: Path, paths: list[str]) -> list[str]:
    """Remove files below the store's folder; return those that went."""
    gone = []
    for path in paths:
        with contextlib.suppress(OSError):
            (folder / path).unlink()
            gone.append(path)
    return gone


def remove_empty_folders(folder: Path) -> None:
    """Remove the store's folders that hold nothing any more."""
    for top in FOLDERS:
        for below in sorted((folder / top).rglob("*"), reverse=True):
            with contextlib.suppress(OSError):
                if below.is_dir():
                    below.rmdir()


def rebuilt(folder: Path) -> Contents:
    """Return what a new manifest can say from the parts and originals alone.

    A version counts if all its parts are whole and its original is there. What was superseded
    before, and what was set aside, is not known any more.
    """
    versions = _whole_versions(folder)
    originals = _originals(folder, versions)
    plan = Plan(folder, Contents())
    plan.contents.originals = originals
    for version in sorted(versions, key=lambda v: (v.turn, v.order)):
        if version.sha256 in originals:
            plan.place(version, _bytes_of(plan, version))
    return plan.contents


def _bytes_of(plan: Plan, version: Version) -> bytes | Path:
    """Return the bytes of a version's original, from the file that begins with them if so."""
    source = plan.source_of(version.sha256)
    original = plan.contents.originals[version.sha256]
    if original.within and isinstance(source, Path):
        return source.read_bytes()[: original.size]
    return source


def _whole_versions(folder: Path) -> list[Version]:
    """Return the versions whose parts are all there; of two readings of one, the last."""
    parts: dict[Version, list[Part]] = {}
    counts: dict[Version, int] = {}
    names = set(Version._fields) - {"parts"}
    for path in sorted((folder / "readings").rglob("*.parquet")):
        with contextlib.suppress(LogError, OSError):
            raw = path.read_bytes()
            rows, said = decode(raw, path)
            first, last = (int(rows.time[0]), int(rows.time[-1])) if len(rows) else (0, 0)
            place = path.relative_to(folder).as_posix()
            version = Version(**{n: said["version"][n] for n in names})
            part = Part(place, hash_of(raw), len(rows), first, last)
            parts.setdefault(version, []).append(part)
            counts[version] = said["parts"]
    found: dict[str, Version] = {}
    for version, mine in sorted(parts.items(), key=lambda p: (p[0].turn, -p[0].written)):
        if sum(p.rows for p in mine) == version.rows and len(mine) == counts[version]:
            whole = tuple(sorted(mine, key=lambda p: p.first))
            found[version.id] = version._replace(parts=whole)
    return list(found.values())


def _originals(folder: Path, versions: list[Version]) -> dict[str, Original]:
    """Return the originals of some versions that are there, whole or within a longer one."""
    wanted = {v.sha256: v.size for v in versions}
    found: dict[str, Original] = {}
    kept = [p for p in sorted((folder / "originals").rglob("*")) if p.is_file()]
    for path in kept:
        sha256, size = hash_and_size(path)
        if sha256 == path.name:
            found[sha256] = Original(sha256, size, head_of(path))
    for path in kept:
        missing = {s: n for s, n in wanted.items() if s not in found}
        if path.name in found and missing and not found[path.name].within:
            begins = prefix_hashes(path, missing.values())
            for sha256, size in missing.items():
                if begins.get(size) == sha256:
                    head = head_of(path, size)
                    found[sha256] = Original(sha256, size, head, path.name)
    return found
