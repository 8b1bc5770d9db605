"""Files that stay whole: written beside, flushed, then renamed; and read back by their hash."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import itertools
import os
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from riskrules.errors import LogError, Problem

CHUNK = 1 << 20
TEMPORARY = ".tmp-"
"""How the names of files begin that are being written."""
HEADS = (32, 128, 512, 2048)
"""Lengths of beginnings whose hashes tell quickly that two files differ. [bytes] (assumption)"""
_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
_count = itertools.count()


def trouble(path: Path | str, message: str) -> LogError:
    """Return the error for a file of the store."""
    return LogError([Problem(str(path), 0, 0, message)])


def changed(source: bytes | Path) -> LogError:
    """Return the error for a file that changed while it was being read."""
    name = source if isinstance(source, Path) else "original"
    return trouble(name, "changed while it was read; expected the bytes that were read")


def cannot_write(path: Path, error: OSError) -> LogError:
    """Return the error for a file that could not be written: the disk is full, most often."""
    if error.errno in _FULL:
        message = "the disk is full, or a limit on its use is reached; expected room"
        return trouble(path, f"{message}. The store is as it was: make room and read again")
    said = error.strerror or str(error)
    return trouble(path, f"cannot be written: {said}. The store is as it was")


def chunks(source: bytes | Path, most: int | None = None) -> Iterator[bytes]:
    """Yield the bytes of a file, or its first ``most``, in pieces that fit in memory."""
    if isinstance(source, bytes):
        yield source if most is None else source[:most]
        return
    left = most
    try:
        with source.open("rb") as file:
            while left is None or left > 0:
                piece = file.read(CHUNK if left is None else min(CHUNK, left))
                if not piece:
                    return
                left = None if left is None else left - len(piece)
                yield piece
    except OSError as error:
        raise trouble(source, f"cannot be read: {error.strerror or error}") from None


def hash_and_size(source: bytes | Path) -> tuple[str, int]:
    """Return the SHA-256 and the length of a file, read once."""
    made, size = hashlib.sha256(), 0
    for piece in chunks(source):
        made.update(piece)
        size += len(piece)
    return made.hexdigest(), size


def hash_of(source: bytes | Path, most: int | None = None) -> str:
    """Return the SHA-256 of a file, or of its first ``most`` bytes.

    Examples
    --------
    >>> hash_of(b"time", most=0) == hash_of(b"")
    True
    """
    made = hashlib.sha256()
    for piece in chunks(source, most):
        made.update(piece)
    return made.hexdigest()


def head_of(source: bytes | Path, size: int | None = None) -> str:
    """Return short hashes of a file's beginnings, joined.

    Those of a file with whose bytes it begins are the beginning of it. ``size`` looks at no more
    than so many bytes.

    Examples
    --------
    >>> head_of(b"a" * 600).startswith(head_of(b"a" * 200))
    True
    """
    lengths = [n for n in HEADS if size is None or n <= size]
    return "".join(made[:8] for _, made in sorted(prefix_hashes(source, lengths).items()))


def prefix_hashes(source: bytes | Path, sizes: Iterable[int]) -> dict[int, str]:
    """Return the SHA-256 of a file's first bytes for each of some lengths, in one pass.

    Lengths beyond the file's end are left out.
    """
    wanted = sorted(set(sizes))
    made, done, found = hashlib.sha256(), 0, {}
    for piece in chunks(source, wanted[-1] if wanted else 0):
        at = 0
        while wanted and wanted[0] <= done + len(piece):
            cut = wanted.pop(0) - done
            made.update(piece[at:cut])
            at = cut
            found[done + cut] = made.copy().hexdigest()
        made.update(piece[at:])
        done += len(piece)
    return found


def begins_with(longer: bytes | Path, shorter: bytes | Path) -> bool:
    """Return whether a file begins with the bytes of another file."""
    if isinstance(longer, bytes):
        at = 0
        for piece in chunks(shorter):
            if not longer.startswith(piece, at):
                return False
            at += len(piece)
        return True
    try:
        with longer.open("rb") as file:
            return all(file.read(len(piece)) == piece for piece in chunks(shorter))
    except OSError as error:
        raise trouble(longer, f"cannot be read: {error.strerror or error}") from None


class Batch:
    """Files written for one change of the store; undone as a whole where it fails.

    Nothing of the store points to them until the manifest that names them is in place.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.made: list[Path] = []
        self._folders: set[Path] = set()

    def put(self, path: str, source: bytes | Path, sha256: str) -> None:
        """Write a file under its path below the store's folder, flushed to the disk.

        LogError where the source is no longer what its hash says: it changed since it was read.
        """
        target = self.folder / path
        try:
            self._make_folder(target.parent)
            new = not target.exists()
            write_flushed(target, source, sha256)
        except OSError as error:
            raise cannot_write(target, error) from None
        self._folders.add(target.parent)
        if new:
            self.made.append(target)

    def _make_folder(self, folder: Path) -> None:
        missing = [p for p in (folder, *folder.parents) if not p.exists()]
        folder.mkdir(parents=True, exist_ok=True)
        self._folders.update(p.parent for p in missing)

    def flush(self) -> None:
        """Flush the folders, so that the new names survive a loss of power."""
        for folder in sorted(self._folders):
            try:
                flush_folder(folder)
            except OSError as error:
                raise cannot_write(folder, error) from None

    def undo(self) -> None:
        """Remove what was written, to give the room back."""
        for path in self.made:
            with contextlib.suppress(OSError):
                path.unlink()


def write_flushed(
    target: Path,
    source: bytes | Path,
    sha256: str,
    before: Callable[[], None] | None = None,
) -> None:
    """Write a file beside its place, flush it, and rename it into place.

    ``before`` is called between the two. Raises OSError or LogError, and leaves the old file as
    it was.
    """
    made = hashlib.sha256()
    beside = target.with_name(f"{TEMPORARY}{os.getpid()}-{next(_count)}")
    try:
        with beside.open("wb") as file:
            for piece in chunks(source):
                made.update(piece)
                file.write(piece)
            file.flush()
            os.fsync(file.fileno())
        if made.hexdigest() != sha256:
            raise changed(source)
        if before is not None:
            before()
        os.replace(beside, target)
    except BaseException:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise


def flush_folder(folder: Path) -> None:
    """Flush a folder's list of names to the disk, where the system can."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
