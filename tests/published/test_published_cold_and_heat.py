"""Cold, overhead water and heat against printed values."""

import pytest

from riskrules.science import air, cold, heat, overhead_water
from riskrules.science.provenance import celsius


@pytest.mark.parametrize(
    ("part", "printed"),
    [
        ("open_flower", -1.1),  # Ontario, after Perry and Poling 1985 [read]
        ("popcorn", -2.2),  # Ontario [read]; Penn State prints 26 °F (-3.3): the warmer holds
        ("tight_bud", -3.9),  # Maine 2023, 25 °F [read]; Ontario prints -5.5: the warmer holds
        ("green_fruit", -2.2),  # Ontario [read]
        ("dormant_crown", -12.2),  # Delaware, 10 °F [read]
    ],
)
def test_the_warmest_printed_critical_temperature_holds(part, printed):
    assert cold.critical_temperature(part).critical == pytest.approx(printed, abs=0.05)


@pytest.mark.parametrize(
    ("stages", "part", "critical"),
    [
        ({55}, "tight_bud", -3.9),  # Maine 2023, 25 °F [read]
        ({59}, "popcorn", -2.2),  # Ontario [read]
        ({60}, "open_flower", -1.1),  # Ontario [read]
        ({73}, "green_fruit", -2.2),  # Ontario [read]
        ({67}, "open_flower", -1.1),  # none printed for petal fall [assumption]
        ({87}, "green_fruit", -2.2),  # none printed for ripening fruit [assumption]
        ({55, 73, 65, 87}, "open_flower", -1.1),  # several at once: the warmest [read]
        (set(), "open_flower", -1.1),  # unknown: open blossom [assumption]
        ({69}, "open_flower", -1.1),  # no such code: open blossom [assumption]
    ],
)
def test_stages_put_the_printed_part_at_risk(stages, part, critical):
    found = cold.part_at_risk(stages)
    assert found.part == part
    assert found.critical == pytest.approx(critical, abs=0.05)


@pytest.mark.parametrize(
    ("dew_point", "start"),
    [
        (-1.1, 0.0),  # Ontario ministry fruit advisers, May 2024 [read]
        (-1.7, 0.5),  # the same [read]
        (-2.8, 1.1),  # the same [read]
        (-3.8, 1.6),  # the same [read]
        (-4.4, 2.7),  # the same [read]
        (-5.5, 3.3),  # the same [read]
        (-6.7, 3.8),  # the same [read]
        (-8.3, 4.4),  # the same [read]
    ],
)
def test_printed_starts_of_water_are_a_water_wet_bulb_of_zero(dew_point, start):
    assert overhead_water.start_temperature_from_table(dew_point) == start
    humidity = air.relative_humidity_from_dew_point(start, dew_point)
    assert air.wet_bulb(start, humidity) == pytest.approx(0, abs=0.5)


@pytest.mark.parametrize(
    ("air_f", "dew_f", "printed_f"),
    [
        (32, 23, 29),  # Univ. of Georgia extension, March 2017 [read]
        (42, 15, 33),  # weather teaching page [read]
    ],
)
def test_one_third_rule_gives_its_printed_examples(air_f, dew_f, printed_f):
    found = overhead_water.one_third_wet_bulb(celsius(air_f), celsius(dew_f))
    assert found == pytest.approx(celsius(printed_f), abs=0.01)


@pytest.mark.parametrize(
    ("name", "printed"),
    [
        ("day_neutral_flowering_most", 26),  # Bradford 2010, abstract [read]
        ("late_buds", 30),  # Zini [second-hand]
        ("late_buds_hours", 6),  # Zini [second-hand]
        ("shock", 42),  # heat-shock study, abstract [read]
        ("shock_hours", 4),  # heat-shock study, abstract [read]
        ("pollen", 30),  # Karapatzak 2012, abstract [read]
        ("flowering_stops", 30),  # Delaware crop update p=2934, 86 °F [read]
        ("sunscald_canopy", 35),  # none printed [assumption]
        ("root_zone", 30),  # HortScience 54(1):110, abstract [read]
    ],
)
def test_heat_thresholds_are_as_printed(name, printed):
    assert heat.THRESHOLDS[name].value == pytest.approx(printed)
