"""Degree-days of a day from its least and most temperature, four ways, no upper cut-off.

Against hourly data with the base inside the day's range averaging and sine come out slightly
low, the triangle off both ways; with the base below the least, averaging and triangle are
accurate [read: Acta Biotheor. 62:69, 2014, table 1]. Single cold days can be badly low by
averaging. NaN gives NaN.

References
----------
.. [1] UC IPM degree-day glossary (definitions) [read].
.. [2] Baskerville, Emin 1969. Ecology 50:514 (sine) [memory].
.. [3] Irish Met Service (four-case rule) [read].
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from riskrules.science.arrays import FloatArray, same_shape

STRAWBERRY_BASE = 3.0  # [°C] [second-hand: Krueger 2012]; 2.4 to 2.9 [read: Le Miere 1998]


def _day(least: ArrayLike, most: ArrayLike, base: ArrayLike) -> tuple[FloatArray, ...]:
    lo, hi, low = same_shape(least, most, base)
    if (lo > hi).any():
        wrong = float(lo[lo > hi].flat[0])
        raise ValueError(f"least temperature {wrong:g} is above the most; expected at most it")
    return lo, hi, low


def average(least: ArrayLike, most: ArrayLike, base: ArrayLike) -> FloatArray:
    """Degree-days of a day by averaging, max(0, M - base).

    Parameters
    ----------
    least, most : array-like, shape (n,)
        The day's least and most temperature. [°C]
    base : array-like, shape (n,)
        Lower threshold. [°C]

    Returns
    -------
    ndarray, shape (n,)
        Degree-days, 0 or more. [°C d]

    Raises
    ------
    ValueError
        If a least is above its most.

    Examples
    --------
    >>> float(average(1.0, 13.0, 3.0))
    4.0
    """
    lo, hi, low = _day(least, most, base)
    return np.asarray(np.maximum((lo + hi) / 2.0 - low, 0.0))


def _between(lo: FloatArray, hi: FloatArray, low: FloatArray, inside: FloatArray) -> FloatArray:
    straight = np.maximum((lo + hi) / 2.0 - low, 0.0)
    return np.where((lo < low) & (low < hi), inside, straight)


def _span(lo: FloatArray, hi: FloatArray, low: FloatArray) -> FloatArray:
    # Outside the day's range the span is not used; 1 keeps a flat day from dividing by nothing.
    return np.where((lo < low) & (low < hi), hi - lo, 1.0)


def single_triangle(least: ArrayLike, most: ArrayLike, base: ArrayLike) -> FloatArray:
    """Degree-days by one triangle, (max - base)² / (2 (max - min)) [°C d].

    Parameters and errors as in ``average``.

    >>> round(float(single_triangle(1.0, 13.0, 3.0)), 3)
    4.167
    """
    lo, hi, low = _day(least, most, base)
    part = (hi - low) ** 2 / (2.0 * _span(lo, hi, low))
    return _between(lo, hi, low, np.asarray(part))


def single_sine(least: ArrayLike, most: ArrayLike, base: ArrayLike) -> FloatArray:
    """Degree-days by one sine wave through the day's extremes [°C d].

    Parameters and errors as in ``average``.

    >>> round(float(single_sine(1.0, 13.0, 3.0)), 4)
    4.3526
    """
    lo, hi, low = _day(least, most, base)
    mean = (lo + hi) / 2.0
    half = _span(lo, hi, low) / 2.0
    angle = np.arcsin(np.clip((low - mean) / half, -1.0, 1.0))
    area = (mean - low) * (np.pi / 2.0 - angle) + half * np.cos(angle)
    return _between(lo, hi, low, np.asarray(area / np.pi))


def irish_rule(least: ArrayLike, most: ArrayLike, base: ArrayLike) -> FloatArray:
    """Degree-days by the Irish Met Service's four cases [°C d].

    The mean above the base if the least is above it, 0 if the most is below; between, (max -
    base)/2 - (base - min)/4 with the mean above the base and (max - base)/4 with it below.
    Parameters and errors as in ``average``.

    >>> float(irish_rule(1.0, 13.0, 3.0))
    4.5
    """
    lo, hi, low = _day(least, most, base)
    warm = (hi - low) / 2.0 - (low - lo) / 4.0
    cool = (hi - low) / 4.0
    return _between(lo, hi, low, np.where((lo + hi) / 2.0 > low, warm, cool))
