"""A daily pattern that is turned: warm by night and cool by day, from a wrong zone or clock."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from riskrules.logs.judging.verdict import Verdicts
from riskrules.logs.readings import Ints
from riskrules.logs.troubles import Trouble
from riskrules.logs.variables import Floats

if TYPE_CHECKING:
    from riskrules.facts.derive import Place

DAY_S = 86_400
TILT = 23.44
"""Tilt of the earth's axis. [degrees] (memory: textbook)"""
SHORTEST_DAY = 3.0
"""With half a day shorter than this the sun says little of the hour. [h] (assumption)"""
AIR = ("air_temperature", "air_temperature_outside")


class _Turned(NamedTuple):
    name: str
    hour: float
    shift: float
    days: int


def day_turned(verdicts: Verdicts, place: Place | None) -> None:
    """Doubt all values of a log whose days are warmest in the night by the position of the sun.

    Decision
    --------
    The times are wrong, not the values. But a fact is about a time: whoever asks how humid the
    night was gets the afternoon. And the facts carry a cause only where a value is an interval,
    so a mere mark would change nothing. So every value is suspect and becomes the interval of
    all values within the estimated shift and an hour more, either way: if the clock is off by
    no more, the true value of that time is among them. It stays an interval rather than
    unknown because on an even day it may still tell.

    A log is turned where, over at least ``turned_days`` days with a range of ``turned_range``,
    the mean solar hour of the daily maximum lies ``turned_margin`` or more inside the night.
    The estimated shift is that hour less ``usual_hour``: how far the log's clock is ahead.
    Readings in the bed are not asked: soil is warmest in the evening.
    """
    turned = _find(verdicts, place) if place is not None else None
    if turned is None:
        return
    ahead = "ahead" if turned.shift > 0 else "behind"

    def message(_: int) -> str:
        return (
            f"{turned.name} is highest at about {turned.hour:.0f} h by the sun on "
            f"{turned.days} days; expected by day. The clock is about {abs(turned.shift):.0f} h "
            f"{ahead}, or the zone is wrong"
        )

    for name in sorted(verdicts.values):
        at = verdicts.usable(name)
        if len(at):
            ends = _around(verdicts.rows.time[at], verdicts.values[name][at], turned.shift)
            said = message if name == turned.name else None
            verdicts.doubt(name, at, Trouble.DAY_TURNED, said, *ends)


def _find(verdicts: Verdicts, place: Place | None) -> _Turned | None:
    own = verdicts.limits.own
    name = next((n for n in AIR if n in verdicts.values), None)
    if place is None or name is None or verdicts.rows.placed == "in_bed":
        return None
    at = verdicts.usable(name)
    solar = verdicts.rows.time[at] + int(place.longitude / 15.0 * 3600)
    days, hours = _highest(solar, verdicts.values[name][at], own.turned_range)
    if len(days) < own.turned_days:
        return None
    mean = np.exp(2j * np.pi * hours / 24).mean()
    hour = float(np.angle(mean) * 12 / np.pi) % 24
    half = float(_half_day(days, place.latitude).mean())
    from_noon = abs(_wrapped(hour - 12))
    if abs(mean) < own.turned_together or half < SHORTEST_DAY:
        return None
    if from_noon < half + own.turned_margin:
        return None
    return _Turned(name, hour, _wrapped(hour - own.usual_hour), len(days))


def _highest(solar: Ints, value: Floats, least_range: float) -> tuple[Ints, Floats]:
    """Return the solar days that change enough, and the solar hour of each one's maximum.

    A day must be seen in each quarter, or a gap would make its maximum.
    """
    none = np.zeros(0, dtype=np.int64), np.zeros(0)
    if not len(solar):
        return none
    day = solar // DAY_S
    begins = np.flatnonzero(np.diff(day, prepend=day[0] - 1))
    which = np.repeat(np.arange(len(begins)), np.diff(np.append(begins, len(day))))
    top, bottom = np.maximum.reduceat(value, begins), np.minimum.reduceat(value, begins)
    quarters = np.bitwise_or.reduceat(1 << (solar % DAY_S * 4 // DAY_S), begins)
    good = (top - bottom >= least_range) & (quarters == 0b1111)
    highest = np.flatnonzero(value == top[which])
    first = highest[np.unique(which[highest], return_index=True)[1]]
    return day[begins][good], (solar[first] % DAY_S / 3600.0)[good]


def _half_day(days: Ints, latitude: float) -> Floats:
    """Return half the time from sunrise to sunset of days counted from 1970. [h]

    From the sun's declination as a cosine over the year, good to a degree (memory: textbook).
    """
    tilt = -np.radians(TILT) * np.cos(2 * np.pi * (days % 365.2425 + 10) / 365.2425)
    cosine = -np.tan(np.radians(np.clip(latitude, -89.9, 89.9))) * np.tan(tilt)
    return np.asarray(np.degrees(np.arccos(np.clip(cosine, -1, 1))) / 15.0)


def _wrapped(hours: float) -> float:
    """Return hours as -12 up to 12."""
    return (hours + 12) % 24 - 12


def _around(time: Ints, value: Floats, shift: float) -> tuple[Floats, Floats]:
    """Return the least and the most of the values within the shift and an hour more."""
    import pandas as pd

    series = pd.Series(value, index=pd.to_datetime(time, unit="s"))
    width = pd.Timedelta(hours=2 * (abs(shift) + 1))
    windows = series.rolling(width, center=True, closed="both")
    return windows.min().to_numpy(), windows.max().to_numpy()
