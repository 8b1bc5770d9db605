"""Quantiles and samples of few: against scipy, and as tabled."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskrules.science.sampling import (
    beta_quantile,
    clopper_pearson,
    detect_one_among,
    finite_sample,
    incomplete_beta,
    t_quantile,
)


@pytest.mark.parametrize("freedom", [1, 2, 5, 19, 100, 10_000])
@pytest.mark.parametrize("probability", [0.01, 0.5, 0.8, 0.975, 0.9995])
def test_student_is_that_of_scipy(freedom, probability):
    stats = pytest.importorskip("scipy.stats", reason="compares with scipy")
    theirs = stats.t.ppf(probability, freedom)
    assert t_quantile(probability, freedom) == pytest.approx(theirs, rel=1e-8, abs=1e-9)


@pytest.mark.parametrize(
    ("freedom", "printed"),
    [
        (1, 12.706),  # every statistics textbook's table, two-sided 5 % [memory]
        (9, 2.262),  # the same
        (30, 2.042),  # the same
    ],
)
def test_student_is_as_tabled(freedom, printed):
    assert t_quantile(0.975, freedom) == pytest.approx(printed, abs=5e-4)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.1, 500), st.floats(0.1, 500), st.floats(0, 1))
def test_the_incomplete_beta_function_is_that_of_scipy(a, b, x):
    special = pytest.importorskip("scipy.special", reason="compares with scipy")
    assert incomplete_beta(a, b, x) == pytest.approx(special.betainc(a, b, x), abs=1e-9)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: incomplete_beta(0, 1, 0.5), "a and b are 0 and 1"),
        (lambda: incomplete_beta(1, 1, 2), "x is 2"),
        (lambda: beta_quantile(1, 1, 1), "probability is 1"),
        (lambda: t_quantile(0.9, 0), "freedom is 0"),
        (lambda: clopper_pearson(3, 2), "3 affected of 2"),
        (lambda: finite_sample(0, 5), "size is 0"),
        (lambda: finite_sample(5, 0), "population is 0"),
        (lambda: detect_one_among(0, 0.5), "population is 0"),
    ],
)
def test_what_makes_no_sense_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()
