"""Leaf wetness from weather where no wetness sensor is: proxies, not measurements.

Under plastic a humidity proxy misses drip from the film and condensation on cooled plants at
dawn; no threshold calibrated for low tunnels was found. 1 is wet, 0 dry, NaN unknown.

References
----------
.. [1] Sentelhas and others 2008. Agric. For. Meteorol. 148:392-400 (RH >= 90 %) [read].
.. [2] Kim and others 2002. Plant Dis. 86:179-185 (CART/SLD/Wind) [read: abstract];
   coefficients [second-hand: public code].
.. [3] Potato wetness tree, Korea [read: abstract].
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from riskrules.science.air import dew_point
from riskrules.science.arrays import FloatArray, same_shape

HUMID = 90.0  # [%] [read: Sentelhas 2008]; 87 % also seen [second-hand: public code]
GRADED_DRY, GRADED_WET = 80.0, 95.0  # [%] [second-hand: public code]
DRY_DEPRESSION = 3.7  # [°C] dry at or above [second-hand: public code]
WINDY = 2.5  # [m/s] at 0.3 m above ground [second-hand: public code]
WINDY_DRY_HUMIDITY = 87.8  # [%] [second-hand: public code]


def _unless_missing(wet: FloatArray, *inputs: FloatArray) -> FloatArray:
    missing = np.logical_or.reduce([np.isnan(each) for each in inputs])
    return np.where(missing, np.nan, wet)


def _valid_humidity(relative_humidity: FloatArray) -> FloatArray:
    valid = (relative_humidity >= 0) & (relative_humidity <= 100)
    return np.where(valid, relative_humidity, np.nan)


def wet_by_humidity(relative_humidity: ArrayLike, threshold: float = HUMID) -> FloatArray:
    """Wetness by a humidity threshold.

    Parameters
    ----------
    relative_humidity : array-like, shape (n,)
        Relative humidity, 0 to 100. [%]
    threshold : float
        Wet at or above; 90 is the published one. [%]

    Returns
    -------
    ndarray, shape (n,)
        1 wet, 0 dry, NaN outside 0 to 100 %. [1]

    Examples
    --------
    >>> wet_by_humidity([89.9, 90.0]).tolist()
    [0.0, 1.0]
    """
    (humidity,) = same_shape(relative_humidity)
    valid = _valid_humidity(humidity)
    return _unless_missing(np.where(valid >= threshold, 1.0, 0.0), valid)


def wetness_graded(relative_humidity: ArrayLike) -> FloatArray:
    """Chance of wetness, 0 up to 80 %, 1 from 95 %, straight between [1].

    Second-hand: public code. NaN outside 0 to 100 %; shape as the input's.

    >>> wetness_graded([80.0, 87.5, 96.0]).tolist()
    [0.0, 0.5, 1.0]
    """
    (humidity,) = same_shape(relative_humidity)
    share = (_valid_humidity(humidity) - GRADED_DRY) / (GRADED_WET - GRADED_DRY)
    return np.asarray(np.clip(share, 0.0, 1.0))


def dew_point_depression(temperature: ArrayLike, relative_humidity: ArrayLike) -> FloatArray:
    """How far the air temperature (°C) lies above its dew point, at a humidity (%) [°C].

    NaN where the dew point is; shape as the inputs'.
    """
    air, humidity = same_shape(temperature, relative_humidity)
    return np.asarray(np.maximum(air - dew_point(air, humidity), 0.0))


def _calm_branch(
    temperature: FloatArray, humidity: FloatArray, wind: FloatArray, depression: FloatArray
) -> FloatArray:
    score = (
        1.6064 * np.sqrt(temperature)
        + 0.0036 * temperature**2
        + 0.1531 * humidity
        - 0.4599 * wind * depression
        - 0.0035 * temperature * humidity
    )
    return np.where(score > 14.4674, 1.0, 0.0)


def _windy_branch(humidity: FloatArray) -> FloatArray:
    unsure = np.where(humidity >= HUMID, 1.0, np.nan)
    return np.where(humidity < WINDY_DRY_HUMIDITY, 0.0, unsure)


def wet_by_tree(
    temperature: ArrayLike, relative_humidity: ArrayLike, wind: ArrayLike
) -> FloatArray:
    """Wetness by the CART/SLD/Wind tree.

    Parameters
    ----------
    temperature : array-like, shape (n,)
        Air temperature, 0 and above. [°C]
    relative_humidity : array-like, shape (n,)
        Relative humidity, above 0 to 100. [%]
    wind : array-like, shape (n,)
        Wind at 0.3 m; reduce a mast's wind first. [m/s]

    Returns
    -------
    ndarray, shape (n,)
        1 wet, 0 dry, NaN unknown: below 0 °C, and where an input is out of range. [1]

    Notes
    -----
    A dew point depression of 3.7 K or more is dry. In calm the first discriminant decides. From
    2.5 m/s its second one has a coefficient that every public copy misprints (linear in RH, so
    that it can never say wet); there RH >= 90 % stands in, below 87.8 % is dry as printed, and
    between the two is unknown.

    Examples
    --------
    >>> wet_by_tree([15.0, 15.0, 15.0], [84.0, 86.0, 89.0], [1.0, 1.0, 3.0]).tolist()
    [0.0, 1.0, nan]
    """
    air, humidity, speed = same_shape(temperature, relative_humidity, wind)
    air = np.where(air >= 0, air, np.nan)
    speed = np.where(speed >= 0, speed, np.nan)
    depression = dew_point_depression(air, humidity)
    branches = np.where(
        speed < WINDY, _calm_branch(air, humidity, speed, depression), _windy_branch(humidity)
    )
    wet = np.where(depression >= DRY_DEPRESSION, 0.0, branches)
    return _unless_missing(wet, depression, speed)


def wet_by_potato_tree(
    temperature: ArrayLike, relative_humidity: ArrayLike, wind: ArrayLike
) -> FloatArray:
    """Wetness by a tree fitted on potato; a second opinion, not for strawberry.

    Parameters
    ----------
    temperature : array-like, shape (n,)
        Air temperature. [°C]
    relative_humidity : array-like, shape (n,)
        Relative humidity, above 0 to 100. [%]
    wind : array-like, shape (n,)
        Wind as in its study; the abstract does not say its height. [m/s]

    Returns
    -------
    ndarray, shape (n,)
        1 wet, 0 dry, NaN where an input is missing or out of range. [1]

    Examples
    --------
    >>> wet_by_potato_tree([15.0, 15.0, 15.0], [96.0, 80.0, 90.0], [2.0, 0.5, 2.0]).tolist()
    [1.0, 0.0, 0.0]
    """
    air, humidity, speed = same_shape(temperature, relative_humidity, wind)
    speed = np.where(speed >= 0, speed, np.nan)
    depression = dew_point_depression(air, humidity)
    between = 0.08572 * air * depression - 1.10271 * speed * depression < 0.34791
    calm = np.where(humidity < 82.0, 0.0, np.where(between, 1.0, 0.0))
    wet = np.where(humidity >= 95.0, 1.0, np.where(speed >= 1.2, 0.0, calm))
    return _unless_missing(wet, depression, speed)
