"""Headers of text logs: names with their units, time columns, unit lines, zones."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache

from riskrules.errors import LogError
from riskrules.logs.variables import is_known

TIME_NAMES = ("time", "timestamp", "datetime", "date_time", "time_stamp", "date_and_time")
"""Names of a column that holds date and time of day."""
DATE_NAMES = ("date",)
CLOCK_NAMES = ("time", "clock", "time_of_day")
_UNIT = re.compile(
    r"°?[cfk]|[º˚°]\s?[cf]|deg(?:rees?)?[ _]?[cf]?\w*|celsius|fahrenheit|kelvin|℃|℉"
    r"|%(?:\s?rh)?|rh\s?%|percent|pct|fraction|mm|cm|in\.?|inch(?:es)?|l/m[2²]|kg m-2"
    r"|m/s|m s-1|m\.s-1|ms-1|km/h|kmh|kph|mph|kt|kts|knots?|[0-9]+\.\.[0-9]+|0-1|1|-"
    r"|h?pa|kpa|mbar|m?v|volts?|w/m[2²]|w m-2|min|minutes|m?s|sec|seconds|unitless|none|counts?"
    r"|ts|rn|(?:y{2,4}|d{1,2}|m{1,2})[-/.]\S*(?:[ t]h{1,2}:mm(?::ss)?)?|hh:mm(?::ss)?|iso ?8601"
    r"|(?:utc|gmt)(?:[-+]\d{1,2}(?::?\d{2})?)?",
    re.IGNORECASE,
)
_WORDS_OF_STEP = {"avg", "smp", "min", "max", "tot", "std", "mean", "sum", "total", "sample",
                  "average", "wvc", ""}  # fmt: skip
_BRACKET = re.compile(r"^(?P<name>[^\[\]]+?)\s*\[(?P<unit>[^\[\]]*)\]$")
_PAREN = re.compile(r"^(?P<name>[^()\[\]]+?),?\s*\(\s*(?P<unit>[^()]*?)\s*\)$")
_COMMA = re.compile(r"^(?P<name>[^,\[\]()]+?)\s*,\s*(?P<unit>[^,()]+?)\s*(?:\([^()]*\))?$")
_ZONE = re.compile(r"(?:utc|gmt)?\s?[-+]\d{1,2}(?::?\d{2})?|utc|gmt|z|\w+/\w+(?:/\w+)?", re.I)
_ZONE_LINE = re.compile(
    r"^[#;\s\"']*(?:time ?zone|utc ?offset|tz|zone)[\"']?\s*[:=,;\t ]\s*[\"']?"
    r"(?P<zone>[^\"',;\t]+)",
    re.IGNORECASE,
)
_DATE = re.compile(
    r"^[\"']?(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/. ](?:\d{1,2}|[a-z]{3,9})[-/. ]\d{2,4}"
    r"|\d{8}t?\d{0,6}|\d{1,2}:\d{2})",
    re.IGNORECASE,
)
_NUMBER = re.compile(r"^[-+\u2212]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:e[-+]?\d+)?$", re.IGNORECASE)


@lru_cache(maxsize=1024)
def bracketed(name: str) -> str:
    """Return a header with its unit in brackets, where it stands in parentheses or after a comma.

    Examples
    --------
    >>> bracketed("Temp, °F (sensor 2)"), bracketed("RH (%)"), bracketed("Temp (inside)")
    ('Temp [°F]', 'RH [%]', 'Temp (inside)')
    """
    name = " ".join(name.split())
    if "[" in name:
        return name
    for found in filter(None, (_PAREN.match(name), _COMMA.match(name))):
        unit = found["unit"].strip()
        is_time = is_time_name(found["name"]) and _ZONE.fullmatch(unit)
        if _UNIT.fullmatch(unit) or is_time:
            return f"{found['name'].strip()} [{unit}]"
    return name


@lru_cache(maxsize=1024)
def base_name(name: str) -> str:
    """Return a header without its unit, in small letters with underlines."""
    found = _BRACKET.match(name.strip())
    plain = (found["name"] if found else name).strip().lower()
    return re.sub(r"[\s/_]+", "_", plain)


def unit_of(name: str) -> str:
    """Return the unit in a header's brackets, empty where it has none."""
    found = _BRACKET.match(name.strip())
    return found["unit"].strip() if found else ""


@lru_cache(maxsize=1024)
def is_time_name(name: str) -> bool:
    """Whether a header names a column of times, dates or clock times."""
    return base_name(bracketed(name) if "," in name or "(" in name else name) in (
        *TIME_NAMES, *DATE_NAMES, *CLOCK_NAMES
    )  # fmt: skip


def is_known_name(name: str) -> bool:
    """Whether a header names a time or one of our variables."""
    return is_time_name(name) or is_known(base_name(bracketed(name)))


def is_datelike(cell: str) -> bool:
    """Whether a cell may be a date or a time of day."""
    return bool(_DATE.match(cell))


def is_numberlike(cell: str) -> bool:
    """Whether a cell may be a number, with a point or a comma."""
    return bool(_NUMBER.match(cell))


def is_unit_line(cells: Sequence[str]) -> bool:
    """Whether a line holds nothing but units, at least one of which can be nothing else."""
    some = [c.strip("[]() ") for c in cells if c]
    clear = any(re.search(r"[a-zA-Z%°℃℉]", c) for c in some)
    return clear and all(_UNIT.fullmatch(c) for c in some if c)


def is_step_line(cells: Sequence[str]) -> bool:
    """Whether a line says how each column was put together within a step: Avg, Smp."""
    return any(cells) and all(c.strip().lower() in _WORDS_OF_STEP for c in cells)


def with_units(header: Sequence[str], units: Sequence[str]) -> list[str]:
    """Return headers joined to the units of a unit line, as ``name [unit]``."""
    joined = []
    for name, unit in zip(header, [*units, *[""] * len(header)], strict=False):
        unit = unit.strip("[]() ")
        plain = is_time_name(name) and not (_ZONE.fullmatch(unit) or unit in ("s", "ms"))
        joined.append(name if not name or not unit or "[" in name or plain else f"{name} [{unit}]")
    return joined


def stated_zone(header: Sequence[str], preamble: Sequence[str]) -> str | None:
    """Return the zone that a time column's header or a line above it states, None for none.

    Examples
    --------
    >>> stated_zone(["Date Time [GMT-05:00]", "RH [%]"], [])
    'GMT-05:00'
    """
    for name in header:
        if is_time_name(name) and (zone := _zone(unit_of(name))):
            return zone
    for line in preamble:
        found = _ZONE_LINE.match(line)
        if found and (zone := _zone(found["zone"].strip())):
            return zone
    return None


def _zone(text: str) -> str | None:
    from riskrules.logs.times.zone import zone_of

    if not _ZONE.fullmatch(text):
        return None
    name = "UTC" if text.lower() in ("z", "utc", "gmt") else text.replace(" ", "")
    try:
        zone_of(name, "")
    except LogError:
        return None
    return name
