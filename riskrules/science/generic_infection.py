"""Wet hours that a generic infection model asks for, by temperature. No strawberry row exists.

Hours to reach 20 % incidence or 5 % severity on inoculated tissue with inoculum not limiting, 53
studies, error 4.8-4.9 h [read: abstract]. For form checks and comparison only: strawberry has no
row, and the apple row of Phytophthora cactorum contradicts strawberry (optimum 21 °C, over 80 %
after more than 1 h).

References
----------
.. [1] Magarey, Sutton and others 2005. Phytopathology 95:92-100 [read: abstract; pages: memory];
   equations and rows [second-hand: public code].
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from riskrules.science.arrays import FloatArray, refuse_negative, same_shape
from riskrules.science.provenance import READ, SECOND_HAND, Tag


@dataclass(frozen=True, slots=True)
class InfectionRow:
    """One pathogen's row: cardinal temperatures (°C), wet hours (h) and dry gap D50 (h).

    ``most_hours`` and ``half_after_dry`` are None where none is printed.

    Raises
    ------
    ValueError
        If the temperatures do not rise, or the hours are not above 0 and rising.
    """

    name: str
    coldest: float
    best: float
    warmest: float
    least_hours: float
    most_hours: float | None
    half_after_dry: float | None
    tag: Tag
    note: str = ""

    def __post_init__(self) -> None:
        """Refuse a row whose numbers can not be cardinal ones."""
        if not self.coldest < self.best < self.warmest:
            found = f"{self.coldest:g}, {self.best:g}, {self.warmest:g}"
            raise ValueError(f"{self.name}: temperatures {found}; expected rising ones")
        if not 0.0 < self.least_hours <= self.cap:
            raise ValueError(f"{self.name}: hours {self.least_hours:g}; expected 0 to {self.cap:g}")

    @property
    def cap(self) -> float:
        """Most wet hours needed: printed, or 3.8 + 3.0 Wmin (r 0.71) [second-hand]."""
        return 3.8 + 3.0 * self.least_hours if self.most_hours is None else self.most_hours


ROWS: Mapping[str, InfectionRow] = MappingProxyType(
    {
        "apple_scab": InfectionRow(
            "Venturia inaequalis", 1, 20, 35, 6, 40.5, 24, SECOND_HAND, "apple"
        ),
        "grape_botrytis_berry": InfectionRow(
            "Botrytis cinerea", 10, 20, 35, 4, 10, 13, SECOND_HAND, "grape; 35 °C is the default"
        ),
        "grape_botrytis_flower": InfectionRow(
            "Botrytis cinerea", 1, 25, 34, 1, 12, 13, SECOND_HAND, "grape flower"
        ),
        "grape_downy_mildew": InfectionRow(
            "Plasmopara viticola", 1, 20, 30, 2, 14, None, SECOND_HAND, "grape"
        ),
        "apple_phytophthora": InfectionRow(
            "Phytophthora cactorum", 1, 25, 35, 2, 5, None, SECOND_HAND, "apple, not strawberry"
        ),
        "textbook": InfectionRow("textbook example", 7, 18, 30, 10, 42, None, READ, "docs"),
    }
)


def temperature_response(temperature: ArrayLike, row: InfectionRow) -> FloatArray:
    """Response to temperature (°C), 1 at the optimum, 0 at and outside both limits [1].

    Shape as the input's; NaN stays NaN.
    """
    t = np.asarray(temperature, dtype=np.float64)
    fall = row.warmest - row.best
    rise = row.best - row.coldest
    clipped = np.clip(t, row.coldest, row.warmest)
    return np.asarray(
        (row.warmest - clipped) / fall * ((clipped - row.coldest) / rise) ** (rise / fall)
    )


def hours_needed(temperature: ArrayLike, row: InfectionRow) -> FloatArray:
    """Wet hours for 20 % incidence or 5 % severity.

    Parameters
    ----------
    temperature : array-like, shape (n,)
        Mean air temperature of the wet hours. [°C]
    row : InfectionRow
        The pathogen's row.

    Returns
    -------
    ndarray, shape (n,)
        min(Wmin / f, Wmax); infinity at and outside the temperature limits, where the model
        knows no infection; NaN for NaN. [h]

    Notes
    -----
    How the cap meets f = 0 is left open in print; the cap there would mean infection at any
    temperature, so we give infinity.

    Examples
    --------
    >>> hours_needed([10.0, 2.0, 36.0], ROWS["apple_scab"]).round(2).tolist()
    [9.28, 40.5, inf]
    """
    response = temperature_response(temperature, row)
    with np.errstate(divide="ignore"):
        hours = row.least_hours / response
    return np.where(response == 0, np.inf, np.minimum(hours, row.cap))


def joins_across(dry_hours: ArrayLike, half_after_dry: float) -> NDArray[np.bool_]:
    """Whether two wet periods count as one across a dry gap.

    Parameters
    ----------
    dry_hours : array-like, shape (n,)
        Hours of the gap with RH below 95 %; dry hours at 95 % or more do not interrupt. [h]
    half_after_dry : float
        D50, dry hours that halve disease. [h]

    Returns
    -------
    ndarray of bool, shape (n,)
        True below D50, and at it: print leaves equality open and joining is the more cautious
        (assumption). NaN joins, since a gap that we do not know may be short.

    Raises
    ------
    ValueError
        If dry_hours are negative.
    """
    (gap,) = same_shape(dry_hours)
    refuse_negative("dry_hours", gap)
    return np.asarray(~(gap > half_after_dry))
