"""Heat: thresholds with their sources, and degree-hours above one.

Cultivars differ strongly; a number printed for one is a hint for another. Shelter air
understates flowers and fruit: 5 cm above plastic mulch day air was typically 3 to 5 °C warmer
than at 1.5 m [read: Ham, Kluitenberg, Lamont 1993, J. ASHS 118:188, abstract].
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from riskrules.science.arrays import FloatArray, refuse_negative, same_shape
from riskrules.science.provenance import (
    ASSUMPTION,
    PRACTICE,
    READ,
    SECOND_HAND,
    SourcedNumber,
    by_name,
    celsius,
)

_BRADFORD = "Bradford, Hancock, Warner 2010, J. ASHS 135(2):102, abstract"
_WAGSTAFFE = "Wagstaffe, Battey 2006, JHSB 81:1086, abstract"
_ROOTS = "HortScience 54(1):110, 2019, abstract"
_DELAWARE = "Univ. of Delaware crop update p=2934"
_SHOCK = "heat-shock study, two cultivars, abstract"
_MINNESOTA = "Univ. of Minnesota, low tunnel note 2018"

THRESHOLDS = by_name(
    SourcedNumber(
        "day_neutral_flowering_most",
        26.0,
        "°C",
        "up to here day-neutral plants flower in any day length; above, long days only",
        _BRADFORD,
        READ,
    ),
    SourcedNumber(
        "day_neutral_flowering_least", 14.0, "°C", "from here; below not tested", _BRADFORD, READ
    ),
    SourcedNumber(
        "june_bearing_flowering_most", 20.0, "°C", "above, short days only", _BRADFORD, READ
    ),
    SourcedNumber(
        "cropping_trough", 26.0, "°C", "5 to 30 d in July gave a trough", _WAGSTAFFE, READ
    ),
    SourcedNumber("trough_lag", 4.0, "weeks", "heat to trough, month level only", _WAGSTAFFE, READ),
    SourcedNumber("trough_easing_night", 13.0, "°C", "nights that eased it", _WAGSTAFFE, READ),
    SourcedNumber("late_buds", 30.0, "°C", "harmed above, 6 h a day", "Zini", SECOND_HAND),
    SourcedNumber("late_buds_hours", 6.0, "h/d", "hours above 30 °C", "Zini", SECOND_HAND),
    SourcedNumber("late_buds_days_least", 3.0, "d", "on 3 to 5 days", "Zini", SECOND_HAND),
    SourcedNumber("late_buds_days_most", 5.0, "d", "on 3 to 5 days", "Zini", SECOND_HAND),
    SourcedNumber("shock", 42.0, "°C", "acute shock to flowers and buds", _SHOCK, READ),
    SourcedNumber("shock_hours", 4.0, "h", "length of that shock", _SHOCK, READ),
    SourcedNumber(
        "pollen",
        30.0,
        "°C",
        "day; germination lost in two cultivars, recovers after the heat",
        "Karapatzak and others 2012, Ann. Appl. Biol., abstract",
        READ,
    ),
    SourcedNumber("flowering_stops", celsius(86.0), "°C", "one cultivar, 86 °F", _DELAWARE, READ),
    SourcedNumber(
        "overhead_cooling_start",
        celsius(85.0),
        "°C",
        "85 °F; stop when back below; keep off ripe fruit",
        _DELAWARE,
        READ,
    ),
    SourcedNumber(
        "sunscald_canopy",
        35.0,
        "°C",
        "cautious flag; no strawberry threshold is printed",
        "own construction",
        ASSUMPTION,
    ),
    SourcedNumber("root_zone", 30.0, "°C", "counted as heat stress above", _ROOTS, READ),
    SourcedNumber("sides_down_outside", celsius(80.0), "°C", "outside, 80 °F", _MINNESOTA, READ),
    SourcedNumber(
        "sides_down_inside", celsius(90.0), "°C", "then 90+ °F under film", _MINNESOTA, READ
    ),
    SourcedNumber(
        "too_hot_for_plants", celsius(90.0), "°C", "90 °F under the film", "growers", PRACTICE
    ),
    SourcedNumber(
        "mulch_air_least", 3.0, "K", "air 5 cm above mulch warmer by", "Ham 1993, abstract", READ
    ),
    SourcedNumber(
        "mulch_air_most", 5.0, "K", "air 5 cm above mulch warmer by", "Ham 1993, abstract", READ
    ),
    SourcedNumber(
        "best_yield_least", 18.0, "°C", "best long-season yield from", "Wagstaffe 2006", READ
    ),
    SourcedNumber(
        "best_yield_most", 23.0, "°C", "best long-season yield up to", "Wagstaffe 2006", READ
    ),
)


def degree_hours(temperature: ArrayLike, base: float, hours: ArrayLike = 1.0) -> FloatArray:
    """Sum what lies above a base temperature over time.

    Parameters
    ----------
    temperature : array-like, shape (..., n)
        Temperature of each stretch. [°C]
    base : float
        Base temperature. [°C]
    hours : array-like, shape (..., n) or scalar
        Length of each stretch. [h]

    Returns
    -------
    ndarray, shape (...)
        Sum over the last axis; NaN where any stretch of it is missing: a gap is not cool. [°C h]

    Raises
    ------
    ValueError
        If hours are negative.

    Examples
    --------
    >>> float(degree_hours([25.0, 31.0, 33.0], 30.0))
    4.0
    """
    air, length = same_shape(np.atleast_1d(np.asarray(temperature, dtype=np.float64)), hours)
    refuse_negative("hours", length)
    return np.asarray(np.sum(np.maximum(air - base, 0.0) * length, axis=-1))
