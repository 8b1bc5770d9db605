"""Printed check values of humidity arithmetic."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from riskrules.science import air
from riskrules.science.printed_value import PrintedValue, half_last_digit, read_rows
from riskrules.science.provenance import COMPUTED

GROUP = "air"
SOURCES = {
    "FAO": "FAO-56",
    "ASHRAE": "ASHRAE 2017 Fundamentals ch. 1",
    "psychrolib": "psychrolib 2.5.0 module doc",
    "MetPy": "MetPy 1.7.1 docs",
}
NOTES = {
    "formula": "another saturation formula there: within 0.15 %",
    "ice": "printed over ice; ours is over water at every temperature",
    "real": "the table holds real-gas terms that we leave out: 0.5 %",
    "chart": "read off a chart there",
    "energy": "psychrometer of FAO-56 against an energy balance read off a chart",
    "standard": "FAO-56 takes air of 20 °C, ASHRAE the standard atmosphere",
    "bulb": "psychrometer of FAO-56 against another wet bulb: ±0.35 °C, ±1.7 points",
    "coefficient": "coefficient 0.000621 there, 0.000662 in FAO-56",
}

PUBLISHED = """
air-01 | e0(15 °C)                           | 1.705 | . | . | kPa | second-hand | FAO ex. 3 | .
air-02 | e0(24.5 °C)                         | 3.075 | . | . | kPa | second-hand | FAO ex. 3 | .
air-03 | mean es of 15 and 24.5 °C           | 2.39  | . | . | kPa | second-hand | FAO ex. 3 | .
air-04 | e0(19.5 °C)                         | 2.267 | . | . | kPa | second-hand | FAO ex. 4 | .
air-05 | ea, dry 25.6, wet 19.5 °C, 87.9 kPa | 1.91  | . | . | kPa | second-hand | FAO ex. 4 | .
air-06 | e0(18 °C)                           | 2.064 | . | . | kPa | second-hand | FAO ex. 5 | .
air-07 | e0(25 °C)                           | 3.168 | . | . | kPa | second-hand | FAO ex. 5 | .
air-08 | ea, 18 and 25 °C, 82 and 54 %       | 1.70  | . | . | kPa | second-hand | FAO ex. 5 | .
air-09 | ea, 18 °C, 82 % only                | 1.69  | . | . | kPa | second-hand | FAO ex. 5 | .
air-10 | ea from a mean RH of 68 %           | 1.78  | . | . | kPa | second-hand | FAO ex. 5 | .
air-11 | deficit of no. 8                    | 0.91  | . | . | kPa | memory      | FAO ex. 6 | .
air-12 | pressure at 1800 m                  | 81.8  | . | . | kPa | second-hand | FAO ex. 2 | .
air-13 | psychrometric constant, 81.8 kPa    | 0.054 | . | . | kPa/°C | second-hand | FAO ex. 2 | .
air-14 | slope at 30.2 °C                    | 0.246 | . | . | kPa/°C | second-hand | FAO ex. 17 | .
air-15 | ea from a dew point of 14.8 °C      | 1.68  | . | . | kPa | second-hand | FAO ex. 20 | .
air-16 | e0(20 °C)                           | 2.338 | . | . | kPa | memory      | FAO table 2.3 | .
air-17 | es(5 °C)        | 0.8726   | 0.0013 | . | kPa | second-hand | ASHRAE table 3 | formula
air-18 | es(25 °C)       | 3.1697   | 0.0047 | . | kPa | second-hand | ASHRAE table 3 | formula
air-19 | es(50 °C)       | 12.3513  | 0.0185 | . | kPa | second-hand | ASHRAE table 3 | formula
air-20 | es(-5 °C), ice  | 0.40174  | . | 0.421176 | kPa | second-hand | ASHRAE table 3 | ice
air-21 | es(-20 °C), ice | 0.10324  | . | 0.124619 | kPa | second-hand | ASHRAE table 3 | ice
air-22 | humidity ratio, saturated, 25 °C | 0.020173 | 5e-6 | 0.020072 | kg/kg | second-hand | ASHRAE table 2 | real
air-23 | RH, dry 40, wet 20 °C | 14 | . | . | % | second-hand | ASHRAE example 1 | chart
air-24 | dew point, dry 40, wet 20 °C | 7 | . | . | °C | second-hand | ASHRAE example 1 | chart
air-25 | humidity ratio, dry 40, wet 20 °C | 0.0065 | . | 0.00618 | kg/kg | second-hand | ASHRAE example 1 | energy
air-34 | pressure at 500 m | 95.461 | 0.005 | 95.528 | kPa | second-hand | ASHRAE table 1 | standard
air-35 | pressure at 1000 m | 89.875 | 0.005 | 90.025 | kPa | second-hand | ASHRAE table 1 | standard
"""  # noqa: E501

LIBRARY_OUTPUT = """
air-26 | dew point, 25 °C, 80 %    | 21.3094 | 0.05 | . | °C  | read | psychrolib | formula
air-27 | es(25 °C)                 | 31.6235 | 0.06 | . | hPa | read | MetPy | formula
air-28 | dew point of 22 hPa       | 19.0291 | 0.05 | . | °C  | read | MetPy | formula
air-29 | dew point, 10 °C, 50 %    | 0.04790 | 0.05 | . | °C  | read | MetPy | formula
air-30 | wet bulb, 993 hPa, 32 °C, dew point 15 °C | 20.3938 | 0.35 | . | °C | read | MetPy | bulb
air-31 | e, 958 hPa, dry 25, wet 12 °C | 627.52 | 0.5 | 578.11 | Pa | read | MetPy | coefficient
air-32 | RH, 1000 hPa, dry 19, wet 10 °C | 30.4334 | 1.7 | . | % | read | MetPy | bulb
air-33 | RH, 25 °C, dew point 12 °C | 44.2998 | 0.05 | . | % | read | MetPy | formula
"""


def _e0(temperature: float) -> float:
    return float(air.saturation_vapour_pressure(temperature))


def _from_wet_bulb(dry: float, wet: float, pressure: float = air.SEA_LEVEL_PRESSURE) -> float:
    return float(air.vapour_pressure_from_wet_bulb(dry, wet, pressure))


def _ea_two_humidities() -> float:
    return float(air.vapour_pressure([18, 25], [82, 54]).mean())


def _dew_of(vapour: float) -> float:
    return float(air.dew_point_of_vapour_pressure(vapour))


def _wet_bulb_of_dew_point(temperature: float, dew: float, pressure: float) -> float:
    humidity = air.relative_humidity_from_dew_point(temperature, dew)
    return float(air.wet_bulb(temperature, humidity, pressure))


COMPUTES: dict[str, Callable[[], float]] = {
    "air-01": lambda: _e0(15),
    "air-02": lambda: _e0(24.5),
    "air-03": lambda: (_e0(15) + _e0(24.5)) / 2,
    "air-04": lambda: _e0(19.5),
    "air-05": lambda: _from_wet_bulb(25.6, 19.5, 87.9),
    "air-06": lambda: _e0(18),
    "air-07": lambda: _e0(25),
    "air-08": _ea_two_humidities,
    "air-09": lambda: float(air.vapour_pressure(18, 82)),
    "air-10": lambda: float(air.vapour_pressure([18, 25], 68).mean()),
    "air-11": lambda: (_e0(18) + _e0(25)) / 2 - _ea_two_humidities(),
    "air-12": lambda: float(air.pressure_at_altitude(1800)),
    "air-13": lambda: float(air.psychrometric_constant(81.8)),
    "air-14": lambda: float(air.slope_of_saturation(30.2)),
    "air-15": lambda: _e0(14.8),
    "air-16": lambda: _e0(20),
    "air-17": lambda: _e0(5),
    "air-18": lambda: _e0(25),
    "air-19": lambda: _e0(50),
    "air-20": lambda: _e0(-5),
    "air-21": lambda: _e0(-20),
    "air-22": lambda: float(air.humidity_ratio(_e0(25))),
    "air-23": lambda: 100 * _from_wet_bulb(40, 20) / _e0(40),
    "air-24": lambda: _dew_of(_from_wet_bulb(40, 20)),
    "air-25": lambda: float(air.humidity_ratio(_from_wet_bulb(40, 20))),
    "air-26": lambda: float(air.dew_point(25, 80)),
    "air-27": lambda: 10 * _e0(25),
    "air-28": lambda: _dew_of(2.2),
    "air-29": lambda: float(air.dew_point(10, 50)),
    "air-30": lambda: _wet_bulb_of_dew_point(32, 15, 99.3),
    "air-31": lambda: 1000 * _from_wet_bulb(25, 12, 95.8),
    "air-32": lambda: 100 * _from_wet_bulb(19, 10, 100) / _e0(19),
    "air-33": lambda: float(air.relative_humidity_from_dew_point(25, 12)),
    "air-34": lambda: float(air.pressure_at_altitude(500)),
    "air-35": lambda: float(air.pressure_at_altitude(1000)),
}

# temperature [°C], relative humidity [%], value as worked out
_WET_BULBS = (
    "20/50/13.84 25/50/17.95 30/50/22.06 35/40/24.01 15/60/10.86 10/80/8.31 5/70/2.89"
    " 4.4/40/0.17 2/70/0.16 2/60/-0.48 1/90/0.42 0/70/-1.68 -1/80/-2.06"
)
_DEW_POINTS = "5/60/-2.10 2/70/-2.88 0/60/-6.82 -5/80/-7.90"
_DEFICITS = (
    "20/95/0.12 20/75/0.58 20/65/0.82 20/50/1.17 25/95/0.16 25/75/0.79 25/65/1.11 25/50/1.58"
    " 30/95/0.21 30/75/1.06 30/65/1.49 30/50/2.12 15/95/0.085"
)
_FAMILIES = (
    ("wet-bulb", "wet bulb over water", "°C", air.wet_bulb, _WET_BULBS),
    ("dew-point", "dew point over water", "°C", air.dew_point, _DEW_POINTS),
    ("deficit", "vapour pressure deficit", "kPa", air.vapour_pressure_deficit, _DEFICITS),
)


def _scalar(model: Callable[[float, float], object], at: float, humidity: float) -> float:
    return float(model(at, humidity))  # type: ignore[arg-type]


def _own() -> list[PrintedValue]:
    rows = []
    for name, what, unit, model, cells in _FAMILIES:
        for cell in cells.split():
            at, humidity, printed = cell.split("/")
            value = PrintedValue(
                id=f"{name}-{at}-{humidity}",
                group=GROUP,
                kind="regression",
                what=f"{what}, {at} °C, {humidity} %",
                printed=float(printed),
                unit=unit,
                tolerance=2 * half_last_digit(printed),
                source="worked out for this project",
                tag=COMPUTED,
                compute=partial(_scalar, model, float(at), float(humidity)),
                reason="the wet bulbs were solved to about their last digit",
            )
            rows.append(value)
    return rows


def values() -> list[PrintedValue]:
    """List the printed values of humidity arithmetic."""
    published = read_rows(PUBLISHED, GROUP, "arithmetic", SOURCES, NOTES, COMPUTES)
    library = read_rows(LIBRARY_OUTPUT, GROUP, "regression", SOURCES, NOTES, COMPUTES)
    return [*published, *library, *_own()]
