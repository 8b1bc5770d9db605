"""Read JSON lines: one object a line, each a row."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from riskrules.logs.formats.cells import column, content, frame, word
from riskrules.logs.formats.decimals import settle_commas
from riskrules.logs.formats.source import check_lines, fail
from riskrules.logs.mapping import LogMapping
from riskrules.logs.raw import RawLog
from riskrules.logs.readings import Note
from riskrules.logs.troubles import Trouble, name_of

MOST_KEYS = 1000
"""Keys that the objects of a file may have between them. (assumption)"""
SUFFIXES = (".jsonl", ".ndjson", ".json", ".jsonlines")
BOM = b"\xef\xbb\xbf"
Pairs = list[tuple[str, Any]]


def matches(head: bytes, path: Path) -> bool:
    """Return whether a file holds JSON, by its first bytes: objects, or an array (refused)."""
    start = head.removeprefix(BOM).lstrip()
    if start[:1] == b"{":
        return start[1:].lstrip()[:1] in (b'"', b"}", b"")
    return start[:1] == b"[" and path.suffix.lower() in SUFFIXES


def read(source: bytes | Path, file: str, mapping: LogMapping | None = None) -> list[RawLog]:
    """Return the table of a file of JSON lines; its columns are all keys, in order of first use.

    A line that is no object, or has a key twice, is left out; the last may be half-written.

    Raises
    ------
    LogError
        Where there is no object at all, a value is nested, or bytes are not UTF-8.
    """
    mapping = mapping or LogMapping()
    raw = content(source, file).removeprefix(BOM)
    check_lines(raw, file)
    if raw.lstrip()[:1] == b"[":
        raise fail(file, "a JSON array; expected JSON lines, one object a line", 1)
    lines = _text(raw, file).split("\n")
    full = [i for i, line in enumerate(lines, start=1) if line.strip()]
    parsed = _parsed([lines[i - 1].strip() for i in full])
    bad = _Bad(file, full)
    kept = [i for i, row in enumerate(parsed) if not bad.refuses(i, row)]
    if not kept:
        raise bad.error(parsed[0] if parsed else "empty")
    header, columns = _columns([parsed[i] for i in kept], file, [full[i] for i in kept], mapping)
    table = frame(columns, len(kept))
    said = ["JSON lines", *settle_commas(table, mapping.decimal, "")]
    numbers = np.array([full[i] for i in kept], dtype=np.int64)
    # Only lines among the rows count as blank, not what ends the file.
    blank = full[-1] - len(full)
    return [RawLog(file, header, table, numbers, 0, bad.lines, blank, None, said, bad.notes())]


def _text(raw: bytes, file: str) -> str:
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        message = f"byte {raw[error.start]:#04x} is not UTF-8; expected UTF-8, as JSON is"
        raise fail(file, message, line) from None


def _parsed(lines: Sequence[str]) -> list[Pairs | str]:
    """Return each line's pairs of key and value, or what is wrong with it.

    All lines are parsed as one array where each holds exactly one object, which is faster.
    """
    if all(line[0] == "{" and line[-1] == "}" for line in lines):
        try:
            rows = json.loads(f"[{','.join(lines)}]", object_pairs_hook=_Object)
        except (ValueError, RecursionError):
            rows = []
        if len(rows) == len(lines):
            return list(rows)
    return [_one(line) for line in lines]


class _Object(list[tuple[str, Any]]):
    """The pairs of an object, so that a key that stands twice is seen."""


def _one(line: str) -> Pairs | str:
    try:
        row = json.loads(line, object_pairs_hook=_Object)
    except json.JSONDecodeError as error:
        return f"not JSON from column {error.colno} on"
    except (ValueError, RecursionError):
        return "not JSON that can be read"
    return row if isinstance(row, _Object) else "no object"


@dataclass(slots=True)
class _Bad:
    """Gathers the lines that cannot be used, by what is wrong with them."""

    file: str
    full: list[int]
    lines: list[int] = field(default_factory=list)
    found: dict[str, list[tuple[int, str]]] = field(default_factory=dict)

    def refuses(self, i: int, row: Pairs | str) -> bool:
        """Return whether a line cannot be used."""
        if isinstance(row, str):
            last = i == len(self.full) - 1 and i > 0 and row.startswith("not JSON")
            self._add("half-written" if last else "broken", i, row)
            return True
        if len({key for key, _ in row}) == len(row):
            return False
        keys = [key for key, _ in row]
        twice = next(k for k in keys if keys.count(k) > 1)
        self._add("doubled", i, f"key '{word(twice)[:40]}' stands twice")
        return True

    def _add(self, kind: str, i: int, what: str) -> None:
        self.lines.append(self.full[i])
        self.found.setdefault(kind, []).append((self.full[i], what))

    def notes(self) -> list[Note]:
        """Return a note for each kind of broken line; they are counted as rows refused."""
        expected = "expected one JSON object with each key once. Line left out"
        said = {"half-written": "the last line is half-written"}
        return [
            Note(
                self.file,
                lines[0][0],
                f"{said.get(kind, lines[0][1])}; {expected}",
                len(lines),
                trouble=name_of(Trouble.WRONG_CELLS),
            )  # fmt: skip
            for kind, lines in self.found.items()
        ]

    def error(self, first: Pairs | str) -> Exception:
        """Return the error for a file without a line that can be used."""
        what = self.found["doubled"][0][1] if not isinstance(first, str) else first
        line = self.full[0] if self.full else 0
        return fail(self.file, f"{what}; expected a JSON object with each line", line)


def _columns(
    rows: Sequence[Any], file: str, lines: Sequence[int], mapping: LogMapping
) -> tuple[list[str], list[Any]]:
    names = _names(rows, file)
    if not names:
        raise fail(file, 'objects without keys; expected such as {"time": ...}', lines[0])
    same = [name for name, _ in rows[0]] == names and all(len(row) == len(names) for row in rows)
    if same and all(key == name for row in rows for (key, _), name in zip(row, names, strict=True)):
        cells: Iterable[Any] = zip(*([v for _, v in row] for row in rows), strict=True)
    else:
        tables = [dict(row) for row in rows]
        cells = ([t.get(name) for t in tables] for name in names)
    columns, header = [], []
    for name, values in zip(names, cells, strict=True):
        if mapping.columns.get(name) == "ignore":
            continue
        _refuse_nested(name, values, file, lines)
        header.append(word(name))
        columns.append(column(values))
    return header, columns


def _names(rows: Iterable[Pairs], file: str) -> list[str]:
    names: dict[str, None] = {}
    seen: set[tuple[str, ...]] = set()
    for row in rows:
        keys = tuple([key for key, _ in row])
        if keys not in seen:
            seen.add(keys)
            names |= dict.fromkeys(keys)
            if len(names) > MOST_KEYS:
                raise fail(file, f"more than {MOST_KEYS:,} keys; expected the columns of a log")
    return list(names)


def _refuse_nested(name: str, values: Sequence[Any], file: str, lines: Sequence[int]) -> None:
    if not {list, _Object} & set(map(type, values)):
        return
    row = next(i for i, v in enumerate(values) if isinstance(v, list))
    message = f"'{word(name)[:40]}' is nested; expected one plain value"
    raise fail(file, message, lines[row])
