"""Clock text to numbers: every cell of one shape at once, whatever the way of writing.

The shape of a cell is its text with each digit replaced by 0. A file has few shapes; each is
understood once, by the patterns below, and its digits are then taken from all its cells at once.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from riskrules.logs.readings import Ints

Mask = npt.NDArray[np.bool_]
Codes = npt.NDArray[np.uint8] | npt.NDArray[np.uint32]
LONGEST = 60
"""Characters a time may have; a longer cell is none. (assumption)"""
CENTURY_TURN = 70
"""Years of two digits below it are 20xx, from it on 19xx. (common practice, no source)"""
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
LONG_MONTHS = ("january", "february", "march", "april", "may", "june", "july", "august",
               "september", "october", "november", "december")  # fmt: skip
_MONTH = r"(?P<month>[a-z]{3,9})"
_WEEKDAY = r"(?:(?:mon|tue|wed|thu|fri|sat|sun)[a-z]{0,6}[,.]? +)?"
_DATES = (
    r"(?P<y>0000)(?P<sep>[-/.])(?P<m>00?)(?P=sep)(?P<d>00?)",
    r"(?P<y>0000)(?P<m>00)(?P<d>00)",
    r"(?P<a>00?)(?P<sep>[-/.])(?P<b>00?)(?P=sep)(?P<c>0000|00)",
    r"(?P<d>00?)(?:st|nd|rd|th)?[-/ .]? ?" + _MONTH + r"[.,]?[-/ ]?(?P<y>0000|00)",
    _MONTH + r"[.]?[-/ ](?P<d>00?)(?:st|nd|rd|th)?(?:, ?|[-/ ])(?P<y>0000)",
    r"(?P<y>0000)[-/ ]" + _MONTH + r"[-/ ](?P<d>00?)",
)
_CLOCK = (
    r"(?:(?P<H>00?)(?P<ts>[:.h])(?P<M>00)(?:(?P=ts)(?P<S>00)(?:[.,](?P<F>0{1,9}))?)?"
    r"|(?P<bare>0{1,4})|(?P<packed>000000))"
    r"(?: ?(?P<half>[ap])\.?m\.?)?"
)
_OFFSET = r"(?: ?(?P<utc>z|utc|gmt)| ?(?:utc|gmt)?(?P<sign>[-+])(?P<OH>00?)(?::?(?P<OM>00))?)?"
_PATTERNS = tuple(
    re.compile(_WEEKDAY + date + r"(?:(?:t| *[,;] *| +|:)" + _CLOCK + _OFFSET + r")?")
    for date in _DATES
)
_SPACES = np.array([0x09, 0xA0, 0x2009, 0x202F], dtype=np.uint32)
_MINUSES = np.array([0x2010, 0x2011, 0x2012, 0x2013, 0x2212], dtype=np.uint32)


@dataclass(slots=True)
class Parts:
    """The numbers of each cell, shape (n,); -1 where it has none.

    ``known`` cells have a date in a pattern we read; ``mixed`` ones have it as three numbers
    ``a``, ``b``, ``c`` whose order the pattern does not tell. ``second`` is seconds of the day;
    ``offset`` is seconds east of UTC, where ``zoned``.
    """

    known: Mask
    mixed: Mask
    zoned: Mask
    valid: Mask
    year: Ints
    month: Ints
    day: Ints
    a: Ints
    b: Ints
    c: Ints
    wide: Mask
    second: Ints
    bare: Ints
    bare_width: Ints
    offset: Ints


def parts_of(cells: list[str]) -> Parts:
    """Return the numbers in each cell of clock text (stripped, empty where there is none)."""
    codes = _codes(cells)
    parts = _empty(len(cells))
    for shape, rows in _groups(codes):
        match = next((m for p in _PATTERNS if (m := p.fullmatch(shape))), None)
        if match is not None:
            _take(parts, match, codes, rows)
    _settle_bare(parts)
    return parts


def _empty(n: int) -> Parts:
    parts: dict[str, Any] = {
        name: np.zeros(n, dtype=bool) for name in ("known", "mixed", "zoned", "wide")
    }
    parts |= {name: np.full(n, -1, dtype=np.int64) for name in ("year", "month", "day")}
    parts |= {name: np.full(n, -1, dtype=np.int64) for name in ("a", "b", "c")}
    parts |= {name: np.zeros(n, dtype=np.int64) for name in ("second", "bare", "bare_width")}
    return Parts(valid=np.ones(n, dtype=bool), offset=np.zeros(n, dtype=np.int64), **parts)


def _codes(cells: list[str]) -> Codes:
    """Return the characters as a matrix of small letters, one way of space and minus; 0 ends."""
    lengths = set(map(len, cells))
    if max(lengths) > LONGEST:
        return _codes([c if len(c) <= LONGEST else "" for c in cells])
    width = max(*lengths, 1)
    text = "".join(cells if len(lengths) == 1 else [c.ljust(width, "\0") for c in cells])
    if not text:
        return np.zeros((len(cells), 1), dtype=np.uint8)
    if text.isascii():
        flat = np.frombuffer(text.lower().encode("ascii"), dtype=np.uint8)
        return np.where(flat == 9, np.uint8(32), flat).reshape(len(cells), width)
    codes = np.frombuffer(text.encode("utf-32-le", "surrogatepass"), dtype=np.uint32).copy()
    codes[(codes >= 65) & (codes <= 90)] += 32
    codes[np.isin(codes, _SPACES)] = 32
    codes[np.isin(codes, _MINUSES)] = 45
    return codes.reshape(len(cells), width)


def _groups(codes: Codes) -> Iterator[tuple[str, Any]]:
    """Yield each shape with its rows (a slice where all have one)."""
    shapes = np.where((codes >= 48) & (codes <= 57), codes.dtype.type(48), codes)
    if (shapes == shapes[0]).all():
        yield _word(shapes[0]), slice(None)
        return
    odd = np.arange(1, 2 * shapes.shape[1], 2, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15)
    key = (shapes.astype(np.uint64) * odd).sum(axis=1, dtype=np.uint64)
    _, first, which = np.unique(key, return_index=True, return_inverse=True)
    if not (shapes == shapes[first][which]).all():  # two shapes of one key: compare them whole
        _, first, which = np.unique(shapes, axis=0, return_index=True, return_inverse=True)
    order = np.argsort(which.ravel(), kind="stable")
    ends = np.cumsum(np.bincount(which.ravel()))
    for at, rows in zip(first, np.split(order, ends[:-1]), strict=True):
        yield _word(shapes[at]), rows


def _word(shape: Codes) -> str:
    return shape.astype(np.uint32).tobytes().decode("utf-32-le", "replace").rstrip("\x00")


def _take(parts: Parts, match: re.Match[str], codes: Codes, rows: Any) -> None:
    """Put the numbers of all cells of one shape in their places."""

    def number(name: str, absent: int = 0) -> Any:
        start, end = match.span(name) if name in match.re.groupindex else (-1, -1)
        if start < 0:
            return absent
        return _digits(codes[rows, start:end])

    if match.re.groupindex.get("month") and not _named_month(parts, match["month"], rows):
        return
    parts.known[rows] = True
    if "a" in match.re.groupindex:
        parts.mixed[rows] = True
        parts.wide[rows] = len(match["c"]) == 4
        parts.a[rows], parts.b[rows], parts.c[rows] = number("a"), number("b"), number("c")
    else:
        year = number("y")
        parts.year[rows] = year if len(match["y"]) == 4 else whole_year(year)
        parts.day[rows] = number("d")
        if match.re.groupindex.get("m"):
            parts.month[rows] = number("m")
    _take_clock(parts, match, number, rows)


def _take_clock(parts: Parts, match: re.Match[str], number: Any, rows: Any) -> None:
    """Put the time of day and the offset in their places, and whether they can be."""
    hour, minute, second = number("H"), number("M"), number("S")
    if match["packed"]:
        packed = number("packed")
        hour, minute, second = packed // 10000, packed // 100 % 100, packed % 100
    if match["bare"] and match["half"]:
        hour = number("bare")
    elif match["bare"]:
        parts.bare[rows], parts.bare_width[rows] = number("bare"), len(match["bare"])
    ok = (minute < 60) & (second < 60)
    if match["half"]:
        afternoon = match["half"] == "p"
        ok &= (hour <= 12) | (hour < 24 if afternoon else False)
        hour = np.where(hour == 12, 0, hour) + np.where((hour <= 12) & afternoon, 12, 0)
    midnight = (hour == 24) & (minute == 0) & (second == 0)
    parts.valid[rows] = ok & ((hour < 24) | midnight)
    if match["F"]:  # to the nearest second: spreadsheets write 05:59:59.9999 for 06:00
        second = second + (number("F") * 2 >= 10 ** len(match["F"]))
    parts.second[rows] = hour * 3600 + minute * 60 + second
    if match["utc"] or match["sign"]:
        parts.zoned[rows] = True
        east = number("OH") * 3600 + number("OM") * 60
        parts.offset[rows] = -east if match["sign"] == "-" else east
        parts.valid[rows] &= (number("OM") < 60) & (east <= 15 * 3600)


def _digits(codes: Codes) -> Ints:
    number = codes[:, 0].astype(np.int64) - 48
    for i in range(1, codes.shape[1]):
        number *= 10
        number += codes[:, i]
        number -= 48
    return number


def _named_month(parts: Parts, word: str, rows: Any) -> bool:
    if word[:3] not in MONTHS:
        return False
    number = MONTHS.index(word[:3])
    if word not in (MONTHS[number], LONG_MONTHS[number], LONG_MONTHS[number][:4]):
        return False
    parts.month[rows] = number + 1
    return True


def whole_year(year: Any) -> Any:
    """Return the year that two digits stand for."""
    return np.where(year < CENTURY_TURN, 2000, 1900) + year


def _settle_bare(parts: Parts) -> None:
    """Read times written as bare digits: HHMM where any has three or four, hours where none."""
    some = parts.bare_width > 0
    if not some.any():
        return
    packed = bool((parts.bare_width[some] > 2).any())
    bare = parts.bare[some]
    hour, minute = (bare // 100, bare % 100) if packed else (bare, np.zeros_like(bare))
    parts.valid[some] &= (minute < 60) & ((hour < 24) | (hour == 24) & (minute == 0))
    parts.second[some] = hour * 3600 + minute * 60
