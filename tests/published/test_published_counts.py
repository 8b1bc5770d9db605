"""Sampling and degree-days against printed and hand-worked values."""

import pytest

from riskrules.science import degree_days, sampling


@pytest.mark.parametrize(
    ("affected", "examined", "lower", "upper"),
    [
        (7, 50, 0.0695083, 0.2618619),  # [computed by hand] centre 0.1656851, half 0.0961768
        (0, 20, 0.0, 0.161125),  # library output: statsmodels 0.15.0
        (3, 60, 0.017150, 0.137005),  # library output: statsmodels 0.15.0
        (20, 20, 0.838875, 1.0),  # library output: statsmodels 0.15.0
    ],
)
def test_wilson_interval_is_as_worked(affected, examined, lower, upper):
    found = sampling.wilson_interval(affected, examined)
    assert found == pytest.approx((lower, upper), abs=5e-7)


@pytest.mark.parametrize(
    ("proportion", "error", "plants"),
    [
        (0.05, 0.2, 475),  # [computed by hand] 0.95 / (0.05 x 0.04) = 475
        (0.05, 0.3, 212),  # [computed by hand] 211.1
        (0.10, 0.3, 100),  # [computed by hand] exactly 100; floats give 100.00000000000001
        (0.20, 0.2, 100),  # [computed by hand] exactly 100
        (0.50, 0.3, 12),  # [computed by hand] 11.1
    ],
)
def test_plants_for_a_relative_error(proportion, error, plants):
    assert sampling.sample_size_relative(proportion, error) == plants


@pytest.mark.parametrize(
    ("proportion", "error", "plants"),
    [
        (0.10, 0.05, 139),  # [computed by hand] 3.841459 x 0.09 / 0.0025 = 138.3
        (0.50, 0.10, 97),  # [computed by hand] 96.04
        (0.05, 0.05, 73),  # [computed by hand] 72.99
    ],
)
def test_plants_for_an_absolute_error(proportion, error, plants):
    assert sampling.sample_size_absolute(proportion, error) == plants


@pytest.mark.parametrize(
    ("proportion", "plants"),
    [
        (0.01, 299),  # [computed by hand] ln 0.05 / ln 0.99 = 298.07
        (0.05, 59),  # [computed by hand] 58.4
        (0.20, 14),  # [computed by hand] 13.4
    ],
)
def test_plants_to_meet_one_affected(proportion, plants):
    assert sampling.detect_one_n(proportion) == plants
    assert (1 - proportion) ** plants <= 0.05 < (1 - proportion) ** (plants - 1)


@pytest.mark.parametrize(
    ("rho", "per_unit", "effect"),
    [
        (0.05, 5, 1.20),  # [computed by hand] 1 + 0.05 x 4
        (0.20, 10, 2.80),  # [computed by hand] 1 + 0.2 x 9
    ],
)
def test_design_effect_of_clusters(rho, per_unit, effect):
    assert sampling.design_effect(rho, per_unit) == pytest.approx(effect)


@pytest.mark.parametrize(
    ("least", "most", "base", "average", "triangle", "sine", "irish"),
    [
        (8, 20, 3, 11.0, 11.0, 11.0, 11.0),  # [computed by hand] base below the least
        (1, 13, 3, 4.0, 4.167, 4.353, 4.5),  # [computed by hand]
        (-2, 10, 3, 1.0, 2.042, 2.436, 2.25),  # [computed by hand; sine by integration]
        (-3, 5, 3, 0.0, 0.25, 0.436, 0.5),  # [computed by hand; sine by integration]
        (45, 75, 50, 10.0, 10.417, 10.882, 11.25),  # [computed by hand; sine by integration]
    ],
)
def test_degree_days_four_ways(least, most, base, average, triangle, sine, irish):
    ways = (
        degree_days.average,
        degree_days.single_triangle,
        degree_days.single_sine,
        degree_days.irish_rule,
    )
    found = [float(way(least, most, base)) for way in ways]
    assert found == pytest.approx([average, triangle, sine, irish], abs=0.0005)


def test_averaging_gives_the_printed_example():
    # UC IPM citrus figure: mean 64 °F, lower limit 53 °F gives 11 °F-days [read]
    assert degree_days.average(54, 74, 53) == 11
