"""Units: the everyday table against Pint, other spellings against numbers worked out by hand."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskrules.logs.units import EVERYDAY, PINT_NAMES, converter
from riskrules.logs.variables import VARIABLES, understand

T, RH, WET = (VARIABLES[n] for n in ("air_temperature", "relative_humidity", "surface_wetness"))
RAIN, WIND = VARIABLES["thickness_of_rainfall_amount"], VARIABLES["wind_speed"]
# What each everyday spelling is called in Pint, which knows °C of none of them by that name.
AS_PINT = {
    "degc": "degC", "°c": "degC", "c": "degC", "degf": "degF", "°f": "degF", "f": "degF",
    "k": "kelvin", "%": "percent", "1": "dimensionless", "mm": "mm", "in": "inch", "inch": "inch",
    "m/s": "m/s", "m s-1": "m/s", "km/h": "km/hour", "mph": "mile/hour", "kt": "knot",
}  # fmt: skip
ENTRIES = [(ours, spelling) for ours, table in EVERYDAY.items() for spelling in table]


@pytest.fixture(scope="module")
def registry():
    return pint.UnitRegistry()


@pytest.mark.parametrize(("ours", "spelling"), ENTRIES)
def test_every_entry_of_the_everyday_table_is_what_pint_makes_of_it(registry, ours, spelling):
    given_ = np.array([-40.0, 0.0, 0.3, 1.0, 37.5, 212.0, np.nan])
    by_pint = registry.Quantity(given_, AS_PINT[spelling]).to(PINT_NAMES[ours]).magnitude
    np.testing.assert_allclose(EVERYDAY[ours][spelling](given_), by_pint, rtol=1e-12, atol=1e-12)


# Exact by definition (international yard and pound 1959; BIPM SI brochure): 1 in = 25.4 mm,
# 1 ft = 304.8 mm, 1 nautical mile = 1852 m, 0 degC = 273.15 K, 1 degR = 5/9 K, 1 l = 0.001 m3;
# a kilogram of water on a square metre stands 1 mm high at 1000 kg m-3.
BY_HAND = [
    (T, "degree_Fahrenheit", 212, 100), (T, "Fahrenheit", 32, 0), (T, "deg F", -40, -40),
    (T, "℉", 32, 0), (T, "ºF", 50, 10), (T, "° F", 50, 10), (T, "deg. F", 50, 10),
    (T, "deg C", 21.5, 21.5), (T, "℃", 21.5, 21.5), (T, "Celsius", 4, 4), (T, "degrees_C", 4, 4),
    (T, "degree_Celsius", 4, 4), (T, "centigrade", 4, 4), (T, "kelvin", 273.15, 0),
    (T, "Kelvin", 300, 26.85), (T, "degR", 509.67, 10), (T, "DEGC", 4, 4), (T, "mK", 283150, 10),
    (RH, "percent", 81, 81), (RH, "%RH", 81, 81), (RH, "% RH", 81, 81), (RH, "pct", 81, 81),
    (RH, "fraction", 0.81, 81), (WET, "fraction", 0.5, 0.5), (WET, "percent", 50, 0.5),
    (RAIN, "cm", 1.2, 12), (RAIN, "m", 0.01, 10), (RAIN, "MM", 3, 3), (RAIN, "inches", 1, 25.4),
    (RAIN, "in.", 1, 25.4), (RAIN, "ft", 0.1, 30.48), (RAIN, "l/m2", 3, 3), (RAIN, "L m^-2", 3, 3),
    (RAIN, "l/m²", 3, 3), (RAIN, "l·m⁻²", 3, 3), (RAIN, "litre/m**2", 3, 3),
    (RAIN, "kg m-2", 3, 3), (RAIN, "kg/m²", 3, 3),
    (WIND, "knots", 10, 18520 / 3600), (WIND, "ft/s", 10, 3.048),
    (WIND, "feet per second", 10, 3.048),
    (WIND, "m.s-1", 7, 7), (WIND, "m s**-1", 7, 7), (WIND, "m·s⁻¹", 7, 7), (WIND, "KM/H", 36, 10),
    (WIND, "kph", 36, 10), (WIND, "cm/s", 100, 1), (WIND, "miles per hour", 10, 4.4704),
]  # fmt: skip


@pytest.mark.parametrize(("variable", "unit", "given_", "expected"), BY_HAND)
def test_other_spellings_come_to_what_they_are(variable, unit, given_, expected):
    convert = converter(unit, variable)
    assert not isinstance(convert, str), convert
    values = convert(np.array([given_, np.nan], dtype=float))
    assert values[0] == pytest.approx(expected, rel=1e-9, abs=1e-9) and np.isnan(values[1])


REFUSED = [
    (T, "hPa", "expected one of degc"), (T, "mm", "expected one of"), (T, "%", "expected one of"),
    (T, "delta_degC", "is a difference"), (T, "Δ°C", "is a difference"), (T, "°", "ambiguous"),
    (T, "deg", "ambiguous"), (T, "0..15", "only wetness"), (T, "furlong", "expected one of degc"),
    (RAIN, "mm/h", "is a rate"), (RAIN, "in/hr", "is a rate"), (RAIN, "mm day-1", "is a rate"),
    (RAIN, "points", "ambiguous"), (RAIN, "degC", "expected one of mm"), (RAIN, "kg", "expected"),
    (RAIN, "0.2 mm", "expected"), (RAIN, "min", "expected"),
    (RH, "g/kg", "an amount of water"), (RH, "g m-3", "expected one of %"), (RH, "g/m3", "amount"),
    (RH, "hPa", "expected one of %"), (RH, "degC", "expected"), (RH, "radian", "expected"),
    (RH, "ppm", "amount"), (WET, "g/kg", "amount"), (WIND, "bft", "expected one of m/s"),
    (WIND, "m/s2", "expected one of m/s"), (WIND, "m", "expected"),
    (WIND, "9**9**9**9", "expected"),
    (WIND, "m/s" * 30, "expected"), (WIND, "__import__('os')", "expected"),
    (WIND, "//", "expected"),
]  # fmt: skip


@pytest.mark.parametrize(("variable", "unit", "words"), REFUSED)
def test_what_has_no_one_meaning_is_refused_in_a_clause(variable, unit, words):
    said = converter(unit, variable)
    assert isinstance(said, str) and said.startswith(f"unit '{unit[:40]}'") and words in said
    assert "\n" not in said and not said.endswith(".")


@pytest.mark.parametrize("unit", ["min", "minutes", "mV", "V", "counts", "raw", "kohm", "h", "kΩ"])
def test_a_wetness_sensors_own_numbers_need_the_scale_of_the_adviser(unit):
    said = converter(unit, WET)
    assert isinstance(said, str) and "needs your adviser's scale" in said and "0..60" in said


@pytest.mark.parametrize(
    ("scale", "given_", "expected"),
    [("0..15", [0, 7.5, 15], [0, 0.5, 1]), ("10..1010", [10, 260, 1010], [0, 0.25, 1]),
     ("0 .. 60", [0, 15, 60], [0, 0.25, 1]), ("-1.5..1.5", [-1.5, 0, 1.5], [0, 0.5, 1]),
     ("15..0", [15, 0], [0, 1]), ("0…100", [0, 100], [0, 1])],
)  # fmt: skip
def test_a_range_is_a_linear_scale_from_its_dry_to_its_wet_end(scale, given_, expected):
    convert = converter(scale, WET)
    assert not isinstance(convert, str)
    assert convert(np.array(given_, dtype=float)).tolist() == expected
    column = understand(f"leaf_wetness [{scale}]")
    assert column.name == "surface_wetness"  # type: ignore[union-attr]


def test_a_range_of_one_number_is_no_scale():
    assert "a range of one number" in converter("5..5", WET)  # type: ignore[operator]


def test_everyday_spellings_need_no_pint():
    code = (
        "import sys\nfrom riskrules.logs.variables import understand\n"
        "for h in ('temperature [degF]', 'humidity [%]', 'rain [in]', 'wind [mph]', 'T [deg C]',\n"
        "          'temperature [deg C]', 'leaf_wetness [0..15]', 'rain [l/m2]'): understand(h)\n"
        "assert 'pint' not in sys.modules\n"
        "assert understand('wind [ft/s]').convert(10.0) and 'pint' in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


@settings(max_examples=200)
@given(
    unit=st.one_of(st.text(max_size=12), st.text("degCFKmms-1/%^*. 0123456789hin²", max_size=10)),
    variable=st.sampled_from(list(VARIABLES.values())),
)
def test_any_unit_at_all_is_converted_or_refused(unit, variable):
    convert = converter(unit, variable)
    if isinstance(convert, str):
        assert convert.startswith("unit '") and "expected" in convert
    else:
        assert np.isfinite(convert(np.array([0.5, 1.0]))).all()
