"""Read the typical meteorological year that the package pvlib ships: real hourly weather.

The file is public data (a TMY3 year). We read it from where pvlib is installed, without
importing pvlib.
"""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import numpy as np

from riskrules.logs.read import fail, tidy
from riskrules.logs.readings import Readings, missing_cause
from riskrules.logs.variables import VARIABLES

PREFIX = "pvlib:"
YEAR = 2025
"""Calendar year the rows are laid on: months of a typical year come from different ones."""
TENTHS = 0.1
"""The rain column is labelled mm but holds tenths (computed: 834 mm a year, not 8.3 m)."""
COLUMNS = {
    "Dry-bulb (C)": ("air_temperature", 1.0),
    "Dew-point (C)": ("dew_point_temperature", 1.0),
    "RHum (%)": ("relative_humidity", 1.0),
    "Wspd (m/s)": ("wind_speed", 1.0),
    "Lprecip depth (mm)": ("thickness_of_rainfall_amount", TENTHS),
}


def locate(name: str) -> Path:
    """Return the path of ``pvlib:FILE``; LogError where pvlib or the file is missing."""
    spec = find_spec("pvlib")
    if spec is None or spec.origin is None:
        raise fail(name, "pvlib is not installed; expected `pip install riskrules[weather]`")
    path = Path(spec.origin).parent / "data" / name.removeprefix(PREFIX)
    if not path.exists():
        raise fail(name, f"no such file in {path.parent}")
    return path


def read_typical_year(path: Path, year: int = YEAR) -> Readings:
    """Read a TMY3 file, its rows laid on one calendar year in local standard time.

    Each row stands for the hour that ends at its time (24:00 belongs to its date). Values below
    -9000 are missing.
    """
    import pandas as pd

    with path.open(encoding="ascii") as file:
        head = file.readline().split(",")
    table = pd.read_csv(
        path, skiprows=1, usecols=["Date (MM/DD/YYYY)", "Time (HH:MM)", *COLUMNS], encoding="ascii"
    )
    date = table["Date (MM/DD/YYYY)"].str
    month, day = date[:2].astype(int), date[3:5].astype(int)
    hour = table["Time (HH:MM)"].str[:2].astype(int)
    stamp = pd.to_datetime({"year": year, "month": month, "day": day}).dt.as_unit("s")
    local = stamp.astype("int64").to_numpy() + hour.to_numpy() * 3600
    offset = float(head[3])
    values, cause = {}, {}
    for column, (name, scale) in COLUMNS.items():
        raw = table[column].to_numpy(dtype=float)
        variable = VARIABLES[name]
        value = raw * scale
        bad = (raw <= -9000) | (value < variable.least) | (value > variable.most)
        values[name] = np.where(bad, np.nan, value)
        cause[name] = np.where(bad, int(missing_cause(name)), 0).astype(np.int64)
    time = (local - int(offset * 3600)).astype(np.int64)
    none = np.zeros(len(time), dtype=bool)
    return tidy(Readings(time, 3600, values, cause, none, (path.name,), [], len(time)), path.name)
