"""The manifest: one file that says what the store holds, replaced in one step.

Its first line holds a hash of all the others, each of which is one record in JSON.
"""

from __future__ import annotations

import contextlib
import gc
import json
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from riskrules.errors import Problem
from riskrules.logs.store.files import (
    cannot_write,
    hash_of,
    trouble,
    write_flushed,
)
from riskrules.logs.store.types import Aside, Contents, Original, Part, Version

MANIFEST = "manifest.jsonl"
PREVIOUS = "manifest.previous.jsonl"
FORMAT = 1
_FIELDS = {
    "version": list(Version._fields),
    "original": list(Original._fields),
    "aside": list(Aside._fields),
    "part": list(Part._fields),
}


def dump(contents: Contents) -> bytes:
    """Return a manifest's bytes: the same for the same contents."""
    lines = [_line("version", v) for v in sorted(contents.versions.values(), key=lambda v: v.id)]
    lines += [
        _line("original", o) for o in sorted(contents.originals.values(), key=lambda o: o.sha256)
    ]
    lines += [_line("aside", a) for _, a in sorted(contents.asides.items())]
    head = {
        "generation": contents.generation,
        "dropped": list(contents.dropped),
        "fields": _FIELDS,
    }
    body = "".join([_encode(head), "\n", *lines]).encode("utf-8")
    first = {"riskrules_log_store": FORMAT, "sha256": hash_of(body)}
    return json.dumps(first).encode("utf-8") + b"\n" + body


def _plain(value: object) -> list[str | int]:
    if isinstance(value, Problem):
        return [value.file, value.line, value.column, value.message]
    raise TypeError(f"{type(value).__name__} cannot stand in a manifest")


_encode = json.JSONEncoder(default=_plain, separators=(",", ":")).encode


def _line(kind: str, record: Version | Original | Aside) -> str:
    return _encode((kind, *record)) + "\n"


def parse(raw: bytes, path: Path) -> Contents:
    """Return what a manifest says; LogError where it is damaged or of another format."""
    try:
        first, _, body = raw.partition(b"\n")
        said = json.loads(first)
        version = said["riskrules_log_store"]
        if version != FORMAT:
            message = f"store format {version}; expected {FORMAT}. Use the program that made it"
            raise trouble(path, message)
        if hash_of(body) != said["sha256"]:
            raise ValueError
        with _no_collector():
            head, *records = json.loads(b"[" + b",".join(body.splitlines()) + b"]")
            if head["fields"] != _FIELDS:
                raise ValueError
            return _gathered(records, head)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        message = (
            "damaged: its hash does not fit its lines; expected the manifest of a log store. "
            "`riskrules logs mend` goes back to the one before; with --from-parts it makes a new "
            "one from the readings"
        )
        raise trouble(path, message) from None


@contextlib.contextmanager
def _no_collector() -> Iterator[None]:
    """Keep the garbage collector from looking again and again at thousands of new records."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _gathered(records: list[Any], head: dict[str, Any]) -> Contents:
    contents = Contents(generation=head["generation"], dropped=tuple(head["dropped"]))
    for kind, *cells in records:
        if kind == "version":
            cells[-1] = tuple(map(Part._make, cells[-1]))
            version = Version._make(cells)
            contents.versions[version.id] = version
        elif kind == "original":
            contents.originals[cells[0]] = Original._make(cells)
        else:
            cells[-1] = tuple(Problem(*p) for p in cells[-1])
            aside = Aside._make(cells)
            contents.asides[aside.sha256, aside.mapping_hash] = aside
    return contents


def load(folder: Path, name: str = MANIFEST) -> Contents:
    """Read a manifest of a store."""
    path = folder / name
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise trouble(path, f"cannot be read: {error.strerror or error}") from None
    return parse(raw, path)


def replace(folder: Path, contents: Contents) -> None:
    """Put a new manifest in place in one step, keep the old one as the previous one.

    LogError where that fails; the old manifest is then still the truth. Call `flush_folder` after
    it: what fails there comes too late to take the change back.
    """
    path, raw = folder / MANIFEST, dump(contents)
    try:
        write_flushed(path, raw, hash_of(raw), before=lambda: _keep_previous(folder))
    except OSError as error:
        raise cannot_write(path, error) from None


def _keep_previous(folder: Path) -> None:
    path, beside = folder / MANIFEST, folder / f".tmp-previous-{os.getpid()}"
    if not path.exists():
        return
    try:
        with contextlib.suppress(FileNotFoundError):
            beside.unlink()
        try:
            os.link(path, beside)
        except OSError:  # a file system without hard links
            shutil.copyfile(path, beside)
        os.replace(beside, folder / PREVIOUS)
    except BaseException:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise


def files_of(contents: Contents) -> set[str]:
    """Return the paths of all files that a manifest names, below the store's folder."""
    named = {p.path for v in contents.versions.values() for p in v.parts}
    named |= {original_path(o.sha256) for o in contents.originals.values() if not o.within}
    for aside in contents.asides.values():
        named |= {aside.report, aside_path(aside.sha256)}
    return named


def original_path(sha256: str) -> str:
    """Return where the bytes of a file are kept."""
    return f"originals/{sha256[:2]}/{sha256}"


def aside_path(sha256: str) -> str:
    """Return where the bytes of a file that was set aside are kept."""
    return f"aside/{sha256[:2]}/{sha256}"
