"""How TMY3 and EPW are laid out: positions, missing codes, and what their columns are to us."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
LAID_ON = 2025
"""Calendar year the months of a typical year are laid on: one without a leap day. (assumption)"""
TENTHS = 0.1
TENTHS_ROWS, TENTHS_SHARE = 20, 0.9
"""Wet hours, and the share of them that are hundredths of an inch in tenths of a millimetre, from
which on a rain column is taken for tenths. (assumption; computed: Greensboro 98 % of 358 hours,
834 mm a year in tenths; Sand Point 15 %, with values up to 753, is not in tenths)"""
DATE, CLOCK = "Date (MM/DD/YYYY)", "Time (HH:MM)"
TMY3_HEADER = f"{DATE},{CLOCK}".encode()


@dataclass(frozen=True, slots=True)
class Measured:
    """A column of a typical year: its name there, ours, and the numbers that mean missing.

    Numbers up to ``down_to`` or from ``up_to`` on are missing. ``period`` names the column that
    says over how many hours a depth of rain fell.
    """

    column: str
    ours: str
    down_to: float = -np.inf
    up_to: float = np.inf
    period: str = ""

    def is_missing(self, number: Floats) -> npt.NDArray[np.bool_]:
        """Return which numbers stand for missing."""
        return np.asarray((number <= self.down_to) | (number >= self.up_to))


@dataclass(frozen=True, slots=True)
class Kind:
    """A format: lines counted from 1 for ``header_line`` (0: none), from 0 for ``rows_at``."""

    name: str
    header_line: int
    rows_at: int
    offset_at: int
    time: tuple[str, ...]
    measured: tuple[Measured, ...]
    names: tuple[str, ...] = ()
    tenths: bool = False

    def asked(self) -> list[str]:
        """Return the names of the columns that are read."""
        periods = [m.period for m in self.measured if m.period]
        return [*self.time, *(m.column for m in self.measured), *periods]

    def parts(self, cells: Any) -> tuple[Floats, Floats, Floats, Floats]:
        """Return year, month, day and the hour that ends, NaN where one is no number."""
        import pandas as pd

        if len(self.time) == 2:
            date, clock = (cells[n].astype("str").str for n in self.time)
            found = [date[6:10], date[:2], date[3:5], clock[:2]]
            odd = ~date.fullmatch(r"\d\d/\d\d/\d{4}") | ~clock.fullmatch(r"\d\d:00")
            found = [part.where(~odd) for part in found]
        else:
            found = [cells[n] for n in self.time]
        year, month, day, hour = (
            pd.to_numeric(p, errors="coerce").to_numpy(dtype=float) for p in found
        )
        return year, month, day, hour


NONE_BELOW = -9000.0
"""TMY3 writes -9900 for missing (Wilcox & Marion 2008, NREL/TP-581-43156; memory; read in a
file of that kind, Sand Point)."""
TMY3 = Kind(
    "TMY3", header_line=2, rows_at=2, offset_at=3, time=(DATE, CLOCK), tenths=True,
    measured=(
        Measured("Dry-bulb (C)", "air_temperature [degC]", NONE_BELOW),
        Measured("Dew-point (C)", "dew_point_temperature [degC]", NONE_BELOW),
        Measured("RHum (%)", "relative_humidity [%]", NONE_BELOW),
        Measured("Wspd (m/s)", "wind_speed [m s-1]", NONE_BELOW),
        Measured("Lprecip depth (mm)", "thickness_of_rainfall_amount [mm]", NONE_BELOW,
                 period="Lprecip quantity (hr)"),
    ),
)  # fmt: skip
"""First line: site, name, state, offset [h], latitude, longitude, elevation; then names with
units (read: a file of that kind)."""
EPW = Kind(
    "EPW", header_line=0, rows_at=8, offset_at=8, time=("year", "month", "day", "hour"),
    measured=(
        Measured("dry_bulb", "air_temperature [degC]", up_to=99.9),
        Measured("dew_point", "dew_point_temperature [degC]", up_to=99.9),
        Measured("relative_humidity", "relative_humidity [%]", up_to=999),
        Measured("wind_speed", "wind_speed [m s-1]", up_to=999),
        Measured("liquid_precipitation_depth", "thickness_of_rainfall_amount [mm]", up_to=999,
                 period="liquid_precipitation_quantity"),
    ),
    names=(
        "year", "month", "day", "hour", "minute", "source", "dry_bulb", "dew_point",
        "relative_humidity", "pressure", "extraterrestrial_horizontal",
        "extraterrestrial_direct", "infrared_horizontal", "global_horizontal", "direct_normal",
        "diffuse_horizontal", "global_illuminance", "direct_illuminance",
        "diffuse_illuminance", "zenith_luminance", "wind_direction", "wind_speed",
        "total_sky_cover", "opaque_sky_cover", "visibility", "ceiling_height",
        "weather_observation", "weather_codes", "precipitable_water", "aerosol_optical_depth",
        "snow_depth", "days_since_snow", "albedo", "liquid_precipitation_depth",
        "liquid_precipitation_quantity",
    ),
)  # fmt: skip
"""Eight lines of header, the offset [h] ninth in LOCATION; 35 columns by position (read: pvlib's
reader of EPW, which names them in this order). Missing: 99.9 for both temperatures, 999 for
humidity, wind and depth of rain, 99 for its hours (EnergyPlus Auxiliary Programs; memory)."""
