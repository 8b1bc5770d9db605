"""What a log suggests about the journal: proposed to a person, never entered by itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid4

import numpy as np
import numpy.typing as npt

from riskrules.facts.derive import Place
from riskrules.facts.sun import sun_times
from riskrules.journal.events import events_of
from riskrules.journal.records import Record, RowCover
from riskrules.journal.store import Journal
from riskrules.logs.events import Event, of_block
from riskrules.logs.readings import Readings
from riskrules.logs.variables import Floats

INSIDE, OUTSIDE = "air_temperature", "air_temperature_outside"
CLOSE_K = 0.5
"""Inside and outside this close all night is what no cover would do on a clear, calm night. [K]
(assumption; about what two good sensors differ by)"""
COVERED_SHARE = 0.9
"""Share of the night for which there have to be both readings. [1] (assumption)"""
LEAST_H = 4.0
"""A shorter night, or rest of one, says nothing. [h] (assumption)"""
PAIRED_S = 1800
"""Readings of both sensors at most this far apart are compared. [s] (assumption)"""


@dataclass(frozen=True, slots=True)
class Hint:
    """Something that a log suggests and the journal does not say.

    ``first`` to ``last`` is the stretch of log that it rests on [s]; ``most_k`` is the most that
    inside and outside differed in it. [K]
    """

    block: str
    first: int
    last: int
    most_k: float
    sentence: str

    def record(self, who: str, now: int, known: UUID | None = None) -> Record:
        """Return the record that would be entered, once somebody has said that it is so."""
        return Record(
            id=known or uuid4(),
            block=self.block or None,
            time=self.first,
            body=RowCover(what="off"),
            who=who,
            made=now,
            note="suggested by the log, confirmed by hand",
        )


def suggest(
    journal: Journal, readings: Sequence[Readings], place: Place, block: str, now: int
) -> list[Hint]:
    """Return what the logs of a block suggest about its row cover.

    A night through which the air inside followed that outside closely, while the journal says the
    cover was on, suggests that it was off. A cloudy or windy night does the same, which is why it
    is only asked. A night with too few readings suggests nothing.

    Parameters
    ----------
    readings : sequence of Readings
        Logs of the block, and of the air outside (variables named ``_outside``).
    now : int
        Nights that end later are left out. [s since 1970 UTC]
    """
    inside, outside = _measured(readings, INSIDE, now), _measured(readings, OUTSIDE, now)
    if not len(inside[0]) or not len(outside[0]):
        return []
    covers = [e for e in of_block(events_of(journal, block), block) if e.event == "row_cover"]
    found = []
    for dusk, dawn in _nights(int(inside[0][0]), min(int(inside[0][-1]), now), place):
        apart = _apart(inside, outside, dusk, dawn)
        if apart is None or apart > CLOSE_K or not _on_throughout(covers, dusk, dawn):
            continue
        found.append(Hint(block, dusk, dawn, apart, _sentence(block, dawn, apart)))
    return found


def _sentence(block: str, dawn: int, apart: float) -> str:
    day = datetime.fromtimestamp(dawn, UTC).date()
    return (
        f"{block}: the journal says the row cover was on in the night to {day}, but inside and "
        f"outside never differed by more than {apart:.1f} K. Had it come off? "
        "A cloudy or windy night looks the same."
    )


def _measured(
    readings: Sequence[Readings], name: str, now: int
) -> tuple[npt.NDArray[np.int64], Floats, int]:
    """Return the times, values and step of the first log that measured a variable."""
    for each in readings:
        if name not in each.values:
            continue
        keep = ~each.forecast & (each.time <= now) & (each.cause[name] == 0)
        keep &= ~np.isnan(each.values[name])
        if keep.any():
            return each.time[keep], each.values[name][keep], each.step
    return np.zeros(0, dtype=np.int64), np.zeros(0), 0


def _nights(first: int, last: int, place: Place) -> list[tuple[int, int]]:
    """Return sunset and sunrise of each whole night between two times."""
    days = [datetime.fromtimestamp(t, UTC).date() for t in (first, last)]
    day = timedelta(days=1)
    _, up, down = sun_times(days[0] - day, days[1] + day, place.latitude, place.longitude)
    pairs = zip(down[:-1].tolist(), up[1:].tolist(), strict=True)
    return [(a, b) for a, b in pairs if 0 <= a < b and first <= a and b <= last]


def _apart(
    inside: tuple[npt.NDArray[np.int64], Floats, int],
    outside: tuple[npt.NDArray[np.int64], Floats, int],
    dusk: int,
    dawn: int,
) -> float | None:
    """Return the most that inside and outside differ in a night; None where too few say. [K]"""
    time, value, step = inside
    night = (time > dusk) & (time <= dawn)
    time, value = time[night], value[night]
    at = np.clip(np.searchsorted(outside[0], time), 1, max(len(outside[0]) - 1, 1))
    at = np.minimum(at, len(outside[0]) - 1)
    nearer = np.abs(outside[0][at - 1] - time) < np.abs(outside[0][at] - time)
    at = np.where(nearer, at - 1, at)
    paired = np.abs(outside[0][at] - time) <= PAIRED_S
    seconds = int(paired.sum()) * step
    if seconds < COVERED_SHARE * (dawn - dusk) - step or seconds < LEAST_H * 3600:
        return None
    return float(np.abs(value[paired] - outside[1][at[paired]]).max())


def _on_throughout(covers: Sequence[Event], dusk: int, dawn: int) -> bool:
    """Whether the journal says that the cover was on all night."""
    before = [e for e in covers if e.time <= dusk]
    return bool(before) and all(e.what == "on" for e in (before[-1], *_within(covers, dusk, dawn)))


def _within(covers: Sequence[Event], dusk: int, dawn: int) -> list[Event]:
    return [e for e in covers if dusk < e.time < dawn]
