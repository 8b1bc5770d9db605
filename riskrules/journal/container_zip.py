"""The zip file itself: written beside and renamed, opened with suspicion."""

from __future__ import annotations

import itertools
import os
import stat
import zlib
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import IO
from zipfile import ZIP_DEFLATED, ZIP_STORED, BadZipFile, ZipFile, ZipInfo

from riskrules.journal.photos import PHOTO_LIMIT
from riskrules.journal.trouble import JournalError

TABLE_LIMIT = 256_000_000
"""The most bytes of one table, unpacked: eight times 100,000 records. (assumption)"""
MEMBERS = 100_000
"""The most files in a container. (assumption)"""
PACKED = 200
"""How many times its own size a container may unpack to, beyond the first 64 million bytes.

Text of records packs to a tenth; deflate can reach 1,032 (zlib's documentation, memory).
(assumption)
"""
SMALL = 64_000_000
_DATE = (1980, 1, 1, 0, 0, 0)
_count = itertools.count()


@contextmanager
def written_beside(path: Path) -> Iterator[IO[bytes]]:
    """Give a file to write, which takes its name only when it is whole and on disk.

    Raises
    ------
    JournalError
        If it cannot be written; a file of this name then stays as it was.
    """
    part = path.with_name(f"{path.name}.{os.getpid()}.{next(_count)}.part")
    try:
        with open(part, "xb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, path)
        _flush_folder(path.parent)
    except OSError as error:
        said = error.strerror or str(error)
        raise JournalError(f"{path} cannot be written: {said}; what was there stays") from None
    finally:
        part.unlink(missing_ok=True)


def _flush_folder(folder: Path) -> None:
    # The new file stands already: where a folder cannot be flushed, nothing is left to undo.
    with suppress(OSError):
        opened = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(opened)
        finally:
            os.close(opened)


def put(archive: ZipFile, name: str, data: bytes, packed: bool) -> None:
    """Write a member, the same bytes for the same data: no date, no owner."""
    info = ZipInfo(name, _DATE)
    info.create_system = 3
    info.external_attr = (stat.S_IFREG | 0o644) << 16
    info.compress_type = ZIP_DEFLATED if packed else ZIP_STORED
    archive.writestr(info, data, compresslevel=6)


class Members:
    """The members of a zip, none of which is trusted: names, sizes and bytes are looked at.

    Nothing is ever unpacked to disk, and no member is read beyond the size it claims.
    """

    def __init__(self, path: Path) -> None:
        self.name = path.name
        try:
            self.size = path.stat().st_size
            self._zip = ZipFile(path)
        except OSError as error:
            said = error.strerror or str(error)
            raise JournalError(f"{path} cannot be read: {said}") from None
        except (BadZipFile, ValueError, NotImplementedError, EOFError):
            message = "is no zip, or is cut off; expected a file that export made"
            raise JournalError(f"{path.name} {message}") from None
        try:
            self._of = self._looked_at()
        except JournalError:
            self._zip.close()
            raise

    def __enter__(self) -> Members:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._zip.close()

    def names(self) -> set[str]:
        """Return the names of all members."""
        return set(self._of)

    def read(self, name: str) -> bytes:
        """Return the bytes of a member.

        Raises
        ------
        JournalError
            If it is not there, or not whole.
        """
        info = self._of.get(name)
        if info is None:
            raise JournalError(f"{self.name} has no {name}; expected a file that export made")
        try:
            data = self._zip.read(info)
        except (BadZipFile, zlib.error, EOFError, OSError, ValueError, RuntimeError) as error:
            said = " ".join(str(error).split()) or "it ends too early"
            raise JournalError(f"{name} in {self.name} is damaged: {said[:120]}") from None
        if len(data) != info.file_size:
            raise JournalError(f"{name} in {self.name} is damaged: it ends too early")
        return data

    def _looked_at(self) -> dict[str, ZipInfo]:
        infos = self._zip.infolist()
        if len(infos) > MEMBERS:
            raise JournalError(
                f"{self.name} has {len(infos):,} files; expected at most {MEMBERS:,}"
            )
        found: dict[str, ZipInfo] = {}
        for info in infos:
            why = _odd(info) or ("stands twice" if info.filename in found else "")
            if why:
                shown = ascii(info.orig_filename[:80])
                raise JournalError(f"{self.name}: the file {shown} {why}; nothing was read")
            found[info.filename] = info
        self._refuse_bomb(infos)
        return found

    def _refuse_bomb(self, infos: list[ZipInfo]) -> None:
        whole = sum(i.file_size for i in infos)
        if whole > SMALL and whole > PACKED * self.size:
            message = f"would unpack to {whole:,} bytes, {whole // max(self.size, 1):,} times its"
            raise JournalError(f"{self.name} {message} size; expected at most {PACKED} times")
        if sum(i.compress_size for i in infos) > self.size:
            raise JournalError(f"{self.name}: its files lie over one another; nothing was read")


def _odd(info: ZipInfo) -> str:
    """Return what is wrong with a member before it is read; empty: nothing."""
    name, mode = info.orig_filename, info.external_attr >> 16
    pieces = name.split("/")
    if "\0" in name or "\\" in name or ":" in name or any(p in ("", ".", "..") for p in pieces):
        return "has a path that leads elsewhere; expected a plain name"
    if stat.S_IFMT(mode) not in (0, stat.S_IFREG):
        return "is a link or a device; expected a plain file"
    if info.flag_bits & 0x1:
        return "is locked with a password; expected none"
    if info.compress_type not in (ZIP_STORED, ZIP_DEFLATED):
        return "is packed in a way that is not known here; expected deflate"
    most = PHOTO_LIMIT if name.startswith("photos/") else TABLE_LIMIT
    if info.file_size > most:
        return f"unpacks to {info.file_size:,} bytes; expected at most {most:,}"
    return ""
