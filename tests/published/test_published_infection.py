"""Infection models: what their papers observed first, then hand-worked numbers."""

import pytest

from riskrules.science import anthracnose_fruit, generic_infection, gray_mold_flower, leather_rot
from riskrules.science.anthracnose_fruit import fruit_infection_index
from riskrules.science.generic_infection import ROWS, hours_needed
from riskrules.science.gray_mold_flower import flower_infection_index
from riskrules.science.leather_rot import leather_rot_level


@pytest.mark.parametrize(
    ("temperature", "hours_wet", "printed"),
    [
        (20, 24, 1.00),  # biology [read] Bulger 1987, abstract: all flowers; the model gives 0.96
    ],
)
def test_long_mild_wetness_infects_nearly_every_flower(temperature, hours_wet, printed):
    assert flower_infection_index(temperature, hours_wet) == pytest.approx(printed, abs=0.05)


def test_flowers_are_infected_most_at_about_twenty_degrees():
    best = gray_mold_flower.WARMEST_FOR_INFECTION
    assert best == pytest.approx(20, abs=1)  # biology [read] Bulger 1987, abstract: about 20 °C


@pytest.mark.parametrize(
    "temperature",
    [
        5,  # biology [read] Bulger 1987, abstract: strongly reduced below 15 °C
        30,  # biology [read] Bulger 1987, abstract: strongly reduced above 25 °C
    ],
)
def test_flowers_are_infected_far_less_at_the_edges(temperature):
    share = flower_infection_index(temperature, 24) / flower_infection_index(20, 24)
    assert share <= 0.5  # "strongly" read as half or less [assumption]


def test_the_flower_curve_is_not_the_papers_fruit_incidence():
    fruit_at_most = 0.60  # biology [read] Bulger 1987, abstract: fruit, 20 °C, 32 h
    assert flower_infection_index(20, 32) > fruit_at_most + 0.3


@pytest.mark.parametrize(
    ("temperature", "by_hand"),
    [
        (10, 0.18040),  # [computed by hand] -0.0901 + 0.294 - 2.35e-5 x 1000
        (20, 0.30990),  # [computed by hand] -0.0901 + 0.588 - 2.35e-5 x 8000
        (30, 0.15740),  # [computed by hand] -0.0901 + 0.882 - 2.35e-5 x 27000
    ],
)
def test_slope_of_gray_mold_is_as_worked_by_hand(temperature, by_hand):
    assert gray_mold_flower.slope_per_hour(temperature) == pytest.approx(by_hand, abs=1e-9)


@pytest.mark.parametrize(
    ("temperature", "hours_wet"),
    [
        (4, 51),  # biology [read] Wilson 1990, abstract: none at 4 °C on immature fruit
        (35, 51),  # biology [read] Wilson 1990, abstract: none at 35 °C on immature fruit
    ],
)
def test_observed_zeros_of_anthracnose_stand(temperature, hours_wet):
    assert fruit_infection_index(temperature, hours_wet) == 0
    assert anthracnose_fruit.bare_equation(temperature, hours_wet) > 0.2


def test_anthracnose_is_worst_where_the_paper_says():
    best = anthracnose_fruit.WARMEST_FOR_INFECTION
    assert 25 <= best <= 30  # biology [read] Wilson 1990, abstract: optimum 25-30 °C


@pytest.mark.parametrize(
    ("temperature", "observed", "ours"),
    [
        (25, 0.80, 0.475),  # biology [read] Wilson 1990, abstract: > 80 % at 13 h; pinned
        (27, 0.80, 0.490),  # biology [read] Wilson 1990, abstract: > 80 % at 13 h; pinned
        (30, 0.80, 0.386),  # biology [read] Wilson 1990, abstract: > 80 % at 13 h; pinned
    ],
)
def test_anthracnose_stays_below_the_abstract_by_a_known_amount(temperature, observed, ours):
    found = fruit_infection_index(temperature, 13)
    assert found < observed
    assert found == pytest.approx(ours, abs=0.0005)


@pytest.mark.parametrize(
    ("temperature", "by_hand"),
    [
        (10, 0.0470),  # [computed by hand] 0.33 - 0.69 + 0.5 - 0.093
        (20, 0.2060),  # [computed by hand] 0.33 - 1.38 + 2.0 - 0.744
        (30, 0.2490),  # [computed by hand] 0.33 - 2.07 + 4.5 - 2.511
    ],
)
def test_slope_of_anthracnose_is_as_worked_by_hand(temperature, by_hand):
    assert anthracnose_fruit.slope_per_hour(temperature) == pytest.approx(by_hand, abs=1e-9)


@pytest.mark.parametrize(
    ("temperature", "hours_wet"),
    [
        (17, 1.5),  # biology [read] Grove 1985, abstract: > 80 % after more than 1 h at 17-25 °C
        (21, 1.1),  # biology [read] Grove 1985, abstract: optimum 21 °C
        (25, 5.0),  # biology [read] Grove 1985, abstract: > 80 % after more than 1 h at 17-25 °C
    ],
)
def test_more_than_an_hour_at_mild_warmth_is_severe_leather_rot(temperature, hours_wet):
    assert leather_rot.LEVELS[int(leather_rot_level(temperature, hours_wet))] == "severe"


@pytest.mark.parametrize(
    ("row", "temperature", "printed"),
    [
        ("apple_scab", 10, 9.28),  # [computed by hand] 6 / 0.6468
        ("apple_scab", 20, 6.0),  # f = 1 at the optimum: Wmin 6 [second-hand]
        ("apple_scab", 2, 40.5),  # 6 / 0.0528 = 113.6, capped at Wmax [second-hand]
        ("grape_botrytis_berry", 33, 10.0),  # 17.2, capped at Wmax [second-hand]
        ("textbook", 18, 10.0),  # f = 1 at the optimum: Wmin 10 [read: docs]
    ],
)
def test_generic_hours_are_as_printed(row, temperature, printed):
    assert hours_needed(temperature, ROWS[row]) == pytest.approx(printed, abs=0.005)


@pytest.mark.parametrize("row", ROWS.values(), ids=list(ROWS))
def test_no_infection_is_known_at_a_rows_limits(row):
    # The printed cap must not leak there: f = 0 [second-hand], infinity [our reading].
    limits = [row.coldest - 1, row.coldest, row.warmest, row.warmest + 1]
    assert (generic_infection.hours_needed(limits, row) == float("inf")).all()
