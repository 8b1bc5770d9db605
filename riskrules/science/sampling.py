"""Counting plants: intervals, sample sizes, and what clustering costs.

References
----------
.. [1] Wilson 1927. J. Amer. Stat. Assoc. 22:209-212 [memory].
.. [2] Madden, Hughes 1999. Phytopathology 89:1088-1103 (clustering) [read: abstract].
.. [3] Wald 1945. Ann. Math. Stat. 16:117-186 (sequential test) [memory].
.. [4] Cochran 1977. Sampling Techniques, 3rd ed., Wiley (finite populations, ratio estimator)
   [memory].
.. [5] Clopper, Pearson 1934. Biometrika 26:404-413 [memory].
.. [6] NIST Digital Library of Mathematical Functions, 8.17.22 (incomplete beta function, continued
   fraction) [memory]; the values are checked against scipy.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from riskrules.science.arrays import FloatArray, refuse_negative, refuse_outside, same_shape

Z95 = 1.959963984540054  # two-sided 95 % [computed]


def round_up(count: float) -> int:
    """Round a sample size up, blind to the last bits of binary arithmetic.

    >>> round_up(100.00000000000001), round_up(100.2)
    (100, 101)
    """
    return math.ceil(count - 1e-9 * max(1.0, abs(count)))


def _proportion(name: str, value: float) -> float:
    if not 0.0 < value < 1.0:
        raise ValueError(f"{name} is {value:g}; expected above 0 and below 1")
    return value


def wilson_interval(
    affected: ArrayLike, examined: ArrayLike, z: float = Z95
) -> tuple[FloatArray, FloatArray]:
    """Wilson's score interval for a proportion, without continuity correction.

    Parameters
    ----------
    affected : array-like, shape (n,)
        Units affected, 0 to examined; not whole after a design effect. [1]
    examined : array-like, shape (n,)
        Units examined. [1]
    z : float
        Normal quantile; 1.96 for two-sided 95 %. [1]

    Returns
    -------
    tuple of ndarray, shape (n,)
        Lower and upper bound, 0 and 1 exactly where none or all are affected; 0 to 1 where none
        was examined or a count is NaN. [1]

    Raises
    ------
    ValueError
        If affected is negative or above examined, or z is not above 0.

    Examples
    --------
    >>> lo, hi = wilson_interval(7, 50)
    >>> round(float(lo), 6), round(float(hi), 6)
    (0.069508, 0.261862)
    """
    k, n = same_shape(affected, examined)
    refuse_negative("affected", k)
    if (k > n).any():
        raise ValueError("affected is more than examined; expected at most as many")
    if not z > 0:
        raise ValueError(f"z is {z}; expected above 0")
    known = (n > 0) & ~np.isnan(k)
    size = np.where(known, n, 1.0)
    p = np.where(known, k, 0.0) / size
    divisor = 1.0 + z**2 / size
    centre = (p + z**2 / (2.0 * size)) / divisor
    half = z * np.sqrt(p * (1.0 - p) / size + z**2 / (4.0 * size**2)) / divisor
    lo = np.where(known & (k > 0), np.clip(centre - half, 0.0, p), 0.0)
    hi = np.where(known & (k < n), np.clip(centre + half, p, 1.0), 1.0)
    return lo, hi


def zero_of_n_upper(examined: float, confidence: float = 0.95) -> float:
    """One-sided upper bound of the proportion when none of ``examined`` was affected [1].

    Gives 1 for nothing examined. ``examined`` is not whole after a design effect.

    Raises
    ------
    ValueError
        If examined is negative, or confidence outside 0 to 1.

    Examples
    --------
    >>> round(zero_of_n_upper(60), 4)
    0.0487
    """
    _proportion("confidence", confidence)
    if examined < 0:
        raise ValueError(f"examined is {examined:g}; expected 0 or more")
    return float(1.0 - (1.0 - confidence) ** (1.0 / examined)) if examined else 1.0


def sample_size_relative(proportion: float, relative_error: float) -> int:
    """Units to examine for a coefficient of variation of the estimate [1].

    (1 - p) / (p C²), for independent units.

    Raises
    ------
    ValueError
        If proportion is outside 0 to 1, or relative_error is not above 0.

    Examples
    --------
    >>> sample_size_relative(0.1, 0.3)
    100
    """
    p = _proportion("proportion", proportion)
    if not relative_error > 0:
        raise ValueError(f"relative_error is {relative_error:g}; expected above 0")
    return round_up((1.0 - p) / (p * relative_error**2))


def sample_size_absolute(proportion: float, error: float, z: float = Z95) -> int:
    """Units to examine for a half width ``error`` of the interval [1].

    z² p (1 - p) / d², for independent units.

    Raises
    ------
    ValueError
        If proportion or error is outside 0 to 1.

    Examples
    --------
    >>> sample_size_absolute(0.1, 0.05)
    139
    """
    p = _proportion("proportion", proportion)
    return round_up(z**2 * p * (1.0 - p) / _proportion("error", error) ** 2)


def detect_one_n(proportion: float, confidence: float = 0.95) -> int:
    """Units to examine so as to meet at least one affected [1].

    Raises
    ------
    ValueError
        If proportion or confidence is outside 0 to 1.

    Examples
    --------
    >>> detect_one_n(0.05)
    59
    """
    p = _proportion("proportion", proportion)
    missed = 1.0 - _proportion("confidence", confidence)
    return round_up(math.log(missed) / math.log1p(-p))


def design_effect(correlation: ArrayLike, per_unit: ArrayLike) -> FloatArray:
    """How many times the variance grows since neighbours resemble one another [1].

    1 + rho (n - 1), for n leaves or fruits in each sampling unit; shape as the inputs'.

    Raises
    ------
    ValueError
        If correlation is outside 0 to 1, or per_unit is below 1.

    Examples
    --------
    >>> float(design_effect(0.2, 5))
    1.8
    """
    rho, size = same_shape(correlation, per_unit)
    refuse_outside("correlation", rho, 0.0, 1.0)
    refuse_outside("per_unit", size, 1.0, math.inf)
    return np.asarray(1.0 + rho * (size - 1.0))


def effective_sample(units: ArrayLike, per_unit: ArrayLike, correlation: ArrayLike) -> FloatArray:
    """Independent plants that a clustered sample is worth: n N / design effect [1].

    Raises
    ------
    ValueError
        As for ``design_effect``, and if units are negative.

    Examples
    --------
    >>> round(float(effective_sample(60, 5, 0.2)), 1)
    166.7
    """
    count, size, rho = same_shape(units, per_unit, correlation)
    refuse_negative("units", count)
    return np.asarray(count * size / design_effect(rho, size))


def sequential_lines(
    low: float, high: float, alpha: float = 0.10, beta: float = 0.10
) -> tuple[float, float, float]:
    """Wald's lines for telling a low from a high proportion while counting.

    Parameters
    ----------
    low, high : float
        The two proportions, low below high. [1]
    alpha, beta : float
        Chances of the two wrong verdicts. [1]

    Returns
    -------
    tuple of float
        Slope, lower intercept and upper intercept: after n units, at most slope n + lower
        affected says low, at least slope n + upper says high. [1]

    Raises
    ------
    ValueError
        If a proportion is outside 0 to 1, or low is not below high.
    """
    p0, p1 = _proportion("low", low), _proportion("high", high)
    if not p0 < p1:
        raise ValueError(f"low is {p0:g}; expected below {p1:g}")
    odds = math.log(p1 * (1.0 - p0) / (p0 * (1.0 - p1)))
    slope = math.log((1.0 - p0) / (1.0 - p1)) / odds
    lower = math.log(_proportion("beta", beta) / (1.0 - _proportion("alpha", alpha))) / odds
    return slope, lower, math.log((1.0 - beta) / alpha) / odds


def finite_sample(size: int, population: int) -> int:
    """Units to examine where there are only ``population`` of them: n / (1 + (n - 1) / N) [4].

    ``size`` is the sample size for endlessly many units.

    Raises
    ------
    ValueError
        If either is below 1.

    Examples
    --------
    >>> finite_sample(139, 500)
    109
    """
    for name, value in (("size", size), ("population", population)):
        if value < 1:
            raise ValueError(f"{name} is {value}; expected 1 or more")
    return min(population, round_up(size / (1.0 + (size - 1) / population)))


def detect_one_among(population: int, proportion: float, confidence: float = 0.95) -> int:
    """Units to examine of ``population`` so as to meet at least one affected.

    The least n for which the hypergeometric chance to miss all affected, the product over them
    of (N - n - j) / (N - j), is at most 1 - confidence [4]. The affected are
    ``proportion`` of the population, rounded down to be cautious, but at least 1.

    Raises
    ------
    ValueError
        If population is below 1, or proportion or confidence is outside 0 to 1.

    Examples
    --------
    >>> detect_one_among(500, 0.02), detect_one_n(0.02)
    (129, 149)
    """
    if population < 1:
        raise ValueError(f"population is {population}; expected 1 or more")
    share = _proportion("proportion", proportion)
    most_missed = math.log(1.0 - _proportion("confidence", confidence))
    affected = max(1, math.floor(population * share * (1 + 1e-12)))

    def missed(n: int) -> float:
        if n + affected > population:
            return -math.inf
        few, many = sorted((n, affected))
        return sum(math.log1p(-many / (population - j)) for j in range(few))

    low, high = 0, population - affected + 1
    if affected < population:
        high = min(high, detect_one_n(affected / population, confidence))
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if missed(middle) <= most_missed + 1e-12 else (middle, high)
    return high


def incomplete_beta(a: float, b: float, x: float) -> float:
    """Regularised incomplete beta function I_x(a, b), by its continued fraction [6].

    ValueError if a or b is not above 0, or x is outside 0 to 1.

    >>> round(incomplete_beta(2.0, 3.0, 0.5), 9)
    0.6875
    """
    if not (a > 0 and b > 0):
        raise ValueError(f"a and b are {a:g} and {b:g}; expected above 0")
    if not 0.0 <= x <= 1.0:
        raise ValueError(f"x is {x:g}; expected 0 to 1")
    if x in (0.0, 1.0):
        return x
    if x > (a + 1.0) / (a + b + 2.0):
        return 1.0 - incomplete_beta(b, a, 1.0 - x)
    front = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)
    front += a * math.log(x) + b * math.log1p(-x)
    return math.exp(front) / (a * _beta_fraction(a, b, x))


def _beta_fraction(a: float, b: float, x: float) -> float:
    """Return 1 + d1/(1 + d2/(1 + ...)) by the method of Lentz."""
    value, upper, lower = 1.0, 1.0, 0.0
    for i in range(1, 100_000):
        m = i // 2
        if i % 2:
            d = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        else:
            d = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        lower = 1.0 / (1.0 + d * lower or 1e-300)
        upper = 1.0 + d / upper or 1e-300
        value *= upper * lower
        if abs(upper * lower - 1.0) < 1e-15:
            return value
    raise ValueError(f"no value for a {a:g}, b {b:g}, x {x:g}: it does not converge")


def beta_quantile(probability: float, a: float, b: float) -> float:
    """Value below which a beta distribution lies with ``probability``, by halving.

    ValueError if probability is outside 0 to 1, or a or b is not above 0.
    """
    wanted = _proportion("probability", probability)
    low, high = 0.0, 1.0
    while True:
        middle = (low + high) / 2.0
        if middle in (low, high):
            return middle
        low, high = (middle, high) if incomplete_beta(a, b, middle) < wanted else (low, middle)


def t_quantile(probability: float, freedom: float) -> float:
    """Quantile of Student's t distribution with ``freedom`` degrees of freedom [6].

    From the incomplete beta function, in the standard library alone.

    Raises
    ------
    ValueError
        If probability is outside 0 to 1, or freedom is not above 0.

    Examples
    --------
    >>> round(t_quantile(0.975, 9), 4)
    2.2622
    """
    p = _proportion("probability", probability)
    if not freedom > 0:
        raise ValueError(f"freedom is {freedom:g}; expected above 0")
    if p == 0.5:
        return 0.0
    x = beta_quantile(2.0 * min(p, 1.0 - p), freedom / 2.0, 0.5)
    return math.copysign(math.sqrt(freedom * (1.0 - x) / x), p - 0.5)


def clopper_pearson(affected: int, examined: int, confidence: float = 0.95) -> tuple[float, float]:
    """Two-sided interval of Clopper and Pearson: exact, hence wider than needed on average [5].

    Gives 0 to 1 for nothing examined.

    Raises
    ------
    ValueError
        If affected is negative or above examined, or confidence is outside 0 to 1.

    Examples
    --------
    >>> lo, hi = clopper_pearson(7, 50)
    >>> round(lo, 6), round(hi, 6)
    (0.058192, 0.267396)
    """
    if not 0 <= affected <= examined:
        raise ValueError(f"{affected} affected of {examined}; expected 0 to {examined}")
    tail = (1.0 - _proportion("confidence", confidence)) / 2.0
    sound = examined - affected
    low = beta_quantile(tail, affected, sound + 1) if affected else 0.0
    high = beta_quantile(1.0 - tail, affected + 1, sound) if sound else 1.0
    return low, high
