"""Keeping, wetness proxies and hour tables against printed values."""

import numpy as np
import pytest

from riskrules.science import hour_tables, keeping, wetness


@pytest.mark.parametrize(
    ("temperature", "least", "most"),
    [
        (0, 1, 1),  # the base [by definition]
        (10, 2, 4.7),  # an unsigned page, 2 to 4 times [second-hand]; respiration 75/16 [computed]
        (20, 10, 10),  # UC Davis answer page: about 10 times [read]
    ],
)
def test_rate_of_decline_is_as_printed(temperature, least, most):
    found = keeping.keeping_rate_bounds(temperature)
    assert found == pytest.approx((least, most), abs=1e-9)


def test_keeping_at_three_degrees_spans_what_a_trial_found():
    least, most = keeping.keeping_days_bounds(3)
    assert least <= 4  # bare fruit, Acta Hort. 379:337, abstract [read]
    assert most >= 6 - 0.5  # film-covered, whole days, the same abstract [read]


@pytest.mark.parametrize(
    ("name", "printed"),
    [
        ("delay_water_loss", 0.50),  # Nunes 1995, abstract [read]
        ("delay_softer_most", 0.22),  # Nunes 1995, abstract [read]
        ("start_cooling_within", 1.0),  # USDA Handbook 66 draft, opening [read]
    ],
)
def test_delay_facts_are_as_printed(name, printed):
    assert keeping.DELAY_FACTS[name].value == printed


def test_the_conflict_on_rhizopus_is_kept():
    facts = keeping.MOLD_FACTS
    assert facts["rhizopus_stop_home"].value == 5  # UC home guide [read]
    assert facts["rhizopus_stop_farm"].value == 8  # UC farm guide, 8-10 °C [read]
    assert facts["isolates_grow_at"].value == 2  # Siefkes-Boer 2009, abstract [read]: grew


@pytest.mark.parametrize(
    ("fahrenheit", "hours"),
    [
        (34, 41),  # West Virginia University [read]
        (45, 15),  # West Virginia University [read]
        (50, 11),  # West Virginia University [read]
        (61, 6),  # West Virginia University, 61-75 [read]
        (75, 6),  # West Virginia University, 61-75 [read]
        (79, 11),  # West Virginia University [read]
    ],
)
def test_scab_hours_are_as_printed(fahrenheit, hours):
    assert hour_tables.lookup(hour_tables.APPLE_SCAB_LEAST, fahrenheit, "hours") == hours


@pytest.mark.parametrize(
    ("column", "celsius", "hours"),
    [
        ("light", 5, 37),  # public code [second-hand]
        ("medium", 10, 19),  # public code [second-hand]
        ("high", 20, 18),  # public code, 17-23 [second-hand]
        ("high", 25, 21),  # public code [second-hand]
    ],
)
def test_scab_classes_are_as_printed(column, celsius, hours):
    assert hour_tables.lookup(hour_tables.APPLE_SCAB_CLASSES, celsius, column) == hours


@pytest.mark.parametrize(
    ("celsius", "more_than", "up_to"),
    [
        (10, 24, np.inf),  # Sirjusingh and Sutton 1996, abstract: none after 24 h [read]
        (15, 8, 24),  # the same abstract [read]
        (21, 4, 12),  # the same abstract [read]
        (30, 4, 6),  # the same abstract [read]
    ],
)
def test_geranium_flowers_need_the_printed_hours(celsius, more_than, up_to):
    table = hour_tables.GERANIUM_FLOWERS
    assert hour_tables.lookup(table, celsius, "more_than") == more_than
    assert hour_tables.lookup(table, celsius, "up_to") == up_to


@pytest.mark.parametrize(
    ("humidity", "wet"),
    [
        (89.9, 0),  # Sentelhas 2008: wet from 90 % [read]
        (90.0, 1),  # Sentelhas 2008: wet from 90 % [read]
    ],
)
def test_wet_from_ninety_per_cent(humidity, wet):
    assert wetness.wet_by_humidity(humidity) == wet
