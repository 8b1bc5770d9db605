"""Humidity arithmetic over liquid water, as in FAO-56 (Tetens), below 0 °C too.

Weather stations and the common dew-point functions report humidity over water at every
temperature; some libraries switch to ice below 0 °C and then differ by up to 0.8 K in dew point
(computed). For sprinkling against frost the water bulb is the one that counts.

Valid range, ours (assumption): temperature -45 to 60 °C, humidity 0 to 100 %. Outside, and
where an input is NaN, every function gives NaN.

References
----------
.. [1] Allen, Pereira, Raes, Smith 1998. Crop evapotranspiration. FAO Irrigation and Drainage
   Paper 56, equations 7, 8, 11, 13, 15 and annex 3 [second-hand: a public test suite that cites
   page and example].
.. [2] Murray 1967, J. Appl. Meteorol. 6:203, after Tetens 1930 [memory].
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from riskrules.science.arrays import FloatArray, same_shape

TEMPERATURE_RANGE = (-45.0, 60.0)
SEA_LEVEL_PRESSURE = 101.325
VENTILATED = 0.000662  # psychrometer coefficients per °C [second-hand: FAO-56 eq. 16]
NATURALLY_VENTILATED = 0.000800
INDOOR = 0.001200
WET_BULB_STEPS = 12  # Newton converges from above in 6 steps at 60 °C and 0 %; 12 leave a margin


def _tetens(temperature: FloatArray) -> FloatArray:
    return np.asarray(0.6108 * np.exp(17.27 * temperature / (temperature + 237.3)))


def _inside(values: FloatArray, least: float, most: float) -> FloatArray:
    return np.where((values >= least) & (values <= most), values, np.nan)


def saturation_vapour_pressure(temperature: ArrayLike) -> FloatArray:
    """Vapour pressure of air saturated over liquid water.

    Parameters
    ----------
    temperature : array-like, shape (n,)
        Air temperature, -45 to 60. [°C]

    Returns
    -------
    ndarray, shape (n,)
        Saturation vapour pressure; NaN outside the range. [kPa]

    Notes
    -----
    FAO-56 equation 11, over water below 0 °C too: there it lies 5 % (-5 °C) to 21 % (-20 °C)
    above the pressure over ice.

    Examples
    --------
    >>> round(float(saturation_vapour_pressure(25.0)), 3)
    3.168
    """
    return _tetens(_inside(np.asarray(temperature, dtype=np.float64), *TEMPERATURE_RANGE))


def slope_of_saturation(temperature: ArrayLike) -> FloatArray:
    """Slope of the saturation curve at a temperature, FAO-56 equation 13 [kPa/°C].

    NaN outside -45 to 60 °C; shape as the input's.
    """
    air = np.asarray(temperature, dtype=np.float64)
    return np.asarray(4098.0 * saturation_vapour_pressure(air) / (air + 237.3) ** 2)


def vapour_pressure(temperature: ArrayLike, relative_humidity: ArrayLike) -> FloatArray:
    """Actual vapour pressure from temperature and relative humidity.

    Parameters
    ----------
    temperature : array-like, shape (n,)
        Air temperature, -45 to 60. [°C]
    relative_humidity : array-like, shape (n,)
        Relative humidity over water, 0 to 100. [%]

    Returns
    -------
    ndarray, shape (n,)
        Vapour pressure; NaN outside the ranges. [kPa]
    """
    air, humidity = same_shape(temperature, relative_humidity)
    share = _inside(humidity, 0.0, 100.0) / 100.0
    return np.asarray(saturation_vapour_pressure(air) * share)


def vapour_pressure_deficit(temperature: ArrayLike, relative_humidity: ArrayLike) -> FloatArray:
    """How much more vapour the air could hold.

    Parameters
    ----------
    temperature : array-like, shape (n,)
        Air temperature, -45 to 60. [°C]
    relative_humidity : array-like, shape (n,)
        Relative humidity over water, 0 to 100. [%]

    Returns
    -------
    ndarray, shape (n,)
        Deficit, 0 or more; NaN outside the ranges. [kPa]

    Notes
    -----
    Air temperature stands for leaf temperature; a leaf in sun or under a clear sky differs.

    Examples
    --------
    >>> round(float(vapour_pressure_deficit(20.0, 75.0)), 2)
    0.58
    """
    air, humidity = same_shape(temperature, relative_humidity)
    share = 1.0 - _inside(humidity, 0.0, 100.0) / 100.0
    return np.asarray(saturation_vapour_pressure(air) * share)


def dew_point_of_vapour_pressure(vapour: ArrayLike) -> FloatArray:
    """Temperature at which air of this vapour pressure (kPa) is saturated over water [°C].

    NaN for 0 kPa or less; shape as the input's.
    """
    pressure = np.asarray(vapour, dtype=np.float64)
    log_ratio = np.log(np.where(pressure > 0, pressure, np.nan) / 0.6108)
    return np.asarray(237.3 * log_ratio / (17.27 - log_ratio))


def dew_point(temperature: ArrayLike, relative_humidity: ArrayLike) -> FloatArray:
    """Dew point over liquid water, below 0 °C too (not the frost point).

    Parameters
    ----------
    temperature : array-like, shape (n,)
        Air temperature, -45 to 60. [°C]
    relative_humidity : array-like, shape (n,)
        Relative humidity over water, above 0 to 100. [%]

    Returns
    -------
    ndarray, shape (n,)
        Dew point; NaN outside the ranges and at 0 %. [°C]

    Examples
    --------
    >>> round(float(dew_point(20.0, 60.0)), 1)
    12.0
    """
    return dew_point_of_vapour_pressure(vapour_pressure(temperature, relative_humidity))


def relative_humidity_from_dew_point(temperature: ArrayLike, dew_point: ArrayLike) -> FloatArray:
    """Relative humidity over water from temperature and dew point.

    Parameters
    ----------
    temperature, dew_point : array-like, shape (n,)
        Air temperature and dew point over water; temperature -45 to 60. [°C]

    Returns
    -------
    ndarray, shape (n,)
        Relative humidity, 0 to 100; NaN outside the range and where the dew point lies above
        the air temperature (no such air: a sensor or a column is wrong). [%]

    Examples
    --------
    >>> round(float(relative_humidity_from_dew_point(32.2, 22.2)), 1)
    55.7
    """
    air, dew = same_shape(temperature, dew_point)
    possible = (dew <= air + 1e-9) & (dew > -237.3)
    ratio = _tetens(np.where(possible, dew, np.nan)) / saturation_vapour_pressure(air)
    return np.asarray(np.minimum(ratio, 1.0) * 100.0)


def vapour_pressure_from_wet_bulb(
    temperature: ArrayLike,
    wet_bulb: ArrayLike,
    pressure: ArrayLike = SEA_LEVEL_PRESSURE,
    coefficient: float = VENTILATED,
) -> FloatArray:
    """Actual vapour pressure from a water psychrometer, FAO-56 equation 15.

    Parameters
    ----------
    temperature, wet_bulb : array-like, shape (n,)
        Dry and wet bulb; the wet one at most the dry one. [°C]
    pressure : array-like, shape (n,)
        Air pressure. [kPa]
    coefficient : float
        0.000662 ventilated, 0.000800 natural draught, 0.001200 indoors. [1/°C]

    Returns
    -------
    ndarray, shape (n,)
        Vapour pressure; NaN outside the ranges and where the pair is impossible. [kPa]
    """
    dry, wet, air_pressure = same_shape(temperature, wet_bulb, pressure)
    vapour = saturation_vapour_pressure(wet) - coefficient * air_pressure * (dry - wet)
    possible = (vapour >= 0) & (wet <= dry) & ~np.isnan(saturation_vapour_pressure(dry))
    return np.where(possible, vapour, np.nan)


def wet_bulb(
    temperature: ArrayLike,
    relative_humidity: ArrayLike,
    pressure: ArrayLike = SEA_LEVEL_PRESSURE,
) -> FloatArray:
    """Wet bulb of a ventilated water psychrometer, solved for every element at once.

    Parameters
    ----------
    temperature : array-like, shape (n,)
        Air temperature, -45 to 60. [°C]
    relative_humidity : array-like, shape (n,)
        Relative humidity over water, 0 to 100. [%]
    pressure : array-like, shape (n,)
        Air pressure. [kPa]

    Returns
    -------
    ndarray, shape (n,)
        Wet bulb over water, below 0 °C too; NaN outside the ranges. [°C]

    Notes
    -----
    The root of e0(Tw) - a P (T - Tw) = ea. The left side rises with Tw and bends upward, so
    Newton's method from Tw = T comes down to the root without overshooting. Other physics give
    other wet bulbs: up to 0.35 K in warm dry air (computed).

    Examples
    --------
    >>> round(float(wet_bulb(20.0, 50.0)), 2)
    13.84
    """
    air, humidity, air_pressure = same_shape(temperature, relative_humidity, pressure)
    vapour = vapour_pressure(air, humidity)
    gain = VENTILATED * np.where(air_pressure > 0, air_pressure, np.nan)
    bulb = np.where(np.isnan(vapour), np.nan, air)
    for _ in range(WET_BULB_STEPS):
        saturated = _tetens(bulb)
        excess = saturated - gain * (air - bulb) - vapour
        bulb = bulb - excess / (4098.0 * saturated / (bulb + 237.3) ** 2 + gain)
    return np.asarray(np.minimum(bulb, air))


def pressure_at_altitude(altitude: ArrayLike) -> FloatArray:
    """Give the standard air pressure at an altitude (m), FAO-56 equation 7 [kPa].

    NaN outside -500 to 5000 m (our range, assumption); shape as the input's.

    >>> round(float(pressure_at_altitude(1800.0)), 1)
    81.8
    """
    height = _inside(np.asarray(altitude, dtype=np.float64), -500.0, 5000.0)
    return np.asarray(101.3 * ((293.0 - 0.0065 * height) / 293.0) ** 5.26)


def psychrometric_constant(pressure: ArrayLike) -> FloatArray:
    """Psychrometric constant at an air pressure (kPa), FAO-56 equation 8 [kPa/°C]."""
    return np.asarray(0.000665 * np.asarray(pressure, dtype=np.float64))


def humidity_ratio(vapour: ArrayLike, pressure: ArrayLike = SEA_LEVEL_PRESSURE) -> FloatArray:
    """Mass of vapour for each mass of dry air; vapour and air pressure in kPa [kg/kg].

    NaN where the vapour pressure is negative or not below the air pressure.
    """
    water, total = same_shape(vapour, pressure)
    water = np.where((water >= 0) & (water < total), water, np.nan)
    return np.asarray(0.621945 * water / (total - water))
