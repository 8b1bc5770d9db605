"""What every format needs: the bytes of a file, and the error that names it."""

from __future__ import annotations

from pathlib import Path

from riskrules.errors import LogError, Problem

LONGEST_LINE = 1_000_000
"""Bytes a line of a log may have. (assumption)"""


def fail(file: str, message: str, line: int = 0) -> LogError:
    """Return the error for a log that cannot be used at all."""
    return LogError([Problem(file, line, 0, message)])


def file_bytes(path: Path, most: int = -1) -> bytes:
    """Return a file's bytes, or its first ``most``; LogError where it cannot be read."""
    try:
        with path.open("rb") as file:
            return file.read(most)
    except FileNotFoundError:
        raise fail(str(path), "no such file") from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise fail(str(path), reason or str(error)) from None


def check_lines(raw: bytes, file: str) -> None:
    """Raise LogError where bytes are blank, or have a line that never ends."""
    if not raw.strip():
        raise fail(file, "empty; expected a header and rows")
    start = 0
    while len(raw) - start >= LONGEST_LINE:
        ends = (raw.rfind(end, start, start + LONGEST_LINE) for end in (b"\n", b"\r"))
        newline = max(ends)
        if newline < 0:
            message = f"a line of more than {LONGEST_LINE:,} bytes; expected rows of a log"
            raise fail(file, message, raw.count(b"\n", 0, start) + 1)
        start = newline + 1


def read_bytes(path: Path) -> bytes:
    """Return a text file's bytes; LogError where it is missing, empty, or has an endless line."""
    raw = file_bytes(path)
    check_lines(raw, path.name)
    return raw
