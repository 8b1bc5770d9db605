"""Columns of the container's tables: a value as a cell and back, exactly, and its description."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, tzinfo
from typing import Any, Literal

from pydantic import BaseModel

Sort = Literal["text", "word", "words", "integer", "number", "boolean", "date", "time", "object"]
"""What a column holds. A ``text`` is free, and guarded; ``words`` are several with spaces between;
an ``object`` is JSON."""

TYPES: Mapping[Sort, dict[str, str]] = {
    "text": {"type": "string"},
    "word": {"type": "string"},
    "words": {"type": "string"},
    "integer": {"type": "integer"},
    "number": {"type": "number"},
    "boolean": {"type": "boolean"},
    "date": {"type": "date"},
    "time": {"type": "datetime", "format": "%Y-%m-%dT%H:%M:%S%z"},
    "object": {"type": "object"},
}
"""Type and format of each sort. Source: Table Schema v1, field descriptors (memory)"""
EXPECTED: Mapping[Sort, tuple[re.Pattern[str], str]] = {
    "integer": (re.compile(r"-?[0-9]+"), "a whole number"),
    "number": (re.compile(r"-?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?"), "a number such as 12.5"),
    "boolean": (re.compile(r"true|false|TRUE|FALSE|True|False"), "true or false"),
    "date": (re.compile(r"\d{4}-\d\d-\d\d", re.ASCII), "a day such as 2026-05-03"),
    "time": (
        re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(Z|[+-]\d\d:\d\d)", re.ASCII),
        "a time such as 2026-05-03T06:15:00+02:00",
    ),
}
_SKIPPED = '[\\s"\\x00-\\x1f\\x7f-\\xa0\\u200b-\\u200f\\u2060\\ufeff]*+'
_BEGINS = rf"(?:\A|[;\t\r\n]){_SKIPPED}"
_RISKY = re.compile(f"({_BEGINS})(?=['=+\\-@＝＋－＠])")
_GUARDED = re.compile(f"({_BEGINS})'")


def guard(text: str) -> str:
    """Return free text so that no spreadsheet runs it: an apostrophe before what would begin it.

    That is one of ``= + - @`` or an apostrophe, at the start of the text or after a semicolon, tab
    or new line, where a spreadsheet with other habits may begin a new cell.

    >>> guard("=1+1"), guard("dew; =now()"), guard("12-14 C")
    ("'=1+1", "dew; '=now()", '12-14 C')
    """
    return _RISKY.sub(r"\1'", text)


def unguard(text: str) -> str:
    """Return what `guard` was given.

    >>> unguard(guard("'=1+1'"))
    "'=1+1'"
    """
    return _GUARDED.sub(r"\1", text)


def shown(cell: str) -> str:
    """Return a cell for a message: its start, on one line."""
    return ascii(cell[:40] + ("…" if len(cell) > 40 else ""))


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its name, what it holds, and what is true of every value.

    ``optional``: a value may be missing, which is an empty cell; an optional text that is empty
    rather than missing is a lone apostrophe. ``limits`` are constraints of Table Schema.
    """

    name: str
    sort: Sort
    doc: str
    unit: str = ""
    optional: bool = False
    limits: Mapping[str, Any] = field(default_factory=dict)
    source: str = ""
    format: str = ""

    def write(self, value: Any, zone: tzinfo = UTC) -> str:
        """Return the cell of a value; times (s since 1970 UTC) are shown on the clock of a zone."""
        if value is None:
            return ""
        match self.sort:
            case "text":
                return guard(value) if value or not self.optional else "'"
            case "words":
                return " ".join(str(each) for each in value)
            case "number":
                return repr(float(value))
            case "boolean":
                return "true" if value else "false"
            case "date":
                return str(value.isoformat())
            case "time":
                return _iso(value, zone)
        return str(value)

    def read(self, cell: str) -> Any:
        """Return the value of a cell.

        Raises
        ------
        ValueError
            Where it is none: what stands there, and what was expected.
        """
        if cell == "":
            return self._empty()
        if self.sort in EXPECTED:
            pattern, expected = EXPECTED[self.sort]
            try:
                if pattern.fullmatch(cell):
                    return _value(self.sort, cell)
            except (ValueError, OverflowError):
                pass
            raise ValueError(f"{shown(cell)}; expected {expected}")
        if self.sort == "text":
            return unguard(cell)
        return tuple(cell.split(" ")) if self.sort == "words" else cell

    def _empty(self) -> Any:
        if self.optional:
            return None
        if self.sort == "words":
            return ()
        if self.sort == "text":
            return ""
        raise ValueError("empty; expected a value")

    def described(self) -> dict[str, Any]:
        """Return the field descriptor of Table Schema; ``unit`` and ``source`` are ours."""
        made: dict[str, Any] = {"name": self.name, **TYPES[self.sort], "description": self.doc}
        if self.format:
            made["format"] = self.format
        if self.unit:
            made["unit"] = self.unit
        if self.source:
            made["source"] = self.source
        needed = not self.optional and self.sort not in ("text", "words")
        limits = {**({"required": True} if needed else {}), **self.limits}
        return made | ({"constraints": limits} if limits else {})


def _iso(seconds: int, zone: tzinfo) -> str:
    made = datetime.fromtimestamp(seconds, zone)
    offset = made.utcoffset()
    if offset is None or offset.seconds % 60:
        # An offset with seconds (a few zones until 1972) has no place in an ISO time.
        made = datetime.fromtimestamp(seconds, UTC)
    return made.isoformat(timespec="seconds")


def _value(sort: Sort, cell: str) -> Any:
    match sort:
        case "integer":
            return int(cell)
        case "number":
            return float(cell)
        case "boolean":
            return cell.lower() == "true"
        case "date":
            return date.fromisoformat(cell)
    return int(datetime.fromisoformat(cell).timestamp())


Said = Mapping[str, tuple[str, str]]
"""Of each field of a model: what it is, and its unit."""


def columns_of(
    model: type[BaseModel], said: Said, leave: tuple[str, ...] = ()
) -> tuple[Column, ...]:
    """Return the columns of a model's fields, what may stand there taken from the model itself.

    Parameters
    ----------
    said : mapping
        What each field is, and its unit.
    leave : tuple of str
        Fields that have a table of their own.
    """
    made = model.model_json_schema()
    found = []
    for name, schema in made["properties"].items():
        if name in ("kind", *leave):
            continue
        doc, unit = said[name]
        found.append(_column(name, schema, doc, unit))
    return tuple(found)


def _column(name: str, schema: dict[str, Any], doc: str, unit: str) -> Column:
    some = [s for s in schema.get("anyOf", [schema]) if s.get("type") != "null"]
    optional = len(some) < len(schema.get("anyOf", [schema]))
    one = some[0]
    pattern = one.get("pattern", "").removeprefix("^").removesuffix("$")
    limits = {key: one[key] for key in ("minimum", "maximum", "enum") if key in one}
    if "exclusiveMinimum" in one:
        limits["minimum"] = one["exclusiveMinimum"]
    if "const" in one:
        limits["enum"] = [one["const"]]
    sort: Sort = one["type"] if one["type"] in ("integer", "number", "boolean") else "text"
    if one["type"] == "array":
        sort, limits = "words", _of_words(one["items"], one.get("minItems", 0))
    elif one.get("format") == "date":
        sort = "date"
    elif pattern or "enum" in limits or one.get("format") == "uuid":
        sort = "word"
    if pattern:
        limits["pattern"] = pattern
    source = "our own list of words (assumption)" if "enum" in limits else ""
    form = "uuid" if one.get("format") == "uuid" else ""
    return Column(name, sort, doc, unit, optional, limits, source, form)


def _of_words(items: dict[str, Any], least: int) -> dict[str, Any]:
    if "enum" in items:
        each = f"({'|'.join(items['enum'])})"
    elif items["type"] == "integer":
        each = "[0-9]+"
    else:
        each = items["pattern"].removeprefix("^").removesuffix("$")
    return {"pattern": f"{each}( {each})*"} | ({"required": True} if least else {})
