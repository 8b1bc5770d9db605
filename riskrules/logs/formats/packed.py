"""Read packed logs: gzip and zip, one member after the other, never unpacked to disk."""

from __future__ import annotations

import gzip
import io
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path, PurePosixPath
from typing import IO, Protocol

from riskrules.logs.formats.source import fail
from riskrules.logs.mapping import LogMapping
from riskrules.logs.raw import RawLog

MOST_BYTES = 512_000_000
"""Bytes a member may unpack to: 8 million rows of a log of six columns. (assumption)"""
MOST_RATIO = 250
"""How many times its packed size a member may have; checked from FREE_BYTES on. A log of one
value packs to a few hundredths, and the packing itself ends near 1030. (assumption)"""
FREE_BYTES = 16_000_000
"""Bytes a member may unpack to whatever its packed size. (assumption)"""
MOST_MEMBERS = 5_000
"""Members an archive may have. (assumption)"""
MOST_TOGETHER = 2_000_000_000
"""Bytes all members of an archive may unpack to. (assumption)"""
PIECE = 1_000_000
LEFT_BEHIND = (".DS_Store", "Thumbs.db", "desktop.ini")
"""Files that operating systems put beside those of people. (common practice, no source)"""
GZIP, ZIP = b"\x1f\x8b", (b"PK\x03\x04", b"PK\x05\x06", b"PK\x07\x08")
OTHERS = {
    b"7z\xbc\xaf\x27\x1c": "7z", b"Rar!": "rar", b"\xfd7zXZ": "xz", b"BZh": "bzip2",
    b"\x28\xb5\x2f\xfd": "zstd",
}  # fmt: skip


class Stream(Protocol):
    """What bytes are read from."""

    def read(self, size: int = ..., /) -> bytes:
        """Return up to so many bytes."""
        ...


Opener = Callable[[bytes, str, Path], list[RawLog]]


def matches(head: bytes, path: Path) -> bool:
    """Whether bytes are those of a packed file, of a kind that we read or that we know."""
    return head.startswith((GZIP, *ZIP, *OTHERS))


def read(
    source: bytes | Path, file: str, mapping: LogMapping | None = None, inner: Opener | None = None
) -> list[RawLog]:
    """Return the tables of all members, in the order of their names.

    Parameters
    ----------
    source : bytes or Path
        The archive.
    file : str
        Name to show; members are shown as ``a.zip/b.csv``.
    mapping : LogMapping, optional
        Goes to every member.
    inner : callable, optional
        Reads one member: its bytes, the name to show, and its name as a path.

    Raises
    ------
    LogError
        For a damaged, encrypted or nested archive, one that holds nothing, or that unpacks to
        more than the limits above.
    """
    from riskrules.logs.formats import open_bytes

    each = inner or (lambda data, name, path: open_bytes(data, name, path, mapping))
    stream: IO[bytes] = source.open("rb") if isinstance(source, Path) else io.BytesIO(source)
    with stream:
        head = stream.read(8)
        stream.seek(0)
        other = next((name for magic, name in OTHERS.items() if head.startswith(magic)), "")
        if other:
            raise fail(file, f"packed as {other}; expected zip or gzip. Unpack it first")
        return _gzip(stream, file, each) if head.startswith(GZIP) else _zip(stream, file, each)


def _gzip(stream: IO[bytes], file: str, each: Opener) -> list[RawLog]:
    size = stream.seek(0, 2)
    stream.seek(0)
    try:
        with gzip.GzipFile(fileobj=stream) as unpacked:
            data = _all_of(unpacked, size, file)
    except (OSError, EOFError, zlib.error) as error:
        raise fail(file, f"cut off or damaged: {error}") from None
    return _member(data, file, Path(PurePosixPath(file).name.removesuffix(".gz")), each)


def _zip(stream: IO[bytes], file: str, each: Opener) -> list[RawLog]:
    found: list[RawLog] = []
    total = 0
    try:
        with zipfile.ZipFile(stream) as archive:
            members = sorted((m for m in archive.infolist() if _wanted(m)), key=_order)
            if not members:
                raise fail(file, "an archive without files; expected logs")
            if len(members) > MOST_MEMBERS:
                message = f"{len(members):,} files; expected at most {MOST_MEMBERS:,}"
                raise fail(file, message)
            for member in members:
                name = f"{file}/{_shown(member.filename)}"
                data = _unpacked(archive, member, name)
                total += len(data)
                if total > MOST_TOGETHER:
                    message = f"unpacks to more than {MOST_TOGETHER:,} bytes"
                    raise fail(file, f"{message}; expected logs")
                found += _member(data, name, Path(PurePosixPath(_shown(member.filename))), each)
    except (zipfile.BadZipFile, OSError, EOFError, zlib.error, ValueError) as error:
        raise fail(file, f"cut off or damaged: {error}") from None
    return found


def _wanted(member: zipfile.ZipInfo) -> bool:
    """Whether a member is a file, and not one that an operating system leaves behind."""
    path = PurePosixPath(_shown(member.filename))
    left = path.name in LEFT_BEHIND or path.name.startswith("._") or "__MACOSX" in path.parts
    return not member.is_dir() and not left


def _order(member: zipfile.ZipInfo) -> tuple[str, int, int]:
    return (member.filename, member.CRC, member.file_size)


def _shown(name: str) -> str:
    """Return a member's name fit to be shown: it is never used to write or open anything."""
    plain = "".join(c if c.isprintable() else "?" for c in name.replace("\\", "/"))
    return plain[-200:]


def _unpacked(archive: zipfile.ZipFile, member: zipfile.ZipInfo, name: str) -> bytes:
    if member.flag_bits & 1:
        raise fail(name, "encrypted; expected an archive without password")
    try:
        with archive.open(member) as unpacked:
            return _all_of(unpacked, member.compress_size, name)
    except NotImplementedError as error:
        raise fail(name, f"packed in a way that we don't read: {error}") from None
    except RuntimeError as error:
        raise fail(name, str(error)) from None


def _all_of(unpacked: Stream, packed: int, name: str) -> bytes:
    """Return all bytes of a member; LogError as soon as they are too many."""
    pieces, size = [], 0
    most = min(MOST_BYTES, max(FREE_BYTES, packed * MOST_RATIO))
    while piece := unpacked.read(PIECE):
        size += len(piece)
        if size > most:
            message = f"unpacks to more than {most:,} bytes from {packed:,}; expected a log"
            raise fail(name, message)
        pieces.append(piece)
    return b"".join(pieces)


def _member(data: bytes, name: str, path: Path, each: Opener) -> list[RawLog]:
    from riskrules.logs.formats import other_format

    if matches(data[:8], path) and other_format(data, path) is None:
        raise fail(name, "an archive within an archive; expected a log. Unpack it first")
    return each(data, name, path)
