"""Arrays at the door of every model: same shape, checked, and boxes of least and most."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


class Box(NamedTuple):
    """Least and most temperature and wet hours, all of one shape, without NaN."""

    t_lo: FloatArray
    t_hi: FloatArray
    w_lo: FloatArray
    w_hi: FloatArray


def same_shape(*values: ArrayLike) -> tuple[FloatArray, ...]:
    """Turn array-likes into float arrays broadcast to one shape.

    Raises
    ------
    ValueError
        If the shapes do not broadcast.
    """
    arrays = (np.asarray(value, dtype=np.float64) for value in values)
    return tuple(np.broadcast_arrays(*arrays))


def refuse_negative(name: str, values: FloatArray) -> None:
    """Refuse negative amounts; NaN passes, since missing is not negative.

    Raises
    ------
    ValueError
        If any value is below 0.
    """
    if (values < 0).any():
        raise ValueError(f"{name} is {float(np.nanmin(values)):g}; expected 0 or more")


def refuse_outside(name: str, values: FloatArray, least: float, most: float) -> None:
    """Refuse values outside ``least`` to ``most``; NaN passes.

    Raises
    ------
    ValueError
        If any value lies outside.
    """
    outside = (values < least) | (values > most)
    if outside.any():
        found = float(values[outside].flat[0])
        raise ValueError(f"{name} is {found:g}; expected {least:g} to {most:g}")


def wet_box(t_lo: ArrayLike, t_hi: ArrayLike, w_lo: ArrayLike, w_hi: ArrayLike) -> Box:
    """Check a box of temperature by wet hours, and widen what is missing.

    Parameters
    ----------
    t_lo, t_hi : array-like, shape (n,)
        Least and most mean temperature of the wet hours; NaN means unknown. [°C]
    w_lo, w_hi : array-like, shape (n,)
        Least and most wet hours; NaN means unknown. [h]

    Returns
    -------
    Box
        The same with NaN replaced by minus or plus infinity (hours: 0 or infinity).

    Raises
    ------
    ValueError
        If hours are negative, or a least is above its most.
    """
    t_lo, t_hi, w_lo, w_hi = same_shape(t_lo, t_hi, w_lo, w_hi)
    refuse_negative("hours_wet", w_lo)
    refuse_negative("hours_wet", w_hi)
    for name, lo, hi in (("temperature", t_lo, t_hi), ("hours_wet", w_lo, w_hi)):
        wrong = lo > hi
        if wrong.any():
            least, most = float(lo[wrong].flat[0]), float(hi[wrong].flat[0])
            raise ValueError(f"least {name} is {least:g}; expected at most {most:g}")
    return Box(
        np.where(np.isnan(t_lo), -np.inf, t_lo),
        np.where(np.isnan(t_hi), np.inf, t_hi),
        np.where(np.isnan(w_lo), 0.0, w_lo),
        np.where(np.isnan(w_hi), np.inf, w_hi),
    )


def logistic(logit: FloatArray) -> FloatArray:
    """Proportion from its logit [1]."""
    return np.asarray(1.0 / (1.0 + np.exp(-logit)))
