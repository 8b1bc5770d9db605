"""At which air temperature overhead water against frost starts, by dew point. No amounts.

Water that evaporates cools first, so dry air asks for an earlier start. The table is a start
table only: stop once ice is melting, normally after sunrise [read: Ontario]. Above about 3.6 m/s
of wind sprinkling is doubtful [read: North Carolina slides]. Heavier wind needs more water; the
printed rates disagree with one another and are left out on purpose.

References
----------
.. [1] Ontario ministry fruit advisers, frost options for strawberry growers, May 2024 [read].
.. [2] Farm consultant's article 2024, pairs one or two °F more cautious [read].
.. [3] Knox, Nevius, Knox 2017. Bull. Amer. Meteor. Soc. 98(9), doi 10.1175/BAMS-D-16-0246.1
   (one-third rule near 0 °C) [read: opening].
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from riskrules.science.air import SEA_LEVEL_PRESSURE, VENTILATED, saturation_vapour_pressure
from riskrules.science.arrays import FloatArray, same_shape

# Dew point and air temperature at which to start, moist to dry. [°C] [read: Ontario]
ONTARIO_START: tuple[tuple[float, float], ...] = (
    (-1.1, 0.0),
    (-1.7, 0.5),
    (-2.8, 1.1),
    (-3.8, 1.6),
    (-4.4, 2.7),
    (-5.5, 3.3),
    (-6.7, 3.8),
    (-8.3, 4.4),
)
# The same in °F. [read: consultant 2024]
CONSULTANT_START_F: tuple[tuple[float, float], ...] = (
    (32.0, 34.0),
    (31.0, 35.0),
    (29.0, 36.0),
    (28.0, 37.0),
    (26.0, 38.0),
)
DOUBTFUL_WIND = 3.6  # above this sprinkling is doubtful. [m/s] [read: North Carolina slides]
STOP = "once the ice is melting, normally after sunrise"  # [read: Ontario]


def start_temperature_from_table(dew_point: ArrayLike) -> FloatArray:
    """Air temperature at which to start overhead water, from the printed table.

    Parameters
    ----------
    dew_point : array-like, shape (n,)
        Dew point over water, -8.3 to -1.1. [°C]

    Returns
    -------
    ndarray, shape (n,)
        Air temperature of the row at or next below the dew point, the drier and so the earlier
        start; NaN outside the table. [°C]

    Examples
    --------
    >>> start_temperature_from_table([-2.8, -3.0, -9.0]).tolist()
    [1.1, 1.6, nan]
    """
    dew = np.asarray(dew_point, dtype=np.float64)
    rows = np.array(ONTARIO_START[::-1])
    inside = (dew >= rows[0, 0]) & (dew <= rows[-1, 0])
    row = np.searchsorted(rows[:, 0], np.where(inside, dew, rows[0, 0]), side="right") - 1
    return np.where(inside, rows[row, 1], np.nan)


def start_temperature_by_wet_bulb(
    dew_point: ArrayLike, pressure: ArrayLike = SEA_LEVEL_PRESSURE
) -> FloatArray:
    """Air temperature at which the water wet bulb is 0 °C, for a dew point.

    Parameters
    ----------
    dew_point : array-like, shape (n,)
        Dew point over water, at most 0. [°C]
    pressure : array-like, shape (n,)
        Air pressure. [kPa]

    Returns
    -------
    ndarray, shape (n,)
        Air temperature; NaN for a dew point above 0 °C, where the wet bulb stays above too.
        [°C]

    Notes
    -----
    The printed table is this within 0.5 K of wet bulb (computed). From e0(0) - a P T = ea.

    Examples
    --------
    >>> round(float(start_temperature_by_wet_bulb(-4.4)), 1)
    2.5
    """
    dew, air_pressure = same_shape(dew_point, pressure)
    vapour = saturation_vapour_pressure(np.where(dew <= 0, dew, np.nan))
    freezing = saturation_vapour_pressure(0.0)
    return np.asarray((freezing - vapour) / (VENTILATED * air_pressure))


def one_third_wet_bulb(temperature: ArrayLike, dew_point: ArrayLike) -> FloatArray:
    """Wet bulb by the one-third rule, T - (T - Td)/3, printed for near 0 °C.

    Parameters
    ----------
    temperature, dew_point : array-like, shape (n,)
        Air temperature, -5 to 10 (our range, assumption), and dew point. [°C]

    Returns
    -------
    ndarray, shape (n,)
        Wet bulb; NaN outside the range. [°C]

    Examples
    --------
    >>> round(float(one_third_wet_bulb(0.0, -5.0)), 2)
    -1.67
    """
    air, dew = same_shape(temperature, dew_point)
    near = (air >= -5.0) & (air <= 10.0) & (dew <= air)
    return np.where(near, air - (air - dew) / 3.0, np.nan)
