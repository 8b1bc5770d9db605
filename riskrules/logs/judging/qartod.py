"""Four tests of IOOS QARTOD, run by the library ioos_qc where it could say anything but PASS.

The library costs a fifth of a second to import, its spike test loops over rows in Python, and
its flat-line test makes an array of rows times window. So a cheap condition that must hold for
any other flag finds the stretches that matter; only these, with the neighbours that the test
needs, are handed over. The flags equal those of the library run over the whole series.

All functions take values without gaps: the caller closes a series up, so that a gap cannot make
a bad sensor honest. Flags are those of QARTOD: 1 pass, 2 not evaluated, 3 suspect, 4 fail.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from riskrules.logs.readings import Ints, Small
from riskrules.logs.troubles import Flag
from riskrules.logs.variables import Floats

Bools = npt.NDArray[np.bool_]
LARGEST_WINDOWS = 2_000_000
"""Numbers that the flat-line test may hold at once. (assumption: 16 MB)"""
FAR = 1e9
"""Farther from any value of ours than any tolerance."""


def gross_range(
    values: Floats, fail: tuple[float, float], suspect: tuple[float, float] | None = None
) -> Small:
    """Flag values beyond two spans.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Without NaN.
    fail, suspect : tuple of float
        Least and most that a value can be, and that it mostly is, each included.

    Returns
    -------
    ndarray of uint8, shape (n,)

    Examples
    --------
    The library's own example:

    >>> gross_range(np.array([1.0, 2, 3, 4, 8]), (0, 5), (1, 4))
    array([1, 1, 1, 1, 4], dtype=uint8)
    """
    flags = _passed(len(values))
    low, high = suspect or fail
    beyond = np.flatnonzero((values < low) | (values > high))
    if len(beyond):
        from ioos_qc.qartod import gross_range_test

        flags[beyond] = gross_range_test(values[beyond], fail, suspect)
    return flags


def spike(values: Floats, suspect: float, fail: float | None = None) -> Small:
    """Flag values that stand out from both neighbours, by the method 'differential'.

    Of the two methods this one flags the spike alone; 'average' flags its neighbours as well.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Without NaN.
    suspect, fail : float
        How far a value must be from the nearer of its neighbours, both on one side of it.

    Returns
    -------
    ndarray of uint8, shape (n,)
        The first and last are not evaluated.
    """
    flags = _passed(len(values))
    flags[:1] = flags[-1:] = Flag.NOT_EVALUATED
    if len(values) < 3:
        return flags
    step = np.diff(values)
    out = (step[1:] > 0) != (step[:-1] > 0)
    out &= np.minimum(np.abs(step[1:]), np.abs(step[:-1])) > min(suspect, fail or suspect)
    for first, last in _stretches(np.flatnonzero(out) + 1):
        from ioos_qc.qartod import spike_test

        found = spike_test(values[first - 1 : last + 2], suspect, fail, method="differential")
        flags[first : last + 1] = found[1:-1]
    return flags


def rate_of_change(
    time: Ints, values: Floats, per_hour: float, fail_per_hour: float | None = None,
    least: float = 0.0,
) -> Small:  # fmt: skip
    """Flag values that changed too fast since the one before.

    Parameters
    ----------
    time, values : ndarray, shape (n,)
        [s], each later than the one before; values without NaN.
    per_hour, fail_per_hour : float
        Fastest change that passes, and that is only suspect. [unit per hour]
    least : float
        A change smaller than this always passes, which the library has no word for: at steps of
        a minute a sensor's own resolution is 30 K an hour.

    Returns
    -------
    ndarray of uint8, shape (n,)
    """
    flags = _passed(len(values))
    change = np.abs(np.diff(values))
    bound = min(per_hour, fail_per_hour or per_hour) / 3600.0
    # a hair under the bound: the library divides, and may round the other way
    fast = (change >= bound * np.diff(time) * (1 - 1e-9)) & (change >= least)
    if not fast.any():
        return flags
    from ioos_qc.qartod import rate_of_change_test

    hardest = None if fail_per_hour is None else fail_per_hour / 3600.0
    at = np.flatnonzero(fast) + 1
    for first, last in _stretches(at):
        part = slice(first - 1, last + 1)
        stamp = time[part].astype("datetime64[s]")
        found = rate_of_change_test(values[part], stamp, per_hour / 3600.0, hardest)
        flags[first : last + 1] = found[1:]
    return flags


def flat_line(
    step: int, values: Floats, suspect_s: float, fail_s: float, tolerance: float
) -> Small:
    """Flag values at whose end a window of values has stood still.

    The library counts values, not time: a window has as many as the usual step says. It flags
    from the end of the first such window on, so that by its word the beginning of a run is
    honest; `runs` gives the whole run, and `riskrules.logs.judge` refuses it as a whole.

    Parameters
    ----------
    step : int
        Median of the steps of the series, at least 1. [s]
    values : ndarray, shape (n,)
        Without NaN.
    suspect_s, fail_s : float
        Lengths of the windows. [s]
    tolerance : float
        A window stands still where its values span less than this.

    Returns
    -------
    ndarray of uint8, shape (n,)
    """
    flags = _passed(len(values))
    count = int(min(suspect_s, fail_s)) // step
    if len(values) < 3:
        return flags
    starts, ends = runs(values, tolerance)
    most = max(int(suspect_s), int(fail_s)) // step
    for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
        if end - start >= count:
            for first, last in _chunks(start, end, most):
                _flat(flags, values, (first, last), (suspect_s, fail_s, tolerance), step)
    return flags


def _flat(
    flags: Small, values: Floats, part: tuple[int, int],
    limits: tuple[float, float, float], step: int,
) -> None:  # fmt: skip
    """Let the library judge one stretch; what it flags is flagged, in place."""
    from ioos_qc.qartod import flat_line_test

    first, last = part
    piece = values[first : last + 1]
    # Fewer than three values it passes unseen; far ones before the run add no window to it.
    ahead = np.full(max(3 - len(piece), 0), piece[0] + FAR)
    piece = np.concatenate([ahead, piece])
    stamp = (step * np.arange(len(piece))).astype("datetime64[s]")
    found = np.asarray(flat_line_test(piece, stamp, *limits))[len(ahead) :]
    flags[first : last + 1] = np.maximum(flags[first : last + 1], found)


def runs(values: Floats, tolerance: float) -> tuple[Ints, Ints]:
    """Return first and last index of each run in which neighbours differ by less than a tolerance.

    Examples
    --------
    >>> runs(np.array([1.0, 2, 2, 3]), 0.1)
    (array([0, 1, 3]), array([0, 2, 3]))
    """
    if not len(values):
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    breaks = np.flatnonzero(np.abs(np.diff(values)) >= tolerance)
    starts = np.concatenate(([0], breaks + 1)).astype(np.int64)
    return starts, np.concatenate((breaks, [len(values) - 1])).astype(np.int64)


def _chunks(start: int, end: int, count: int) -> Iterator[tuple[int, int]]:
    """Cut a run so that each window lies in one piece and no piece makes too large an array."""
    size = max(LARGEST_WINDOWS // (count + 1), 1) + count
    while end - start + 1 > size:
        yield start, start + size - 1
        start += size - count
    yield start, end


def _stretches(at: Ints) -> Iterator[tuple[int, int]]:
    """Return first and last of each run of neighbouring indices."""
    if not len(at):
        return
    breaks = np.flatnonzero(np.diff(at) > 1)
    firsts = np.concatenate(([at[0]], at[breaks + 1]))
    lasts = np.concatenate((at[breaks], [at[-1]]))
    yield from zip(firsts.tolist(), lasts.tolist(), strict=True)


def _passed(n: int) -> Small:
    return np.full(n, int(Flag.PASS), dtype=np.uint8)
