"""A row as it stands in its file, for the examples of a report; empty where that is not text."""

from __future__ import annotations

import io
from collections.abc import Sequence
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

from riskrules.errors import LogError
from riskrules.logs.report.troubles import RowText

if TYPE_CHECKING:
    from riskrules.logs.store import LogStore

LONGEST = 160
"""Characters of a row that are shown. (assumption)"""


def text_of_rows(paths: Sequence[Path]) -> RowText:
    """Return what gives a line of one of some text files.

    Examples
    --------
    >>> text_of_rows([])("a.csv", 3)
    ''
    """
    by_name = {path.name: path for path in paths}

    def row_text(file: str, line: int) -> str:
        path = by_name.get(file)
        try:
            return "" if path is None else _line(path.read_bytes(), line)
        except OSError:
            return ""

    return row_text


def text_of_originals(store: LogStore) -> RowText:
    """Return what gives a line of a file that a store keeps; the latest of that name."""
    hashes = {r.file: r.sha256 for r in store.history() if r.state == "counts"}

    def row_text(file: str, line: int) -> str:
        try:
            return _line(store.original(hashes[file]), line) if file in hashes else ""
        except LogError:
            return ""

    return row_text


def _line(raw: bytes, line: int) -> str:
    """Return one line of text, made printable; empty where the bytes are no text."""
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text = raw.decode("utf-16", errors="replace")
    elif b"\x00" in raw[:1000] or raw[:2] == b"\x1f\x8b":
        return ""
    else:
        text = raw.decode("utf-8-sig", errors="replace")
    rows = islice(io.StringIO(text, newline=None), line - 1, line)
    row = next(rows, "").rstrip("\n")
    shown = "".join(c if c.isprintable() else " " for c in row)
    return shown if len(shown) <= LONGEST else f"{shown[:LONGEST]}…"
