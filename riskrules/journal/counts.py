"""What the counts of a walk say: the share affected with its interval, and its trend.

Plants at one stop resemble one another, so that 200 plants at 20 stops tell less than 200 drawn
one by one. How much less is the design effect, measured from how the stops differ.

References
----------
.. [1] Wilson 1927. J. Amer. Stat. Assoc. 22:209-212 [memory].
.. [2] Cochran 1977. Sampling Techniques, 3rd ed., Wiley: ratio estimator, variance between
   clusters [memory].
.. [3] Korn, Graubard 1998. Survey Methodology 24:193-201: effective sample and Student's t in an
   interval for a proportion [memory].
.. [4] Madden, Hughes 1999. Phytopathology 89:1088-1103 (clustering) [read: abstract].
.. [5] Madden et al. 1996. Crop Prot. 15:621-632 (intervals where no disease was seen)
   [read: abstract].
.. [6] McCullagh, Nelder 1989. Generalized Linear Models, 2nd ed. (overdispersion) [memory].
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist
from typing import Literal

from riskrules.journal.records import Stop
from riskrules.science.sampling import (
    design_effect,
    t_quantile,
    wilson_interval,
    zero_of_n_upper,
)

PATCHY = 0.2
"""Correlation within a stop where the counts cannot tell it. [1] (assumption)"""
POOL_FROM = 20
"""Stops from which 'no more alike than by chance' is believed. [count] (assumption, chosen with
the simulation in the tests)"""
FEW = 6
"""Below this many stops with affected ones (or with sound ones) the counts hardly show how they
cluster. [count] (assumption, chosen with the simulation in the tests)"""

Method = Literal["wilson", "cluster_robust", "cluster_assumed", "one_sided_bound", "nothing"]
Sided = Literal["two", "upper", "lower"]


@dataclass(frozen=True, slots=True)
class Estimate:
    """The share affected, and the least and most it may be with the confidence stated.

    ``share`` is NaN where nothing was examined. ``design_effect`` is how many times fewer plants
    drawn one by one would tell as much. ``sided`` says whether both ends leave out half of the
    rest each, or one all of it.
    """

    affected: int
    examined: int
    share: float
    low: float
    high: float
    method: Method
    sided: Sided
    design_effect: float
    words: str
    stops: int = 0
    confidence: float = 0.95


def estimate(
    stops: Sequence[Stop], confidence: float = 0.95, correlation: float = PATCHY
) -> Estimate:
    """Estimate the share affected in a block from the counts at the stops of a walk.

    Wilson's interval [1] where the stops may be pooled: one plant a stop, or ``POOL_FROM`` stops
    or more that differ no more than by chance. Else a cluster-robust interval: the share is the
    ratio of the sums, its variance that between stops [2], and Wilson's interval is taken for
    the effective sample with Student's t of one less than the stops [3], so that it stays within
    0 and 1. It is never narrower than chance alone makes it. Where the counts cannot tell how
    alike plants of a stop are (one stop; fewer than ``FEW`` with affected ones), they count as
    alike by ``correlation`` at least. Where none or all are affected, a one-sided bound.

    Parameters
    ----------
    stops : sequence of Stop
        Counts of one symptom on one part in one block, each stop once.
    confidence : float
        Chance that such an interval holds the true share. [1]
    correlation : float
        Within a stop, where the counts cannot tell it; 0 where plants are known to sicken
        one by one. [1]

    Raises
    ------
    ValueError
        If confidence is not between 0 and 1, or correlation is outside 0 to 1.

    Examples
    --------
    >>> found = estimate([Stop(stop=i, affected=0, examined=1) for i in range(1, 61)])
    >>> round(found.high, 4), found.sided
    (0.0487, 'upper')
    """
    if not 0 < confidence < 1:
        raise ValueError(f"confidence is {confidence:g}; expected between 0 and 1")
    affected, examined = sum(s.affected for s in stops), sum(s.examined for s in stops)
    assumed = _assumed_effect(stops, correlation)
    if examined == 0:
        words = "Nothing was examined, so the share may be anything."
        return Estimate(0, 0, math.nan, 0.0, 1.0, "nothing", "two", 1.0, words, 0, confidence)
    if affected in (0, examined):
        return _none_or_all(stops, confidence, assumed, correlation)
    found, why = _chosen(stops, assumed)
    return _two_sided(stops, confidence, *found, why)


def measured_effect(stops: Sequence[Stop]) -> float:
    """Return the design effect that the counts show; NaN where they cannot show any.

    Variance of the ratio estimator between stops [2] over that of as many plants drawn one by
    one: m / (m - 1) sum (x - p n)² / (p (1 - p) sum n), for m stops with x of n affected.

    Examples
    --------
    >>> counts = [Stop(stop=i, affected=a, examined=4) for i, a in enumerate((0, 0, 4, 4), 1)]
    >>> round(measured_effect(counts), 4)
    5.3333
    """
    n, m = sum(s.examined for s in stops), len(stops)
    p = sum(s.affected for s in stops) / n if n else 0.0
    if m < 2 or p in (0.0, 1.0):
        return math.nan
    between = sum((s.affected - p * s.examined) ** 2 for s in stops)
    return m / (m - 1) * between / (p * (1 - p) * n)


def _assumed_effect(stops: Sequence[Stop], correlation: float) -> float:
    """Return the design effect of a correlation, at the mean size of stop met by a plant."""
    n = sum(s.examined for s in stops)
    size = sum(s.examined**2 for s in stops) / n if n else 1.0
    return float(design_effect(correlation, size))


def _none_or_all(
    stops: Sequence[Stop], confidence: float, effect: float, correlation: float
) -> Estimate:
    n, none = sum(s.examined for s in stops), all(s.affected == 0 for s in stops)
    bound, alone = zero_of_n_upper(n / effect, confidence), zero_of_n_upper(n, confidence)
    sure = f"one-sided {percent(confidence, 0)} bound"
    if none:
        words = f"None seen of {n} examined{_at(stops)}: up to {percent(bound)} may be affected"
        plain = f"up to {percent(alone)}"
    else:
        words = f"All {n} examined{_at(stops)} affected: at least {percent(1 - bound)} are"
        plain = f"at least {percent(1 - alone)}"
    words += f" ({sure}; {_alike(effect, correlation)}"
    words += f"; {plain} if each sickens on its own)." if effect > 1 else ")."
    low, high = (0.0, bound) if none else (1.0 - bound, 1.0)
    return Estimate(
        *(0 if none else n, n, 0.0 if none else 1.0, low, high, "one_sided_bound"),
        *("upper" if none else "lower", effect, words, len(stops), confidence),
    )


def _alike(effect: float, correlation: float) -> str:
    if effect <= 1:
        return "each counts on its own"
    said = "such a count cannot show how alike those of one stop are, so they are taken as alike"
    return f"{said} by {correlation:g} (assumption), design effect {effect:.2f}"


def _chosen(stops: Sequence[Stop], assumed: float) -> tuple[tuple[Method, float], str]:
    """Return the method, the design effect, and why."""
    if len(stops) == 1 and assumed > 1:
        why = "with one stop nobody can tell how much stops differ; a design effect of "
        return ("cluster_assumed", assumed), f"{why}{assumed:.2f} is assumed"
    if all(s.examined == 1 for s in stops) or len(stops) == 1:
        return ("wilson", 1.0), "pooled: they count one by one"
    effect = measured_effect(stops)
    some = min(sum(s.affected > 0 for s in stops), sum(s.affected < s.examined for s in stops))
    if some < FEW and effect < assumed:
        why = f"with so few stops to tell by, a design effect of {assumed:.2f} is assumed"
        return ("cluster_robust", assumed), f"not pooled: {why}, {effect:.2f} measured"
    if effect > 1:
        why = "stops differ more than by chance, those of one stop are alike"
        return ("cluster_robust", effect), f"not pooled: {why}, design effect {effect:.2f}"
    if len(stops) < POOL_FROM:
        why = f"{len(stops)} stops are too few to show that they differ only by chance"
        return ("cluster_robust", 1.0), f"not pooled: {why}; design effect 1 taken"
    return ("wilson", 1.0), f"pooled: stops differ no more than by chance ({effect:.2f} measured)"


def _two_sided(
    stops: Sequence[Stop], confidence: float, method: Method, effect: float, why: str
) -> Estimate:
    k, n = sum(s.affected for s in stops), sum(s.examined for s in stops)
    name = "Wilson interval"
    if method == "cluster_robust":
        quantile, name = _student(confidence, len(stops) - 1), "cluster-robust interval"
    else:
        quantile = NormalDist().inv_cdf((1 + confidence) / 2)
        name += " of the effective sample" if effect > 1 else ""
    ends = wilson_interval(k / effect, n / effect, quantile)
    low, high = float(ends[0]), float(ends[1])
    words = f"{k} of {n} affected{_at(stops)}: {percent(k / n)}, {percent(low)} to {percent(high)}"
    words += f" ({name}, two-sided {percent(confidence, 0)}; {why})."
    return Estimate(k, n, k / n, low, high, method, "two", effect, words, len(stops), confidence)


def _at(stops: Sequence[Stop]) -> str:
    return f" at {len(stops)} stop{'s' if len(stops) > 1 else ''}"


@lru_cache(maxsize=1024)
def _student(confidence: float, freedom: int) -> float:
    return t_quantile((1 + confidence) / 2, freedom)


def percent(share: float, digits: int = 1) -> str:
    """Return a share as people read it; what is not nothing never reads as 0 %, nor as all.

    Examples
    --------
    >>> percent(0.0487), percent(0.0002), percent(0.95, 0), percent(0.99999)
    ('4.9 %', 'under 0.1 %', '95 %', 'over 99.9 %')
    """
    least = 10.0**-digits
    if 0 < share * 100 < least:
        return f"under {least:.{digits}f} %"
    if 100 - least < share * 100 < 100:
        return f"over {100 - least:.{digits}f} %"
    return f"{share * 100:.{digits}f} %"


@dataclass(frozen=True, slots=True)
class Trend:
    """How the share changes: the slope of its logit with its interval [per week].

    All three are None where the counts cannot tell it; ``words`` says why. ``dispersion`` is how
    many times more the weeks scatter about the line than their own intervals explain.
    """

    counts: int
    slope: float | None
    low: float | None
    high: float | None
    dispersion: float
    words: str
    confidence: float = 0.95


def trend(estimates: Sequence[tuple[int, Estimate]], confidence: float = 0.95) -> Trend:
    """Fit how the share affected changes over weeks.

    Logistic regression of the counts on time, each count at its effective sample (examined by
    design effect). Scatter beyond that widens the interval by the root of Pearson's statistic over
    its degrees of freedom, never below 1 [6]; Student's t with two less than the counts.

    Parameters
    ----------
    estimates : sequence of (time, Estimate)
        Of one symptom on one part in one block; times in seconds since 1970 UTC.
    confidence : float
        Of the interval. [1]

    Returns
    -------
    Trend
        Without a slope where there are counts of fewer than three calendar weeks (UTC), where
        none or all were affected in all of them, or where only the first or last shows any.
    """
    points = sorted(((t, e) for t, e in estimates if e.examined), key=lambda p: p[0])
    refused = _refusal(points)
    if refused:
        return Trend(len(points), None, None, None, math.nan, refused, confidence)
    start = points[0][0]
    weeks = [(t - start) / 604_800 for t, _ in points]
    sizes = [e.examined / e.design_effect for _, e in points]
    shares = [e.share for _, e in points]
    slope, error, pearson = fit(weeks, shares, sizes)
    freedom = len(points) - 2
    dispersion = max(1.0, pearson / freedom)
    half = _student(confidence, freedom) * error * math.sqrt(dispersion)
    low, high = slope - half, slope + half
    words = _trend_words(len(points), slope, low, high, confidence, dispersion)
    return Trend(len(points), slope, low, high, dispersion, words, confidence)


def _refusal(points: Sequence[tuple[int, Estimate]]) -> str:
    """Return why there is no trend to tell; empty where there is one."""
    # Day 0 of 1970 was a Thursday; weeks start on Monday.
    weeks = {(t // 86_400 + 3) // 7 for t, _ in points}
    if len(weeks) < 3:
        return f"No trend: counts of {len(weeks)} calendar weeks; expected 3 or more."
    if all(e.affected == 0 for _, e in points):
        return f"No trend: none seen in any of {len(points)} counts, which shows no change either."
    if all(e.affected == e.examined for _, e in points):
        return f"No trend: all examined were affected in each of {len(points)} counts."
    some = [t for t, e in points if e.affected]
    sound = [t for t, e in points if e.affected < e.examined]
    if min(some) >= max(sound):
        return "No trend: any were seen only at the end; how fast it rises cannot be told."
    if max(some) <= min(sound):
        return "No trend: any were seen only at the start; how fast it falls cannot be told."
    return ""


def fit(
    weeks: Sequence[float], shares: Sequence[float], sizes: Sequence[float]
) -> tuple[float, float, float]:
    """Fit logit share = a + b week by Newton's steps, each weighed by its size.

    Returns
    -------
    tuple of float
        Slope b [per week], its standard error without overdispersion, and Pearson's statistic.

    Raises
    ------
    ValueError
        If it does not settle; such as when the shares are 0 up to one week and 1 after it.
    """
    total = sum(sizes)
    middle = sum(w * n for w, n in zip(weeks, sizes, strict=True)) / total
    centred = [w - middle for w in weeks]
    mean = sum(p * n for p, n in zip(shares, sizes, strict=True)) / total
    a, b = math.log(mean / (1 - mean)), 0.0
    for _ in range(200):
        fitted = [_logistic(a + b * x) for x in centred]
        info = [n * q * (1 - q) for n, q in zip(sizes, fitted, strict=True)]
        s0, s1, s2 = (sum(w * x**k for w, x in zip(info, centred, strict=True)) for k in (0, 1, 2))
        rest = [n * (p - q) for n, p, q in zip(sizes, shares, fitted, strict=True)]
        u0, u1 = sum(rest), sum(r * x for r, x in zip(rest, centred, strict=True))
        spread = s0 * s2 - s1**2
        if spread <= 0:
            break
        step_a, step_b = (s2 * u0 - s1 * u1) / spread, (s0 * u1 - s1 * u0) / spread
        # A long step from far away may overshoot; the sum of squares stays convex near the fit.
        damp = min(1.0, 2.0 / max(abs(step_a), abs(step_b), 1e-300))
        a, b = a + damp * step_a, b + damp * step_b
        if abs(step_a) + abs(step_b) < 1e-12:
            pearson = sum(r**2 / w for r, w in zip(rest, info, strict=True))
            return b, math.sqrt(s0 / spread), pearson
    raise ValueError("the trend does not settle on a slope; the counts part cleanly in time")


def _logistic(value: float) -> float:
    return 1 / (1 + math.exp(-value)) if value > -700 else 0.0


def _trend_words(
    counts: int, slope: float, low: float, high: float, confidence: float, dispersion: float
) -> str:
    if low > 0:
        said = "Rising"
    elif high < 0:
        said = "Falling"
    else:
        said = "No sure change, it may rise or fall"
    odds = [_times(value) for value in (slope, low, high)]
    words = f"{said}: the odds change {odds[0]} a week, {odds[1]} to {odds[2]} "
    words += f"(two-sided {percent(confidence, 0)}, {counts} counts"
    if dispersion > 1:
        words += f"; they scatter {dispersion:.1f} times as much as they should, so it is wider"
    return f"{words})."


def _times(slope: float) -> str:
    if slope > math.log(1000):
        return "more than 1000-fold"
    if slope < -math.log(1000):
        return "less than 0.001-fold"
    return f"{math.exp(slope):.3g}-fold"
