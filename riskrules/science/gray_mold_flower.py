"""Gray mold (Botrytis cinerea): infection of open flowers in one wet period.

Tested at 5 to 30 °C and up to 32 wet hours [read: abstract]. It follows the paper's flower
infection (0.96 at 20 °C and 24 h, where all flowers were infected), not its fruit incidence
(0.996 at 20 °C and 32 h, where about 0.60 of the fruit rotted). It must not time a spray.

References
----------
.. [1] Bulger, Ellis, Madden 1987. Phytopathology 77:1225-1230, doi 10.1094/Phyto-77-1225
   [read: abstract]; the coefficients [second-hand: public code].
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from riskrules.science.arrays import FloatArray, logistic, refuse_negative, same_shape, wet_box

TESTED_TEMPERATURE = (5.0, 30.0)  # [read: abstract]
TESTED_HOURS = 32.0  # [read: abstract]
INTERCEPT = -4.268  # these four [second-hand: public code]
PER_HOUR = -0.0901
PER_HOUR_DEGREE = 0.0294
PER_HOUR_CUBE = -2.35e-5
# Where the slope per hour is greatest, for any length of wetness. [computed]
WARMEST_FOR_INFECTION = math.sqrt(PER_HOUR_DEGREE / (-3.0 * PER_HOUR_CUBE))


def slope_per_hour(temperature: ArrayLike) -> FloatArray:
    """Rise of the logit with each wet hour at a temperature (°C) [1/h].

    Shape as the input's. Positive all over 5 to 30 °C: longer wetness never lowers the index.
    """
    t = np.asarray(temperature, dtype=np.float64)
    return np.asarray(PER_HOUR + PER_HOUR_DEGREE * t + PER_HOUR_CUBE * t**3)


def bare_equation(temperature: ArrayLike, hours_wet: ArrayLike) -> FloatArray:
    """Proportion of flowers infected by the printed equation, without any guard [1].

    For checks and charts only: it gives 0.014 for a dry flower and misleads outside 5 to 30 °C.
    """
    temperature, hours = same_shape(temperature, hours_wet)
    return logistic(INTERCEPT + hours * slope_per_hour(temperature))


def _tested(temperature: FloatArray, hours: FloatArray) -> FloatArray:
    return bare_equation(np.clip(temperature, *TESTED_TEMPERATURE), np.minimum(hours, TESTED_HOURS))


def flower_infection_index(temperature: ArrayLike, hours_wet: ArrayLike) -> FloatArray:
    """Index of gray mold infection of open flowers in one wet period.

    Parameters
    ----------
    temperature : array-like, shape (n,)
        Mean air temperature of the wet hours. [°C]
    hours_wet : array-like, shape (n,)
        Length of the wet period. [h]

    Returns
    -------
    ndarray, shape (n,)
        Index from 0 to 1; NaN where the paper tested nothing (below 5 or above 30 °C) and where
        an input is NaN. No wet hour gives 0 at any temperature; beyond 32 h it stays at its
        value for 32 h. [1]

    Raises
    ------
    ValueError
        If hours_wet is negative.

    Notes
    -----
    Logistic in W, WT and WT³ [1]_. Coefficients second-hand. W = 0 gives 0, where the bare
    equation gives 0.014. The model stays high at 12 and 27 °C, where the abstract speaks of
    strong reduction.

    References
    ----------
    .. [1] Bulger, Ellis, Madden 1987. Phytopathology 77:1225-1230.

    Examples
    --------
    >>> round(float(flower_infection_index(20.0, 24.0)), 3)
    0.96
    """
    temperature, hours = same_shape(temperature, hours_wet)
    refuse_negative("hours_wet", hours)
    least, most = TESTED_TEMPERATURE
    known = (temperature >= least) & (temperature <= most)
    index = np.where(known, _tested(temperature, hours), np.nan)
    return np.where(hours == 0, 0.0, index)


def flower_infection_bounds(
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
        Least and most index; 0 to 1 where the box reaches outside 5 to 30 °C, 0 and 0 where
        surely no hour was wet. Beyond 32 h, the longest tested, from the value at 32 h to 1. [1]

    Raises
    ------
    ValueError
        If hours are negative, or a least is above its most.

    Notes
    -----
    The index rises with wet hours at every tested temperature, and rises with temperature up to
    20.42 °C and falls after, so the extremes lie on corners or at that temperature.

    Examples
    --------
    >>> lo, hi = flower_infection_bounds(15.0, 25.0, 12.0, 12.0)
    >>> round(float(lo), 3), round(float(hi), 3)
    (0.267, 0.367)
    """
    box = wet_box(t_lo, t_hi, w_lo, w_hi)
    coldest, warmest = TESTED_TEMPERATURE
    inside = (box.t_lo >= coldest) & (box.t_hi <= warmest)
    best = np.clip(WARMEST_FOR_INFECTION, box.t_lo, box.t_hi)
    least = np.minimum(_tested(box.t_lo, box.w_lo), _tested(box.t_hi, box.w_lo))
    lo = np.where(inside & (box.w_lo > 0), least, 0.0)
    tested = inside & (box.w_hi <= TESTED_HOURS)
    hi = np.where(tested, _tested(best, box.w_hi), 1.0)
    return lo, np.where(box.w_hi == 0, 0.0, hi)


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
    >>> round(float(hours_to_reach(20.0, 0.5)), 1)
    13.8
    """
    temperature, wanted = same_shape(temperature, index)
    wanted = np.where((wanted > 0) & (wanted < 1), wanted, np.nan)
    least, most = TESTED_TEMPERATURE
    known = (temperature >= least) & (temperature <= most)
    rise = slope_per_hour(np.where(known, temperature, np.nan))
    hours = np.maximum((np.log(wanted / (1.0 - wanted)) - INTERCEPT) / rise, 0.0)
    return np.where(hours <= TESTED_HOURS, hours, np.nan)
