"""Which column of a log is what: by its header, or by what a mapping says of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from riskrules.errors import LogError, Problem
from riskrules.logs.formats.headers import (
    CLOCK_NAMES,
    DATE_NAMES,
    TIME_NAMES,
    base_name,
    bracketed,
    unit_of,
)
from riskrules.logs.formats.source import fail
from riskrules.logs.mapping import LogMapping
from riskrules.logs.raw import RawLog
from riskrules.logs.variables import Column, understand

IGNORE = "ignore"
FORECAST = "forecast"


@dataclass(frozen=True, slots=True)
class Understood:
    """The columns of a log by their place: times, variables, the forecast mark, strangers.

    ``names`` are the headers as we write them. Two ``times`` are a date and a clock time.
    """

    names: list[str]
    times: list[int]
    found: dict[int, Column]
    forecast: int | None
    strangers: list[int]


def understood(raw: RawLog, mapping: LogMapping) -> Understood:
    """Return what each column of a log is.

    Raises
    ------
    LogError
        Where no time column is found or too many, no variable is known, a unit is missing or
        unknown, one variable stands twice, or a mapping names what we don't know.
    """
    names = [_ours(header, mapping) for header in raw.header]
    _check_mapping(names, mapping, raw)
    times = _times(raw, names, mapping)
    found: dict[int, Column] = {}
    problems = []
    for i, name in enumerate(names):
        column = None if i in times or name == IGNORE else understand(name)
        if isinstance(column, str):
            message = f"column '{raw.header[i][:80]}': {column}"
            problems.append(Problem(raw.file, raw.header_line, 0, message))
        elif column is not None:
            if column.name in (c.name for c in found.values()):
                message = f"{column.name} stands in two columns"
                problems.append(Problem(raw.file, raw.header_line, 0, message))
            found[i] = column
    if problems:
        raise LogError(problems)
    if not found:
        raise _nothing_known(raw)
    forecast = next((i for i, n in enumerate(names) if n.lower() == FORECAST), None)
    known = {*times, *found, forecast}
    strangers = [i for i, n in enumerate(names) if i not in known and n and n != IGNORE]
    return Understood(names, times, found, forecast, strangers)


def time_text(raw: RawLog, columns: Understood) -> Any:
    """Return the times of a log as they stand, named by their header as we write it."""
    first, *more = columns.times
    text = raw.table[first]
    if more:
        words = [_words(raw.table[i]) for i in columns.times]
        text = words[0].str.cat(words[1:], sep=" ").str.strip()
        text = text.where(text != "")
    return text.rename(columns.names[first])


def _words(column: Any) -> Any:
    return column.astype(object).where(column.notna(), "").astype("str").str.strip()


def _ours(header: str, mapping: LogMapping) -> str:
    """Return a header as we write it: what a mapping makes of it, else the header itself.

    A mapping may name it as it stands in the file, with its unit in brackets, or without the
    unit of a unit line; that unit then holds for what the mapping says without one.
    """
    plain = bracketed(header)
    if not mapping.columns:
        return plain
    known = {bracketed(theirs): ours for theirs, ours in mapping.columns.items()}
    for name in (header, plain):
        if name in mapping.columns or name in known:
            return mapping.columns.get(name) or known[name]
    bare = plain.rpartition(" [")[0]
    if unit_of(plain) and bare in known:
        ours = known[bare]
        lacking = isinstance(understand(ours), str) and not unit_of(ours)
        return f"{ours} [{unit_of(plain)}]" if lacking else ours
    return plain


def _check_mapping(names: list[str], mapping: LogMapping, raw: RawLog) -> None:
    """Refuse a mapping of one of the file's headers to something that we don't know."""
    for theirs, ours in mapping.columns.items():
        plain = base_name(ours) in (*TIME_NAMES, *DATE_NAMES, *CLOCK_NAMES, FORECAST, IGNORE)
        if ours in names and not plain and understand(ours) is None:
            message = f"column '{theirs}' is mapped to '{ours}', which is no variable that we know"
            expected = "expected such as 'air_temperature [degC]', 'time' or 'ignore'"
            raise fail(raw.file, f"{message}; {expected}", raw.header_line)


def _times(raw: RawLog, names: list[str], mapping: LogMapping) -> list[int]:
    """Return the columns that make a row's time: one, or a date and a clock time."""
    if mapping.time:
        wanted = [bracketed(t) for t in mapping.time]
        at = [_find(raw, t) for t in wanted]
        missing = [t for t, i in zip(mapping.time, at, strict=True) if i is None]
        if missing:
            shown = ", ".join(raw.header[:12])
            message = f"no column '{missing[0]}', which the mapping names for the time"
            raise fail(raw.file, f"{message}; expected one of {shown}", raw.header_line)
        return [i for i in at if i is not None]
    base = [base_name(n) for n in names]
    whole = [i for i, n in enumerate(base) if n in TIME_NAMES]
    dates = [i for i, n in enumerate(base) if n in DATE_NAMES]
    clocks = [i for i, n in enumerate(base) if n in CLOCK_NAMES]
    if len(dates) == 1 and len(clocks) == 1 and set(whole) <= set(clocks):
        return [dates[0], clocks[0]]
    if not whole and len(dates) == 1:
        return dates
    if len(whole) == 1 and not dates:
        return whole
    shown = ", ".join(names[i] for i in [*whole, *dates]) or "none among " + ", ".join(names[:12])
    message = f"{len(whole) + len(dates)} time columns ({shown[:400]}); expected one named 'time'"
    raise fail(raw.file, message, raw.header_line)


def _find(raw: RawLog, name: str) -> int | None:
    headers = [bracketed(h) for h in raw.header]
    bare = [h.rpartition(" [")[0] or h for h in headers]
    return next((names.index(name) for names in (headers, bare) if name in names), None)


def _nothing_known(raw: RawLog) -> LogError:
    known = "air_temperature [degC], relative_humidity [%], surface_wetness [1], rain [mm]"
    shown = ", ".join(raw.header[:12])[:400]
    message = f"no column that we know among {shown}; expected some of {known}"
    return fail(raw.file, message, raw.header_line)
