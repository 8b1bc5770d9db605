"""Leather rot (Phytophthora cactorum): a level for one wet period. Own construction.

The published logistic model's coefficients were not found. The abstract tested 6 to 30 °C and 0
to 5 wet hours, with the optimum at 21 °C and more than 80 % infection after more than 1 h at 17
to 25 °C [read: abstract]. From that we built bands, not a probability. It stands for splash,
puddles or soil contact; condensation alone over straw should count for less (own construction).

References
----------
.. [1] Grove and others 1985. Phytopathology 75:165-169 [read: abstract].
.. [2] Grove, Madden, Ellis 1985. Phytopathology 75:700-703 (sporangia) [read: abstract].
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from riskrules.science.arrays import FloatArray, refuse_negative, same_shape, wet_box
from riskrules.science.provenance import READ, SourcedNumber, by_name

TESTED_TEMPERATURE = (6.0, 30.0)  # [read: abstract]
FAVOURABLE_TEMPERATURE = (17.0, 25.0)  # [read: abstract]
TESTED_HOURS = 5.0  # [read: abstract]
FAVOURABLE_HOURS = 1.0  # more than this, in the favourable band [read: abstract]
SHOULDER_HOURS = 2.0  # outside that band (own construction)
LEVELS = ("no wetness", "possible", "likely", "severe")

_SOURCE = "Grove, Madden, Ellis 1985, Phytopathology 75:700-703, abstract"
SPORANGIA = by_name(
    SourcedNumber("tested_least", 12.5, "°C", "sporangia tested from", _SOURCE, READ),
    SourcedNumber("tested_most", 27.5, "°C", "sporangia tested up to", _SOURCE, READ),
    SourcedNumber("optimum", 20.0, "°C", "about the optimum for sporangia", _SOURCE, READ),
    SourcedNumber("first_hours", 3.0, "h", "present after, at 15 to 25 °C", _SOURCE, READ),
    SourcedNumber(
        "many_hours", 16.0, "h", "100 or more at 15 to 25 °C; its sign unreadable", _SOURCE, READ
    ),
)


def _favourable_level(hours: FloatArray) -> FloatArray:
    return np.where(hours > FAVOURABLE_HOURS, 3.0, np.where(hours > 0, 1.0, 0.0))


def _shoulder_level(hours: FloatArray) -> FloatArray:
    return np.where(hours >= SHOULDER_HOURS, 2.0, np.where(hours > 0, 1.0, 0.0))


def leather_rot_level(temperature: ArrayLike, hours_wet: ArrayLike) -> FloatArray:
    """Level of leather rot infection of green fruit in one wet period, own construction.

    Parameters
    ----------
    temperature : array-like, shape (n,)
        Mean air temperature of the wet hours. [°C]
    hours_wet : array-like, shape (n,)
        Length of the wet period. [h]

    Returns
    -------
    ndarray, shape (n,)
        0 no wetness, 1 possible, 2 likely, 3 severe; NaN where the paper tested nothing (below
        6 or above 30 °C) and where an input is NaN. Beyond 5 h the level stays. [1]

    Raises
    ------
    ValueError
        If hours_wet is negative.

    Notes
    -----
    At 17 to 25 °C more than 1 h is severe, as the abstract observed over 80 %; up to 1 h is
    possible. At 6 to 17 and 25 to 30 °C 2 h and more is likely, less is possible. No wet period
    is called safe.

    Examples
    --------
    >>> leather_rot_level([21.0, 12.0, 3.0], [2.0, 2.0, 2.0]).tolist()
    [3.0, 2.0, nan]
    """
    temperature, hours = same_shape(temperature, hours_wet)
    refuse_negative("hours_wet", hours)
    least, most = FAVOURABLE_TEMPERATURE
    favourable = (temperature >= least) & (temperature <= most)
    level = np.where(favourable, _favourable_level(hours), _shoulder_level(hours))
    coldest, warmest = TESTED_TEMPERATURE
    known = (temperature >= coldest) & (temperature <= warmest) & ~np.isnan(hours)
    return np.where(hours == 0, 0.0, np.where(known, level, np.nan))


def leather_rot_bounds(
    t_lo: ArrayLike, t_hi: ArrayLike, w_lo: ArrayLike, w_hi: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Least and most level over a box of temperature and wet hours.

    Parameters
    ----------
    t_lo, t_hi : array-like, shape (n,)
        Least and most mean temperature of the wet hours; NaN means unknown. [°C]
    w_lo, w_hi : array-like, shape (n,)
        Least and most wet hours; NaN means unknown, infinity is allowed. [h]

    Returns
    -------
    tuple of ndarray, shape (n,)
        Least and most level; 0 to 3 where the box reaches outside 6 to 30 °C, 0 and 0 where
        surely no hour was wet. [1]

    Raises
    ------
    ValueError
        If hours are negative, or a least is above its most.

    Examples
    --------
    >>> lo, hi = leather_rot_bounds(12.0, 18.0, 1.5, 3.0)
    >>> float(lo), float(hi)
    (1.0, 3.0)
    """
    box = wet_box(t_lo, t_hi, w_lo, w_hi)
    coldest, warmest = TESTED_TEMPERATURE
    least, most = FAVOURABLE_TEMPERATURE
    inside = (box.t_lo >= coldest) & (box.t_hi <= warmest)
    reaches_favourable = (box.t_lo <= most) & (box.t_hi >= least)
    leaves_favourable = (box.t_lo < least) | (box.t_hi > most)
    lo = np.where(leaves_favourable, _shoulder_level(box.w_lo), _favourable_level(box.w_lo))
    # Whatever the hours, the favourable band is never below the shoulders.
    hi = np.where(reaches_favourable, _favourable_level(box.w_hi), _shoulder_level(box.w_hi))
    lo = np.where(inside, lo, 0.0)
    return lo, np.where(box.w_hi == 0, 0.0, np.where(inside, hi, 3.0))
