"""Properties of humidity arithmetic, and comparison with psychrolib and MetPy."""

import warnings

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from riskrules.science import air

temperatures = st.floats(-30, 50)
humidities = st.floats(1, 100)


@pytest.fixture(scope="module")
def psychrolib():
    module = pytest.importorskip("psychrolib", reason="compares with psychrolib")
    module.SetUnitSystem(module.SI)
    return module


@pytest.fixture(scope="module")
def metpy():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own start-up warnings are not ours
        calc = pytest.importorskip("metpy.calc", reason="compares with MetPy")
        units = pytest.importorskip("metpy.units").units
    return calc, units


@given(temperatures, humidities)
def test_humidity_comes_back_from_its_dew_point(temperature, humidity):
    dew = air.dew_point(temperature, humidity)
    found = air.relative_humidity_from_dew_point(temperature, dew)
    assert found == pytest.approx(humidity, rel=1e-9)
    assert dew <= temperature + 1e-9


@given(temperatures, humidities)
def test_vapour_comes_back_from_its_wet_bulb(temperature, humidity):
    bulb = air.wet_bulb(temperature, humidity)
    assume(bulb > -45)
    found = air.vapour_pressure_from_wet_bulb(temperature, bulb)
    assert found == pytest.approx(air.vapour_pressure(temperature, humidity), abs=1e-12)


@given(temperatures, humidities)
def test_wet_bulb_lies_between_dew_point_and_air(temperature, humidity):
    bulb = air.wet_bulb(temperature, humidity)
    assert air.dew_point(temperature, humidity) - 1e-9 <= bulb <= temperature


@given(temperatures, humidities)
def test_deficit_and_vapour_make_up_saturation(temperature, humidity):
    both = air.vapour_pressure_deficit(temperature, humidity) + air.vapour_pressure(
        temperature, humidity
    )
    assert both == pytest.approx(air.saturation_vapour_pressure(temperature), rel=1e-12)


def test_saturated_air_has_no_deficit():
    t = np.linspace(-30, 50, 81)
    assert (air.vapour_pressure_deficit(t, 100) == 0).all()
    assert air.dew_point(t, 100) == pytest.approx(t)
    assert air.wet_bulb(t, 100) == pytest.approx(t)


def test_slope_is_the_derivative_of_saturation():
    t = np.linspace(-30, 50, 81)
    rise = air.saturation_vapour_pressure(t + 1e-4) - air.saturation_vapour_pressure(t - 1e-4)
    assert air.slope_of_saturation(t) == pytest.approx(rise / 2e-4, rel=2e-3)


@pytest.mark.parametrize(
    ("temperature", "humidity"), [(np.nan, 50), (20, np.nan), (20, -1), (20, 101), (61, 50)]
)
def test_what_is_missing_or_out_of_range_is_nan(temperature, humidity):
    models = (air.vapour_pressure, air.vapour_pressure_deficit, air.dew_point, air.wet_bulb)
    assert all(np.isnan(model(temperature, humidity)) for model in models)


def test_no_air_has_its_dew_point_above_its_temperature():
    assert np.isnan(air.relative_humidity_from_dew_point(20.0, 20.1))
    assert np.isnan(air.vapour_pressure_from_wet_bulb(20.0, 21.0))
    assert np.isnan(air.vapour_pressure_from_wet_bulb(40.0, 5.0))
    assert np.isnan(air.dew_point(20.0, 0.0))
    assert np.isnan(air.wet_bulb(20.0, 50.0, 0.0))
    assert np.isnan(air.pressure_at_altitude([-501, 5001])).all()
    assert np.isnan(air.humidity_ratio([-1, 102])).all()


def test_thinner_air_has_a_colder_wet_bulb():
    assert air.wet_bulb(25, 50, air.pressure_at_altitude(1800)) < air.wet_bulb(25, 50)


def test_arrays_broadcast():
    assert air.wet_bulb(np.zeros((4, 1)) + 20, np.linspace(10, 90, 5)).shape == (4, 5)


@pytest.mark.parametrize("temperature", [1.0, 5.0, 15.0, 25.0, 35.0])
@pytest.mark.parametrize("humidity", [30.0, 60.0, 95.0])
def test_psychrolib_agrees_above_freezing(psychrolib, temperature, humidity):
    t, rh = temperature, humidity
    saturated = psychrolib.GetSatVapPres(t) / 1000
    assert air.saturation_vapour_pressure(t) == pytest.approx(saturated, rel=1.5e-3)
    bulb = psychrolib.GetTWetBulbFromRelHum(t, rh / 100, 101325.0)
    if bulb > 0:
        assert air.wet_bulb(t, rh) == pytest.approx(bulb, abs=0.35)
    dew = psychrolib.GetTDewPointFromRelHum(t, rh / 100)
    if dew > 0:
        assert air.dew_point(t, rh) == pytest.approx(dew, abs=0.03)


def test_psychrolib_takes_ice_below_freezing_and_we_do_not(psychrolib):
    frost = psychrolib.GetTDewPointFromRelHum(0.0, 0.60)
    assert frost - air.dew_point(0.0, 60.0) == pytest.approx(0.75, abs=0.02)


@pytest.mark.parametrize("temperature", [-10.0, 1.0, 10.0, 20.0, 30.0])
@pytest.mark.parametrize("humidity", [40.0, 80.0])
def test_metpy_agrees_on_the_dew_point_over_water(metpy, temperature, humidity):
    calc, units = metpy
    t, rh = temperature * units.degC, humidity * units.percent
    dew = calc.dewpoint_from_relative_humidity(t, rh).to("degC").magnitude
    assert air.dew_point(temperature, humidity) == pytest.approx(dew, abs=0.1)


@pytest.mark.parametrize("temperature", [2.0, 10.0, 20.0, 30.0])
def test_metpy_agrees_on_the_wet_bulb(metpy, temperature):
    calc, units = metpy
    dew = air.dew_point(temperature, 60.0)
    bulb = calc.wet_bulb_temperature(
        1013.25 * units.hPa, temperature * units.degC, float(dew) * units.degC
    )
    found = bulb.to("degC").magnitude
    assert air.wet_bulb(temperature, 60.0) == pytest.approx(found, abs=0.35)
