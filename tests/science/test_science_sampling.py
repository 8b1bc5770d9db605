"""Properties of sampling, and comparison with statsmodels and scipy."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskrules.science import sampling

counts = st.integers(1, 5000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


@given(counts)
def test_wilson_stays_within_zero_and_one_and_holds_the_proportion(count):
    affected, examined = count
    lo, hi = sampling.wilson_interval(affected, examined)
    assert 0 <= lo <= affected / examined <= hi <= 1


@given(counts)
def test_wilson_is_its_own_mirror(count):
    affected, examined = count
    lo, hi = sampling.wilson_interval(affected, examined)
    other_lo, other_hi = sampling.wilson_interval(examined - affected, examined)
    assert (lo, hi) == pytest.approx((1 - other_hi, 1 - other_lo), abs=1e-12)


@given(counts)
def test_wilson_bounds_solve_the_score_equation(count):
    affected, examined = count
    p = affected / examined
    for bound in sampling.wilson_interval(affected, examined):
        if 0 < bound < 1:
            spread = sampling.Z95 * math.sqrt(bound * (1 - bound) / examined)
            assert abs(p - bound) == pytest.approx(spread, abs=1e-9)


def test_none_and_all_are_exact():
    assert sampling.wilson_interval(0, 20)[0] == 0
    assert sampling.wilson_interval(20, 20)[1] == 1


def test_nothing_examined_says_nothing():
    lo, hi = sampling.wilson_interval([0, np.nan, 1], [0, 10, np.nan])
    assert lo.tolist() == [0, 0, 0]
    assert hi.tolist() == [1, 1, 1]
    assert sampling.zero_of_n_upper(0) == 1


@pytest.mark.parametrize(("affected", "examined"), [(-1, 10), (11, 10)])
def test_impossible_counts_are_refused(affected, examined):
    with pytest.raises(ValueError, match="expected"):
        sampling.wilson_interval(affected, examined)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: sampling.wilson_interval(1, 2, z=0), "z is 0"),
        (lambda: sampling.zero_of_n_upper(-1), "examined is -1"),
        (lambda: sampling.zero_of_n_upper(5, 1.0), "confidence is 1"),
        (lambda: sampling.sample_size_relative(0, 0.2), "proportion is 0"),
        (lambda: sampling.sample_size_relative(0.1, 0), "relative_error is 0"),
        (lambda: sampling.sample_size_absolute(0.1, 1.5), "error is 1.5"),
        (lambda: sampling.detect_one_n(1.0), "proportion is 1"),
        (lambda: sampling.design_effect(1.5, 5), "correlation is 1.5"),
        (lambda: sampling.design_effect(0.1, 0.5), "per_unit is 0.5"),
        (lambda: sampling.effective_sample(-1, 5, 0.1), "units is -1"),
        (lambda: sampling.sequential_lines(0.2, 0.1), "low is 0.2"),
    ],
)
def test_what_makes_no_sense_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_rounding_up_is_blind_to_the_last_bit_only():
    # 0.9 / (0.1 * 0.3**2) is 100.00000000000001 in binary: a bare ceil says 101.
    assert math.ceil((1 - 0.1) / (0.1 * 0.3**2)) == 101
    assert sampling.sample_size_relative(0.1, 0.3) == 100
    assert sampling.round_up(100.001) == 101


@given(st.floats(0.001, 0.9))
def test_detecting_one_is_the_least_number_that_suffices(proportion):
    n = sampling.detect_one_n(proportion)
    assert (1 - proportion) ** n <= 0.05 * (1 + 1e-6)
    assert (1 - proportion) ** (n - 1) > 0.05 * (1 - 1e-6)


@given(st.integers(1, 5000))
def test_zero_of_n_and_detecting_one_are_inverse(n):
    upper = sampling.zero_of_n_upper(n)
    assert sampling.detect_one_n(upper) == n


@given(st.floats(0, 1), st.integers(1, 50), st.integers(1, 500))
def test_a_clustered_sample_is_worth_between_its_units_and_its_leaves(rho, per_unit, units):
    worth = sampling.effective_sample(units, per_unit, rho)
    assert units - 1e-6 <= worth <= units * per_unit + 1e-6


def test_statsmodels_gives_the_same_wilson_interval():
    proportion = pytest.importorskip(
        "statsmodels.stats.proportion", reason="compares with statsmodels"
    )
    for affected, examined in [(0, 20), (1, 50), (7, 50), (50, 100), (20, 20)]:
        theirs = proportion.proportion_confint(affected, examined, 0.05, "wilson")
        assert sampling.wilson_interval(affected, examined) == pytest.approx(theirs, abs=1e-12)


def test_scipy_gives_the_same_wilson_interval():
    stats = pytest.importorskip("scipy.stats", reason="compares with scipy")
    for affected, examined in [(0, 20), (1, 50), (7, 50), (50, 100), (20, 20)]:
        theirs = stats.binomtest(affected, examined).proportion_ci(0.95, "wilson")
        found = sampling.wilson_interval(affected, examined)
        assert found == pytest.approx((theirs.low, theirs.high), abs=1e-9)


def test_scipy_gives_the_same_bound_for_none():
    stats = pytest.importorskip("scipy.stats", reason="compares with scipy")
    for n in (20, 60, 300):
        exact = stats.binomtest(0, n, alternative="less").proportion_ci(0.95).high
        assert sampling.zero_of_n_upper(n) == pytest.approx(exact)


def test_wilson_covers_as_often_as_it_says():
    rng = np.random.default_rng(11)
    for p in (0.05, 0.2, 0.5):
        lo, hi = sampling.wilson_interval(rng.binomial(60, p, 20_000), 60)
        assert np.mean((lo <= p) & (p <= hi)) == pytest.approx(0.95, abs=0.03)
