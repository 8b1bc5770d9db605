"""Anthracnose fruit rot (Colletotrichum acutatum): infection of fruit in one wet period.

Tested at 4, 6, 10, 15, 20, 25, 30 and 35 °C and 0.5 to 51 wet hours [read: abstract]. The
coefficients are second-hand and the source does not say which fruit age they are for; we take
them for immature fruit (assumption). Ripe fruit has no curve here, only the abstract's facts.
The printed digits are coarse: at 25 °C and 13 h rounding alone spans 0.30 to 0.65, where the
abstract observed more than 0.80. It must not time a spray.

References
----------
.. [1] Wilson, Madden, Ellis 1990. Phytopathology 80:111-116, doi 10.1094/Phyto-80-111
   [read: abstract]; the coefficients [second-hand: public code].
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from riskrules.science.arrays import (
    Box,
    FloatArray,
    logistic,
    refuse_negative,
    same_shape,
    wet_box,
)
from riskrules.science.provenance import READ, SourcedNumber, by_name

MODELLED_TEMPERATURE = (10.0, 30.0)  # where the curve behaves [computed]
OBSERVED_ZEROS = (4.0, 35.0)  # no immature fruit infected at exactly these [read: abstract]
TESTED_HOURS = 51.0  # [read: abstract]
INTERCEPT = -3.70  # these five [second-hand: public code]
PER_HOUR = 0.33
PER_HOUR_DEGREE = -0.069
PER_HOUR_SQUARE = 0.005
PER_HOUR_CUBE = -9.3e-5

_ROOT = math.sqrt(PER_HOUR_SQUARE**2 - 3.0 * PER_HOUR_DEGREE * PER_HOUR_CUBE)
# Turning points of the slope per hour. [computed: 9.33 and 26.5 °C]
COLDEST_TURN = (_ROOT - PER_HOUR_SQUARE) / (3.0 * PER_HOUR_CUBE)
WARMEST_FOR_INFECTION = (-_ROOT - PER_HOUR_SQUARE) / (3.0 * PER_HOUR_CUBE)

_SOURCE = "Wilson, Madden, Ellis 1990, Phytopathology 80:111-116, abstract"
RIPE_FRUIT = by_name(
    SourcedNumber("ripe_none_at", 4.0, "°C", "no ripe fruit infected", _SOURCE, READ),
    SourcedNumber("optimum_least", 25.0, "°C", "optimum from, both ages", _SOURCE, READ),
    SourcedNumber("optimum_most", 30.0, "°C", "optimum up to, both ages", _SOURCE, READ),
    SourcedNumber("share_at_optimum", 0.80, "1", "more than this, both ages", _SOURCE, READ),
    SourcedNumber("hours_at_optimum", 13.0, "h", "wet hours for that share", _SOURCE, READ),
    SourcedNumber("ripe_peak_at_35", 0.39, "1", "most at 35 °C; less when wetter", _SOURCE, READ),
)


def slope_per_hour(temperature: ArrayLike) -> FloatArray:
    """Rise of the logit with each wet hour at a temperature (°C) [1/h].

    Shape as the input's. Positive all over 10 to 30 °C; below 9.33 °C it rises again, falsely.
    """
    t = np.asarray(temperature, dtype=np.float64)
    cubic = PER_HOUR_SQUARE * t**2 + PER_HOUR_CUBE * t**3
    return np.asarray(PER_HOUR + PER_HOUR_DEGREE * t + cubic)


def bare_equation(temperature: ArrayLike, hours_wet: ArrayLike) -> FloatArray:
    """Proportion of fruit infected by the printed equation, without any guard [1].

    For checks and charts only: it gives 0.94 at 4 °C and 51 h, where none was observed.
    """
    temperature, hours = same_shape(temperature, hours_wet)
    return logistic(INTERCEPT + hours * slope_per_hour(temperature))


def _modelled(temperature: FloatArray, hours: FloatArray) -> FloatArray:
    return bare_equation(
        np.clip(temperature, *MODELLED_TEMPERATURE), np.minimum(hours, TESTED_HOURS)
    )


def fruit_infection_index(temperature: ArrayLike, hours_wet: ArrayLike) -> FloatArray:
    """Index of anthracnose infection of immature fruit in one wet period.

    Parameters
    ----------
    temperature : array-like, shape (n,)
        Mean air temperature of the wet hours. [°C]
    hours_wet : array-like, shape (n,)
        Length of the wet period. [h]

    Returns
    -------
    ndarray, shape (n,)
        Index from 0 to 1 at 10 to 30 °C; 0 at exactly 4 and 35 °C, where none was observed;
        NaN elsewhere and where an input is NaN. No wet hour gives 0 at any temperature; beyond
        51 h it stays at its value for 51 h. [1]

    Raises
    ------
    ValueError
        If hours_wet is negative.

    Notes
    -----
    Logistic in W, WT, WT² and WT³ [1]_, coefficients second-hand, fruit age not said. Between
    the observed zeros and 10 or 30 °C nothing is taken for zero: see the bounds.

    References
    ----------
    .. [1] Wilson, Madden, Ellis 1990. Phytopathology 80:111-116.

    Examples
    --------
    >>> round(float(fruit_infection_index(20.0, 18.0)), 3)
    0.502
    """
    temperature, hours = same_shape(temperature, hours_wet)
    refuse_negative("hours_wet", hours)
    least, most = MODELLED_TEMPERATURE
    known = (temperature >= least) & (temperature <= most)
    index = np.where(known, _modelled(temperature, hours), np.nan)
    observed_none = np.isin(temperature, OBSERVED_ZEROS) & ~np.isnan(hours)
    return np.where((hours == 0) | observed_none, 0.0, index)


def _most(box: Box) -> FloatArray:
    coldest, warmest = MODELLED_TEMPERATURE
    cold_zero, warm_zero = OBSERVED_ZEROS
    at_one = box.t_lo == box.t_hi
    observed_none = at_one & ((box.t_lo == cold_zero) | (box.t_lo == warm_zero))
    # Below 10 °C clipping to 10 °C is the bound itself: at most the value there.
    best = np.clip(WARMEST_FOR_INFECTION, box.t_lo, box.t_hi)
    unknown = (box.t_lo < cold_zero) | (box.t_hi > warmest) | (box.w_hi > TESTED_HOURS)
    hi = np.where(unknown, 1.0, _modelled(np.maximum(best, coldest), box.w_hi))
    return np.where(observed_none | (box.w_hi == 0), 0.0, hi)


def fruit_infection_bounds(
    t_lo: ArrayLike, t_hi: ArrayLike, w_lo: ArrayLike, w_hi: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Least and most of the index over a box of temperature and wet hours.

    Parameters
    ----------
    t_lo, t_hi : array-like, shape (n,)
        Least and most mean temperature of the wet hours; NaN means unknown. [°C]
    w_lo, w_hi : array-like, shape (n,)
        Least and most wet hours; NaN means unknown, infinity is allowed. [h]

    Returns
    -------
    tuple of ndarray, shape (n,)
        Least and most index. Between 4 and 10 °C from 0 to the value at 10 °C; 0 to 1 where the
        box reaches below 4 or above 30 °C; 0 and 0 where surely no hour was wet, and at exactly
        4 or 35 °C. Beyond 51 h, the longest tested, up to 1. [1]

    Raises
    ------
    ValueError
        If hours are negative, or a least is above its most.

    Notes
    -----
    At 10 to 30 °C the index rises with wet hours, and rises with temperature up to 26.5 °C and
    falls after, so the extremes lie on corners or at that temperature. That the index below
    10 °C stays under its value at 10 °C is our reading of none at 4 °C (assumption).

    Examples
    --------
    >>> lo, hi = fruit_infection_bounds(20.0, 25.0, 13.0, 13.0)
    >>> round(float(lo), 3), round(float(hi), 3)
    (0.265, 0.475)
    """
    box = wet_box(t_lo, t_hi, w_lo, w_hi)
    coldest, warmest = MODELLED_TEMPERATURE
    inside = (box.t_lo >= coldest) & (box.t_hi <= warmest)
    least = np.minimum(_modelled(box.t_lo, box.w_lo), _modelled(box.t_hi, box.w_lo))
    lo = np.where(inside & (box.w_lo > 0), least, 0.0)
    return lo, _most(box)


def hours_to_reach(temperature: ArrayLike, index: ArrayLike) -> FloatArray:
    """Wet hours after which the index reaches a value.

    Parameters
    ----------
    temperature : array-like, shape (n,)
        Mean air temperature of the wet hours. [°C]
    index : array-like, shape (n,)
        Index to reach, above 0 and below 1. [1]

    Returns
    -------
    ndarray, shape (n,)
        Hours, 0 where the first wet moment is enough; NaN outside the temperatures of the
        curve, and beyond the longest wetness tested. [h]

    Examples
    --------
    >>> round(float(hours_to_reach(25.0, 0.5)), 1)
    13.4
    """
    temperature, wanted = same_shape(temperature, index)
    wanted = np.where((wanted > 0) & (wanted < 1), wanted, np.nan)
    least, most = MODELLED_TEMPERATURE
    known = (temperature >= least) & (temperature <= most)
    rise = slope_per_hour(np.where(known, temperature, np.nan))
    hours = np.maximum((np.log(wanted / (1.0 - wanted)) - INTERCEPT) / rise, 0.0)
    return np.where(hours <= TESTED_HOURS, hours, np.nan)
