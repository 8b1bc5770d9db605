"""Zones: clock times to UTC for whole columns, with the hours that come twice or never."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections import Counter
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import numpy.typing as npt

from riskrules.errors import LogError, Problem
from riskrules.logs.readings import Ints
from riskrules.logs.times.text import Mask

PROBE_DAYS = 5
"""No zone has changed its offset there and back in fewer days since 1970. (assumption)"""
USUAL_MONTHS = 3
"""An offset held for fewer months of a year, as in Ramadan, is not its standard. (assumption)"""
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_FIXED = re.compile(r"(?:utc|gmt)?(?P<sign>[-+])(?P<hours>\d{1,2})(?::?(?P<minutes>\d{2}))?")


@dataclass(frozen=True, slots=True)
class Local:
    """Clock times placed in a zone, each array of shape (n,).

    ``first`` and ``second`` are the two times [s since 1970 UTC] of a clock time that comes
    twice; elsewhere they are equal, or, for one that never comes, are not to be used. ``turn``
    numbers the change of the clock that a doubtful time belongs to.
    """

    first: Ints
    second: Ints
    twice: Mask
    never: Mask
    turn: Ints


@dataclass(frozen=True, slots=True)
class Zone:
    """A named zone, or a fixed offset [s east of UTC] where it has no name."""

    info: ZoneInfo | None
    offset: int = 0

    def place(self, local: Ints, standard: bool) -> Local:
        """Return clock times [s since 1970 on the clock's face] as UTC.

        ``standard`` holds the clock to the zone's standard time all year: in each year the
        least offset that holds for USUAL_MONTHS months or more.
        """
        if self.info is None:
            return _plain(local - self.offset)
        if not len(local):
            return _plain(local)
        years = local.astype("M8[s]").astype("M8[Y]").astype(np.int64) + 1970
        if standard:
            unique, which = np.unique(years, return_inverse=True)
            offset = np.array([_standard(self.info, int(y)) for y in unique], dtype=np.int64)
            return _plain(local - offset[which])
        turns, offsets = _turns(self.info, int(years.min()), int(years.max()))
        return _placed(local, turns, offsets)


def zone_of(name: str, file: str) -> Zone:
    """Return the zone of a name such as Europe/Paris, UTC or +02:00; LogError for no such zone.

    Examples
    --------
    >>> zone_of("+05:45", "a.csv").offset
    20700
    """
    fixed = _FIXED.fullmatch(name.strip().lower())
    if fixed and int(fixed["hours"]) <= 15 and int(fixed["minutes"] or 0) < 60:
        east = int(fixed["hours"]) * 3600 + int(fixed["minutes"] or 0) * 60
        return Zone(None, -east if fixed["sign"] == "-" else east)
    try:
        return Zone(ZoneInfo(name))
    except (ZoneInfoNotFoundError, ValueError, OSError):
        message = f"no zone '{name}'; expected a name such as America/Chicago, UTC or +02:00"
        raise LogError([Problem(file, 0, 0, message)]) from None


def _plain(time: Ints) -> Local:
    no = np.zeros(len(time), dtype=bool)
    return Local(time, time, no, no, np.zeros(len(time), dtype=np.int64))


def _placed(local: Ints, turns: Ints, offsets: Ints) -> Local:
    """Place clock times by a zone's turns [s UTC] and the offsets before, between and after them.

    As for datetime's ``fold``: the clock's face changes at the later of the two faces for the
    first pass, at the earlier for the second.
    """
    before, after = offsets[:-1], offsets[1:]
    late = np.searchsorted(turns + np.maximum(before, after), local, side="right")
    early = np.searchsorted(turns + np.minimum(before, after), local, side="right")
    first, second = offsets[late], offsets[early]
    return Local(local - first, local - second, first > second, first < second, early)


@lru_cache(maxsize=64)
def _turns(zone: ZoneInfo, first: int, last: int) -> tuple[Ints, npt.NDArray[np.int64]]:
    """Return when the zone's offset changes [s UTC] in some years, and the offsets around."""
    start = (datetime(max(first, 1), 1, 1, tzinfo=UTC) - EPOCH) // timedelta(seconds=1)
    end = (datetime(min(last, 9998) + 1, 1, 1, tzinfo=UTC) - EPOCH) // timedelta(seconds=1)
    step = PROBE_DAYS * 86_400
    probes = range(start - step, end + 2 * step, step)
    found = [_offset(zone, t) for t in probes]
    turns, offsets = [], [found[0]]
    for at, before, after in zip(probes, found, found[1:], strict=False):
        if before != after:
            turns.append(_turn(zone, at, after))
            offsets.append(after)
    return np.array(turns, dtype=np.int64), np.array(offsets, dtype=np.int64)


def _turn(zone: ZoneInfo, start: int, after: int) -> int:
    """Return the first second of an offset that begins within PROBE_DAYS of a time."""
    span = range(start, start + PROBE_DAYS * 86_400 + 1)
    return span[bisect_left(span, True, key=lambda t: _offset(zone, t) == after)]


def _offset(zone: ZoneInfo, time: int) -> int:
    """Return the zone's offset at a time. [s east of UTC]"""
    offset = (EPOCH + timedelta(seconds=time)).astimezone(zone).utcoffset()
    return int((offset or timedelta()).total_seconds())


@lru_cache(maxsize=256)
def _standard(zone: ZoneInfo, year: int) -> int:
    """Return a year's standard offset. [s east of UTC]"""
    middles = (datetime(year, month, 15, tzinfo=UTC) - EPOCH for month in range(1, 13))
    months = Counter(_offset(zone, int(m.total_seconds())) for m in middles)
    return min(offset for offset, n in months.items() if n >= USUAL_MONTHS)
