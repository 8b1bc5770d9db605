"""Humidity arithmetic against printed values; each row: inputs, printed, tolerance, origin."""

import pytest

from riskrules.science import air


@pytest.mark.parametrize(
    ("temperature", "printed", "tolerance"),
    [
        (15, 1.705, 0.0005),  # FAO-56 ex. 3 [second-hand: a public test suite, a public page]
        (24.5, 3.075, 0.0005),  # FAO-56 ex. 3 [second-hand]
        (19.5, 2.267, 0.0005),  # FAO-56 ex. 4 [second-hand]
        (18, 2.064, 0.0005),  # FAO-56 ex. 5 [second-hand]
        (25, 3.168, 0.0005),  # FAO-56 ex. 5 [second-hand]
        (14.8, 1.68, 0.005),  # FAO-56 ex. 20, as a dew point [second-hand]
        (20, 2.338, 0.0005),  # FAO-56 annex table 2.3 [memory]
        (5, 0.8726, 0.0013),  # ASHRAE 2017 ch. 1 table 3, other formula: 0.15 % [second-hand]
        (25, 3.1697, 0.0047),  # ASHRAE 2017 ch. 1 table 3, other formula: 0.15 % [second-hand]
        (50, 12.3513, 0.0185),  # ASHRAE 2017 ch. 1 table 3, other formula: 0.15 % [second-hand]
    ],
)
def test_saturation_pressure_is_as_printed(temperature, printed, tolerance):
    assert air.saturation_vapour_pressure(temperature) == pytest.approx(printed, abs=tolerance)


@pytest.mark.parametrize(
    ("temperature", "over_ice", "share_above"),
    [
        (-5, 0.40174, 0.05),  # ASHRAE 2017 ch. 1 table 3, over ice [second-hand]
        (-20, 0.10324, 0.21),  # ASHRAE 2017 ch. 1 table 3, over ice [second-hand]
    ],
)
def test_below_freezing_pressure_stays_over_water(temperature, over_ice, share_above):
    ratio = air.saturation_vapour_pressure(temperature) / over_ice
    assert ratio - 1 == pytest.approx(share_above, abs=0.005)


@pytest.mark.parametrize(
    ("dry", "wet", "pressure", "printed", "tolerance"),
    [
        (25.6, 19.5, 87.9, 1.91, 0.005),  # FAO-56 ex. 4 [second-hand]
    ],
)
def test_psychrometer_gives_the_printed_vapour_pressure(dry, wet, pressure, printed, tolerance):
    found = air.vapour_pressure_from_wet_bulb(dry, wet, pressure)
    assert found == pytest.approx(printed, abs=tolerance)


@pytest.mark.parametrize(
    ("temperatures", "humidities", "printed"),
    [
        ([18, 25], [82, 54], 1.70),  # FAO-56 ex. 5 [second-hand]
        ([18], [82], 1.69),  # FAO-56 ex. 5, from RHmax only [second-hand]
        ([18, 25], [68, 68], 1.78),  # FAO-56 ex. 5, from RHmean [second-hand]
    ],
)
def test_mean_vapour_pressure_is_as_printed(temperatures, humidities, printed):
    found = air.vapour_pressure(temperatures, humidities).mean()
    assert found == pytest.approx(printed, abs=0.005)


def test_deficit_of_a_day_is_as_printed():
    saturated = air.saturation_vapour_pressure([18, 25]).mean()
    vapour = air.vapour_pressure([18, 25], [82, 54]).mean()
    assert saturated - vapour == pytest.approx(0.91, abs=0.005)  # FAO-56 ex. 6 [memory]


@pytest.mark.parametrize(
    ("found", "printed", "tolerance"),
    [
        (air.pressure_at_altitude(1800), 81.8, 0.05),  # FAO-56 ex. 2 [second-hand]
        (air.psychrometric_constant(81.8), 0.054, 0.0005),  # FAO-56 ex. 2 [second-hand]
        (air.slope_of_saturation(30.2), 0.246, 0.0005),  # FAO-56 ex. 17 [second-hand]
    ],
)
def test_constants_of_a_place_are_as_printed(found, printed, tolerance):
    assert found == pytest.approx(printed, abs=tolerance)


def test_hot_dry_air_reads_as_on_the_chart():
    vapour = air.vapour_pressure_from_wet_bulb(40, 20)
    humidity = 100 * vapour / air.saturation_vapour_pressure(40)
    assert humidity == pytest.approx(14, abs=0.5)  # ASHRAE 2017 ch. 1 ex. 1 [second-hand]
    dew = air.dew_point_of_vapour_pressure(vapour)
    assert dew == pytest.approx(7, abs=0.5)  # ASHRAE 2017 ch. 1 ex. 1 [second-hand]


@pytest.mark.parametrize(
    ("temperature", "dew", "humidity_in_file"),
    [
        (10.0, 6.1, 77),  # Greensboro TMY3, 1 January 01:00 [read: file]
        (6.1, -1.1, 60),  # Greensboro TMY3, 21 January 21:00 [read: file]
        (21.1, 7.8, 42),  # Greensboro TMY3, 2 April 17:00 [read: file]
        (32.2, 22.2, 56),  # Greensboro TMY3, 14 July 17:00 [read: file]
        (-8.9, -18.3, 47),  # Greensboro TMY3, 6 January 08:00: over water [read: file]
        (-6.1, -12.2, 62),  # Greensboro TMY3, 27 December 01:00: over water [read: file]
    ],
)
def test_a_weather_station_reports_humidity_over_water(temperature, dew, humidity_in_file):
    found = air.relative_humidity_from_dew_point(temperature, dew)
    # 0.1 °C steps of both temperatures hide up to a point; the file is in whole per cent.
    assert found == pytest.approx(humidity_in_file, abs=1.2)
