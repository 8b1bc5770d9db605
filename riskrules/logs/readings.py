"""Readings: a log in memory, one row a time, each missing value with the reason why."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from riskrules.facts.kinds import Cause
from riskrules.logs.variables import VARIABLES, Floats

Ints = npt.NDArray[np.int64]
FORECAST_REACH_S = 10 * 86_400
"""How far ahead a forecast, or a plan, says anything: beyond, it was made later. [s] (assumption)
"""


@dataclass(frozen=True, slots=True)
class Note:
    """Something doubtful in a file that did not stop the reading: said once, with its count.

    ``doubts`` is False where no reading is doubted, such as for rows that were put in order.
    """

    file: str
    row: int
    message: str
    count: int = 1
    doubts: bool = True

    def __str__(self) -> str:
        more = f", with {self.count - 1:,} more like it" if self.count > 1 else ""
        place = f"{self.file}:{self.row}" if self.row else self.file
        return f"{place}: {self.message}{more}."


@dataclass(slots=True)
class Readings:
    """One source of readings, in time order; each row stands for the log step that ends there.

    Attributes
    ----------
    time : ndarray of int, shape (n,)
        End of each row's step. [s since 1970 UTC]
    step : int
        The usual step. [s]
    values : dict of ndarray, shape (n,)
        By internal name (``_outside`` appended for the outside air), NaN where not usable.
    cause : dict of ndarray of int, shape (n,)
        Bits of `Cause`; 0 where the value can be used.
    forecast : ndarray of bool, shape (n,)
        Rows that are a forecast.
    """

    time: Ints
    step: int
    values: dict[str, Floats]
    cause: dict[str, Ints]
    forecast: npt.NDArray[np.bool_]
    files: tuple[str, ...] = ()
    notes: list[Note] = field(default_factory=list)
    rows_read: int = 0

    def __len__(self) -> int:
        return len(self.time)

    @property
    def frame(self) -> Any:
        """The readings as a pandas frame with a UTC index, one column a variable."""
        import pandas as pd

        index = pd.to_datetime(self.time, unit="s", utc=True)
        return pd.DataFrame({**self.values, "forecast": self.forecast}, index=index)

    def until(self, last: int) -> Readings:
        """Return the rows measured up to a time, and the forecast rows of the days after it."""
        ahead = (self.time > last) & (self.time <= last + FORECAST_REACH_S)
        keep = (self.time <= last) & ~self.forecast | self.forecast & ahead
        return self.only(keep)

    def only(self, keep: npt.NDArray[np.bool_]) -> Readings:
        """Return some of the rows."""
        return Readings(
            self.time[keep],
            self.step,
            {name: column[keep] for name, column in self.values.items()},
            {name: column[keep] for name, column in self.cause.items()},
            self.forecast[keep],
            self.files,
            self.notes,
            self.rows_read,
        )

    def placed_outside(self) -> Readings:
        """Return the same readings named as those of the outside air."""
        names = {n: n if n.endswith("_outside") else f"{n}_outside" for n in self.values}
        return Readings(
            self.time,
            self.step,
            {names[n]: column for n, column in self.values.items()},
            {names[n]: column for n, column in self.cause.items()},
            self.forecast,
            self.files,
            self.notes,
            self.rows_read,
        )


def missing_cause(name: str) -> Cause:
    """Return the cause that stands for a missing value of a variable."""
    base = name.removesuffix("_outside")
    if name != base and base == "air_temperature":
        return Cause.NO_OUTSIDE
    if base == "vapour_pressure_deficit":
        return Cause.NO_TEMPERATURE | Cause.NO_HUMIDITY
    return VARIABLES[base].missing
