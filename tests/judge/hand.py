"""Small readings written by hand: a start, a step and lists of numbers, None for missing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from riskrules.facts.derive import Place
from riskrules.logs.limits import load_limits
from riskrules.logs.readings import Readings, missing_cause
from riskrules.logs.troubles import Trouble

LIMITS = load_limits()
START = 1_781_049_600  # 2026-06-10 00:00 UTC
HOUR = 3600
T, RH, DEW = "air_temperature", "relative_humidity", "dew_point_temperature"
WET, RAIN, OUT = "surface_wetness", "thickness_of_rainfall_amount", "air_temperature_outside"
PLACE = Place(40.0, 0.0, "UTC")
"""On the meridian of its clock: the sun is highest near 12:00."""
Column = Sequence[float | None]


def log(
    step_h: float = 1, placed: str = "under_cover", forecast: int = 0, **columns: Column
) -> Readings:
    """Return readings; the last ``forecast`` rows are a forecast."""
    n = len(next(iter(columns.values())))
    step = int(step_h * HOUR)
    values = {
        k: np.array([np.nan if x is None else x for x in c], dtype=float)
        for k, c in columns.items()
    }
    cause = {
        k: np.where(np.isnan(v), int(missing_cause(k)), 0).astype(np.int64)
        for k, v in values.items()
    }
    time = START + step * np.arange(1, n + 1, dtype=np.int64)
    ahead = np.arange(n) >= n - forecast
    lines = np.arange(2, n + 2, dtype=np.int64)
    return Readings(
        time, step, values, cause, ahead, ("a.csv",), rows_read=n, line=lines,
        source=np.zeros(n, dtype=np.int64), placed=placed,
    )  # fmt: skip


def moving(mean: float, n: int, by: float = 0.1) -> list[float]:
    """Return values that never stand still."""
    return [mean + by * (i % 3) for i in range(n)]


def flagged(rows: Readings, name: str, trouble: Trouble) -> list[int]:
    """Return the rows that have a trouble among their reasons."""
    return np.flatnonzero(rows.reasons[name] & int(trouble)).tolist()


def same(one: Readings, other: Readings) -> bool:
    """Whether two readings are equal in all that they say of values."""
    parts = ("values", "cause", "low", "high", "flags", "reasons")
    for part in parts:
        a, b = getattr(one, part), getattr(other, part)
        if a.keys() != b.keys():
            return False
        if not all(np.array_equal(a[k], b[k], equal_nan=a[k].dtype.kind == "f") for k in a):
            return False
    return [str(n) for n in one.notes] == [str(n) for n in other.notes]
