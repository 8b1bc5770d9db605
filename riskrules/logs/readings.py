"""Readings: a log in memory, one row a time, each missing value with the reason why."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from riskrules.facts.kinds import Cause
from riskrules.logs.variables import VARIABLES, Floats

Ints = npt.NDArray[np.int64]
Small = npt.NDArray[np.uint8]
Bits = npt.NDArray[np.uint32]
FORECAST_REACH_S = 10 * 86_400
"""How far ahead a forecast, or a plan, says anything: beyond, it was made later. [s] (assumption)
"""


@dataclass(frozen=True, slots=True)
class Note:
    """Something doubtful in a file that did not stop the reading: said once, with its count.

    ``doubts`` is False where no reading is doubted, such as for rows that were put in order.
    ``trouble`` is the name of a `Trouble`, empty for a remark; ``first`` and ``last`` are the
    times of the first and last row it is about [s], None where they have none.
    """

    file: str
    row: int
    message: str
    count: int = 1
    doubts: bool = True
    trouble: str = ""
    variable: str = ""
    first: int | None = None
    last: int | None = None

    def __str__(self) -> str:
        more = f", with {self.count - 1:,} more like it" if self.count > 1 else ""
        place = f"{self.file}:{self.row}" if self.row else self.file
        return f"{place}: {self.message}{more}."


@dataclass(frozen=True, slots=True)
class Tally:
    """What became of the rows of one file: ``read`` is the sum of the other four.

    ``kept`` rows have a usable time; their values may still be doubted or missing. ``repeated``
    rows have the time of another row and were merged into it.
    """

    file: str
    read: int
    kept: int
    refused: int
    repeated: int
    blank: int


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
        Bits of `Cause`; 0 where the value can be used. A value that is an interval says why too.
    forecast : ndarray of bool, shape (n,)
        Rows that are a forecast.
    low, high : dict of ndarray, shape (n,)
        For variables of which some value is no number but an interval (doubted, filled,
        borrowed): its ends, equal to the value elsewhere. Absent for all others.
    origin : dict of ndarray of uint8, shape (n,)
        `Origin` of each value; absent where all are measured.
    flags : dict of ndarray of uint8, shape (n,)
        QARTOD flag of each value (`Flag`). Empty until the readings were judged.
    reasons : dict of ndarray of uint32, shape (n,)
        Bits of `Trouble` of each value, beside the flag.
    line, source : ndarray of int, shape (n,)
        Line of each row in its file, and which of ``files`` that is. Empty where not known.
    spans : ndarray of int, shape (n,)
        How long before its time each row stands for. [s] Empty: as the usual step says.
    placed : str
        Where the sensor hangs: under_cover, outside or in_bed.
    lent : bool
        Whether they are a neighbouring block's.
    """

    time: Ints
    step: int
    values: dict[str, Floats]
    cause: dict[str, Ints]
    forecast: npt.NDArray[np.bool_]
    files: tuple[str, ...] = ()
    notes: list[Note] = field(default_factory=list)
    rows_read: int = 0
    low: dict[str, Floats] = field(default_factory=dict)
    high: dict[str, Floats] = field(default_factory=dict)
    origin: dict[str, Small] = field(default_factory=dict)
    flags: dict[str, Small] = field(default_factory=dict)
    reasons: dict[str, Bits] = field(default_factory=dict)
    line: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    source: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    spans: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    tallies: tuple[Tally, ...] = ()
    sensor: str = ""
    placed: str = "under_cover"
    lent: bool = False

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

    def only(self, keep: Any) -> Readings:
        """Return some of the rows: those of a mask, or by number in a new order."""
        new: dict[str, Any] = {
            name: {n: c[keep] for n, c in getattr(self, name).items()} for name in PER_VALUE
        }
        new |= {n: c[keep] for n in PER_ROW if len(c := getattr(self, n)) == len(self.time)}
        return replace(self, **new)

    def placed_outside(self) -> Readings:
        """Return the same readings named as those of the outside air."""
        named = self.renamed(lambda n: n if n.endswith("_outside") else f"{n}_outside")
        return replace(named, placed="outside")

    def renamed(self, new: Callable[[str], str]) -> Readings:
        """Return the same readings with every variable's name changed."""
        named: dict[str, Any] = {
            f: {new(n): c for n, c in getattr(self, f).items()} for f in PER_VALUE
        }
        return replace(self, **named)

    def least(self, name: str) -> Floats:
        """Return the least that each value of a variable can be; NaN where missing."""
        return self.low.get(name, self.values[name])

    def most(self, name: str) -> Floats:
        """Return the most that each value of a variable can be; NaN where missing."""
        return self.high.get(name, self.values[name])


PER_VALUE = ("values", "cause", "low", "high", "origin", "flags", "reasons")
PER_ROW = ("time", "forecast", "line", "source", "spans")


def missing_cause(name: str) -> Cause:
    """Return the cause that stands for a missing value of a variable."""
    base = name.removesuffix("_outside")
    if name != base and base == "air_temperature":
        return Cause.NO_OUTSIDE
    if base == "vapour_pressure_deficit":
        return Cause.NO_TEMPERATURE | Cause.NO_HUMIDITY
    return VARIABLES[base].missing
