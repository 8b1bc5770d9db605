"""The typical year that pvlib ships, read without any of our code, and hours counted in it.

Public data: a TMY3 file of Greensboro, North Carolina, in the package pvlib. Each row stands for
the hour that ends at its time; `pieces` cuts those hours at any moments that matter, so that an
hour which the night begins in counts with its part.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib

FILE = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
OFFSET_H = -5
YEAR = 2025
HOUR = 3600
CONTRADICTS = 5.0
"""Humidity and dew point that differ by more are both doubted. [%] (assumption of limits.yaml)"""


def plain_year() -> pd.DataFrame:
    """Return the year with a column ``end`` [s since 1970 UTC] and values in our units."""
    raw = pd.read_csv(FILE, skiprows=1)
    date = pd.to_datetime(raw["Date (MM/DD/YYYY)"], format="%m/%d/%Y")
    hour = raw["Time (HH:MM)"].str.split(":").str[0].astype(int)
    ends = []
    for month, day, h in zip(date.dt.month, date.dt.day, hour, strict=True):
        local = pd.Timestamp(YEAR, month, day) + pd.Timedelta(hours=int(h))
        ends.append(int((local - pd.Timedelta(hours=OFFSET_H)).timestamp()))
    found = pd.DataFrame(
        {
            "end": ends,
            "t": raw["Dry-bulb (C)"].astype(float),
            "dew": raw["Dew-point (C)"].astype(float),
            "rh": raw["RHum (%)"].astype(float),
            "wind": raw["Wspd (m/s)"].astype(float),
            "rain": raw["Lprecip depth (mm)"].astype(float) / 10,
        }
    )
    implied = 100 * _saturated(found["dew"]) / _saturated(found["t"])
    apart = (implied - found["rh"]).abs() > CONTRADICTS
    found["least_rh"] = np.where(apart, np.minimum(implied, found["rh"]), found["rh"])
    found["most_rh"] = np.where(apart, np.maximum(implied, found["rh"]), found["rh"])
    return found


def _saturated(air: pd.Series[float]) -> pd.Series[float]:
    """Return the saturation vapour pressure over water [hPa]: Bolton 1980, eq. 10 (memory)."""
    return 6.112 * np.exp(17.67 * air / (air + 243.5))


def pieces(year: pd.DataFrame, cuts: Iterable[int]) -> pd.DataFrame:
    """Return the hours cut at some moments: ``start``, ``end``, ``h`` and each hour's values."""
    first = int(year["end"].iloc[0]) - HOUR
    last = int(year["end"].iloc[-1])
    edges = sorted({first, *year["end"], *(c for c in cuts if first < c < last)})
    cut = pd.DataFrame({"start": edges[:-1], "end": edges[1:]})
    row = np.searchsorted(year["end"].to_numpy(), cut["end"].to_numpy(), side="left")
    for name in ("t", "dew", "rh", "least_rh", "most_rh", "wind", "rain"):
        cut[name] = year[name].to_numpy()[row]
    cut["h"] = (cut["end"] - cut["start"]) / HOUR
    cut["rain_mm"] = cut["rain"] * cut["h"]  # the hour's rain falls evenly over it
    return cut


def within(cut: pd.DataFrame, start: int, end: int) -> pd.DataFrame:
    """Return the pieces between two moments that are edges."""
    return cut[(cut["start"] >= start) & (cut["end"] <= end)]
