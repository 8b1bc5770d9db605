"""Find out how a text log is written: its delimiter, its header, and the line of its units."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass

from riskrules.logs.formats.headers import (
    bracketed,
    is_datelike,
    is_known_name,
    is_numberlike,
    is_step_line,
    is_time_name,
    is_unit_line,
    with_units,
)
from riskrules.logs.formats.source import fail
from riskrules.logs.mapping import LogMapping

HEAD_LINES = 400
"""Lines among which the header is looked for. (assumption)"""
PROBE_LINES = 60
"""Rows held against the header to tell the delimiter. (assumption)"""
HALF = 0.5
"""Share of those rows that have to have as many cells as the header. (assumption)"""
UNIT_LINES = 3
"""Lines of units and the like between header and rows. (assumption)"""
ALIGNED, SPACES = "  ", " "
PRIORITY = ("\t", ";", "|", ",", ALIGNED, SPACES)
"""Where several delimiters fit: what stands for a decimal sign or in words comes last."""
SHOWN = {"\t": "tab", ALIGNED: "two or more spaces", SPACES: "spaces"}
FROM_MAPPING = {"tab": ("\t",), "space": (ALIGNED, SPACES)}
_ALIGNED = re.compile(r"\t| {2,}")
_NAMES = re.compile(r'"[^"]*"|[^\s\[(]+(?:\s*[\[(][^\])]*[\])])?')
_WORDS = re.compile(r'"[^"]*"|\S+')
_STAMPED = re.compile(r'"[^"]*"|\d[\d./-]*\d +\d{1,2}:\d\d\S*(?: [AaPp][Mm]\b)?|\S+')


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a text log is written.

    ``header_at`` and ``rows_at`` count lines from 0. Rows have ``least`` to ``most`` cells;
    ``header`` has ``least``. ``stamped`` says that a date and a clock time divided by a space
    are one cell. ``said`` is what is out of the ordinary, in words.
    """

    delimiter: str
    header: list[str]
    header_at: int
    rows_at: int
    least: int
    most: int
    stamped: bool = False
    said: tuple[str, ...] = ()

    def cells(self, line: str) -> list[str] | None:
        """Return the cells of a row, None where its quotes do not close."""
        return split(line, self.delimiter, self.stamped)


def split(line: str, delimiter: str, stamped: bool = False) -> list[str] | None:
    """Return the cells of a line, None where it cannot be cut into cells.

    Examples
    --------
    >>> split('a, "b, c"', ",")
    ['a', 'b, c']
    """
    if delimiter == ALIGNED:
        cells = _ALIGNED.split(line.strip())
    elif delimiter == SPACES:
        cells = (_STAMPED if stamped else _WORDS).findall(line)
    elif '"' in line:
        quoted = _quoted(line, delimiter)
        if quoted is None:
            return None
        cells = quoted
    else:
        cells = line.split(delimiter)
    return [c.strip().strip('"') if delimiter in (ALIGNED, SPACES) else c.strip() for c in cells]


def _quoted(line: str, delimiter: str) -> list[str] | None:
    """Return the cells of a line with quotes, None where one does not close."""
    for strict in (True, False):
        try:
            reader = csv.reader([line], delimiter=delimiter, skipinitialspace=True, strict=strict)
            return next(reader)
        except csv.Error as error:
            if "unexpected end" in str(error) or not strict:
                return None
    return None


def names_in(line: str, delimiter: str) -> list[str]:
    """Return the cells of a line that may be a header: a unit after a space stays with its name."""
    if delimiter == SPACES:
        return [c.strip('"') for c in _NAMES.findall(line)]
    return split(line, delimiter) or []


def sniff(lines: Sequence[str], mapping: LogMapping, file: str) -> Dialect:
    """Return how a log is written, from its first lines.

    Raises
    ------
    LogError
        Where there is no header, or it cannot be cut into cells.
    """
    given = mapping.delimiter
    if (mapping.header_line or 0) > len(lines):
        message = f"no header on line {mapping.header_line}, where the mapping has it"
        raise fail(file, f"{message}; expected one of {len(lines)} lines", mapping.header_line or 0)
    delimiters = FROM_MAPPING.get(given or "", (given,) if given else PRIORITY)
    hint = re.fullmatch(r'"?sep=(.)"?', lines[0].strip()) if lines else None
    if hint and not given:
        delimiters = (hint[1],)
    found = _found(lines, [str(d) for d in delimiters], mapping)
    if not found:
        return _first_line(lines, str(delimiters[0]) if len(delimiters) == 1 else ",", file)
    fits = [c for c in found if c.share >= HALF]
    best = fits[0] if fits else max(found, key=lambda c: (c.named, c.share))
    named = [c for c in fits if c.named]
    return _dialect(lines, named[0] if named else best)


def _found(
    lines: Sequence[str], delimiters: Sequence[str], mapping: LogMapping
) -> list[_Candidate]:
    """Return the headers that delimiters make; spaces are asked only where no other one fits."""
    whole = "\n".join(lines)
    found: list[_Candidate] = []
    for delimiter in delimiters:
        if delimiter in (ALIGNED, SPACES) and any(c.named and c.share >= HALF for c in found):
            break
        if not _no(delimiter, whole):
            found += _candidates(lines, delimiter, mapping)
    return found


@dataclass(frozen=True, slots=True)
class _Candidate:
    delimiter: str
    at: int
    cells: list[str]
    named: bool
    share: float
    stamped: bool = False
    remark: bool = False


def is_remark(line: str, delimiter: str) -> bool:
    """Whether a line is a remark: it starts with # and that is not the name of a column."""
    return line.startswith("#") and line[1:].lstrip()[:1] != delimiter.strip(" ")


def _candidates(lines: Sequence[str], delimiter: str, mapping: LogMapping) -> list[_Candidate]:
    """Return the header that a delimiter makes, if any: by names first, else by the rows."""
    if mapping.header_line is not None:
        at = mapping.header_line - 1
        cells = names_in(lines[at], delimiter)
        return [_weighed(lines, delimiter, at, cells, True)] if len(cells) > 1 else []
    known = {*mapping.columns, *mapping.time}
    for remarks in (False, True):
        for at, line in enumerate(lines):
            if not line.strip() or is_remark(line, delimiter) != remarks or _no(delimiter, line):
                continue
            cells = names_in(line.lstrip("# ") if remarks else line, delimiter)
            if len(cells) > 1 and _is_header(cells, known):
                return [_weighed(lines, delimiter, at, cells, True, remarks)]
    return _by_rows(lines, delimiter)


def _no(delimiter: str, line: str) -> bool:
    return delimiter not in line and not (delimiter == ALIGNED and "\t" in line)


def _is_header(cells: Sequence[str], mapped: set[str]) -> bool:
    """Whether cells are names: one of a time, or several that are known, and none a value."""
    if any(is_datelike(c) for c in cells):
        return False
    known = sum(c in mapped or bracketed(c) in mapped or is_known_name(c) for c in cells)
    some = any(is_time_name(c) for c in cells) or known > 1
    others = [c for c in cells if c and not is_time_name(c)]
    return some and (not others or not all(is_numberlike(c) for c in others))


def _by_rows(lines: Sequence[str], delimiter: str) -> list[_Candidate]:
    """Return the line above the first two like rows that hold values, where it is no row."""
    texts: list[tuple[int, list[str]]] = []
    for at, line in enumerate(lines):
        if not line.strip() or is_remark(line, delimiter) or _no(delimiter, line):
            continue
        cells = split(line, delimiter) or []
        if any(is_datelike(c) or is_numberlike(c) for c in cells) and len(cells) > 1:
            wide = [t for t in texts if not is_unit_line(t[1]) and not is_step_line(t[1])]
            same = [t for t in wide if len(t[1]) == len(cells)] or wide
            if not same:
                return []
            header = names_in(lines[same[-1][0]], delimiter)
            return [_weighed(lines, delimiter, same[-1][0], header, False)]
        texts.append((at, cells))
    return []


def _weighed(
    lines: Sequence[str], delimiter: str, at: int, cells: list[str], named: bool,
    remark: bool = False,
) -> _Candidate:  # fmt: skip
    """Return a header with the share of the rows below that fit it."""
    rows = [x for x in lines[at + 1 : at + 1 + PROBE_LINES] if x.strip() and not x.startswith("#")]
    least, most = _width(cells)
    pair = any(is_time_name(c) for c in cells) and len(_time_columns(cells)) == 1
    stamped = delimiter == SPACES and pair
    fit = sum(
        least <= len(c) <= most + 1
        for x in rows
        if (c := split(x, delimiter, stamped)) is not None
    )  # fmt: skip
    share = fit / len(rows) if rows else HALF
    return _Candidate(delimiter, at, cells, named, share, stamped, remark)


def _time_columns(cells: Sequence[str]) -> list[str]:
    return [c for c in cells if is_time_name(c)]


def _width(cells: Sequence[str]) -> tuple[int, int]:
    """Return the cells up to the last that has a name, and all of them."""
    named = [i for i, c in enumerate(cells) if c]
    return (named[-1] + 1 if named else len(cells)), len(cells)


def _first_line(lines: Sequence[str], delimiter: str, file: str) -> Dialect:
    """Return the dialect of a log in which no header was found: its first line is taken as one."""
    for at, line in enumerate(lines):
        if line.strip() and not line.startswith("#"):
            cells = split(line, delimiter)
            if cells is None:
                raise fail(file, "not readable as CSV: a quote that does not close", at + 1)
            least, most = _width(cells)
            return Dialect(delimiter, cells[:least], at, at + 1, least, most)
    raise fail(file, "empty; expected a header and rows")


def _dialect(lines: Sequence[str], found: _Candidate) -> Dialect:
    """Return the dialect of a header, with the units of the lines above and below it."""
    least, most = _width(found.cells)
    header, said = found.cells[:least], []
    if found.delimiter != ",":
        said.append(f"cells divided by {SHOWN.get(found.delimiter, found.delimiter)}")
    if found.remark:
        said.append(f"the header is the remark on line {found.at + 1}")
    rows_at = found.at + 1
    for at in range(rows_at, min(rows_at + UNIT_LINES, len(lines))):
        cells = split(lines[at], found.delimiter) or []
        if len(cells) < 2 or not (is_unit_line(cells) or is_step_line(cells)):
            break
        if is_unit_line(cells):
            header = with_units(header, cells)
        said.append(f"line {at + 1} holds units and the like, not readings")
        rows_at = at + 1
    above = split(lines[found.at - 1], found.delimiter) if found.at else None
    if above and len(above) > 1 and len(above) <= most + 1 and is_unit_line(above):
        header = with_units(header, above)
        said.append(f"line {found.at} holds units")
    return Dialect(found.delimiter, [bracketed(h) for h in header], found.at, rows_at, least, most,
                   found.stamped, tuple(said))  # fmt: skip
