"""Sunrise and sunset at the farm, from the library astral."""

from __future__ import annotations

from datetime import date, timedelta, timezone
from functools import lru_cache

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.int64]


@lru_cache(maxsize=64)
def _of_year(year: int, latitude: float, longitude: float) -> tuple[tuple[int, int], ...]:
    """Return sunrise and sunset of each day of a year. [s UTC]"""
    from astral import Observer
    from astral.sun import sunrise, sunset

    place = Observer(latitude, longitude)
    # astral counts days in the zone it is given; in UTC it loses a sunset near midnight
    zone = timezone(timedelta(hours=round(longitude / 15)))
    found = []
    day = date(year, 1, 1)
    while day.year == year:
        times = []
        for sun in (sunrise, sunset):
            try:
                times.append(int(sun(place, day, tzinfo=zone).timestamp()))
            except ValueError:  # the sun stays up, or down
                times.append(-1)
        found.append((times[0], times[1]))
        day += timedelta(days=1)
    return tuple(found)


def sun_times(
    first: date, last: date, latitude: float, longitude: float
) -> tuple[list[date], Ints, Ints]:
    """Return days with their sunrise and sunset.

    Parameters
    ----------
    first, last : date
        Days, both included.
    latitude, longitude : float
        Place. [degrees north, degrees east]

    Returns
    -------
    days : list of date
    sunrise, sunset : ndarray, shape (n,)
        [s since 1970 UTC]; -1 on days when the sun does not rise or set.

    Notes
    -----
    astral's sunrise and sunset: the upper edge of the sun at the horizon, refraction included.
    """
    days, up, down = [], [], []
    day = first
    while day <= last:
        rise, fall = _of_year(day.year, latitude, longitude)[day.timetuple().tm_yday - 1]
        days.append(day)
        up.append(rise)
        down.append(fall)
        day += timedelta(days=1)
    return days, np.array(up, dtype=np.int64), np.array(down, dtype=np.int64)
