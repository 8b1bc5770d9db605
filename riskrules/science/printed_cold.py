"""Printed check values of cold, overhead water and heat."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

from riskrules.science import air, cold, overhead_water
from riskrules.science.heat import THRESHOLDS
from riskrules.science.printed_value import Kind, PrintedValue, read_rows
from riskrules.science.provenance import COMPUTED, READ, celsius

SOURCES = {
    "Ontario": "Ontario ministry page, after Perry and Poling 1985,",
    "Penn": "Penn State page, after Perry and Poling;",
    "Maine": "Maine extension 2023,",
    "Delaware": "Univ. of Delaware crop update",
    "Carolina": "North Carolina extension 2021, slides,",
    "Minnesota": "Univ. of Minnesota, low tunnel note 2018",
    "Georgia": "Univ. of Georgia extension, March 2017",
    "teaching": "weather teaching page",
    "consultant": "farm consultant's article 2024,",
}
NOTES = {
    "conflict": "two prints of one paper differ: -2.2 °C here, 26 °F there; the warmer is taken",
    "cut": "-5.56 °C printed as -5.5: cut, not rounded",
    "warmest": "the warmest of all sources is the default",
    "cautious": "the consultant starts 1 to 2 °F earlier: never below a wet bulb of 0 °C",
}

PUBLISHED = """
crit-open    | open flower, 30 °F in °C   | -1.1  | . | . | °C | read | Ontario table | .
crit-green   | green fruit, 28 °F in °C   | -2.2  | . | . | °C | read | Ontario table | .
crit-tight   | tight bud, 22 °F in °C     | -5.5  | . | -5.556 | °C | read | Ontario table | cut
crit-popcorn | popcorn, 26 °F in °C       | -2.2  | . | -3.333 | °C | read | Ontario table | conflict
take-open    | open flower, default       | 30    | 0.05 | . | °F | read | Penn table | warmest
take-popcorn | popcorn, default           | 28    | 0.05 | . | °F | read | Carolina 27-28 °F | warmest
take-tight   | tight bud, default         | 25    | 0.05 | . | °F | read | Maine table | warmest
take-green   | green fruit, default       | 28    | 0.05 | . | °F | read | Maine table | warmest
take-crown   | dormant crown, default     | 10    | 0.05 | . | °F | read | Delaware table | warmest
third-23     | wet bulb, 32 °F, dew point 23 °F, one-third rule | 29 | . | . | °F | read | Georgia | .
third-15     | wet bulb, 42 °F, dew point 15 °F, one-third rule | 33 | . | . | °F | read | teaching | .
early-32     | water wet bulb, dew point 32, air 34 °F | >=0 | 0 | . | °C | read | consultant table | cautious
early-31     | water wet bulb, dew point 31, air 35 °F | >=0 | 0 | . | °C | read | consultant table | cautious
early-29     | water wet bulb, dew point 29, air 36 °F | >=0 | 0 | . | °C | read | consultant table | cautious
early-28     | water wet bulb, dew point 28, air 37 °F | >=0 | 0 | . | °C | read | consultant table | cautious
early-26     | water wet bulb, dew point 26, air 38 °F | >=0 | 0 | . | °C | read | consultant table | cautious
heat-flower  | flowering stops in one cultivar         | 86 | 1e-9 | . | °F | read | Delaware p=2934 | .
heat-cool    | overhead cooling starts                 | 85 | 1e-9 | . | °F | read | Delaware p=2934 | .
heat-outside | outside, sides down                     | 80 | 1e-9 | . | °F | read | Minnesota | .
heat-inside  | then inside, at least                   | 90 | 1e-9 | . | °F | read | Minnesota | .
"""  # noqa: E501


def _fahrenheit(degrees: float) -> float:
    return degrees * 1.8 + 32.0


def _taken(part: str) -> float:
    return _fahrenheit(cold.critical_temperature(part).critical)


def _third(temperature: float, dew: float) -> float:
    bulb = overhead_water.one_third_wet_bulb(celsius(temperature), celsius(dew))
    return _fahrenheit(float(bulb))


def _bulb(dew: float, temperature: float) -> float:
    humidity = air.relative_humidity_from_dew_point(temperature, dew)
    return float(air.wet_bulb(temperature, humidity))


def _bulb_f(dew: float, temperature: float) -> float:
    return _bulb(celsius(dew), celsius(temperature))


def _threshold_f(name: str) -> float:
    return _fahrenheit(THRESHOLDS[name].value)


COMPUTES: dict[str, Callable[[], float]] = {
    "crit-open": partial(celsius, 30),
    "crit-green": partial(celsius, 28),
    "crit-tight": partial(celsius, 22),
    "crit-popcorn": partial(celsius, 26),
    "take-open": partial(_taken, "open_flower"),
    "take-popcorn": partial(_taken, "popcorn"),
    "take-tight": partial(_taken, "tight_bud"),
    "take-green": partial(_taken, "green_fruit"),
    "take-crown": partial(_taken, "dormant_crown"),
    "third-23": partial(_third, 32, 23),
    "third-15": partial(_third, 42, 15),
    "early-32": partial(_bulb_f, *overhead_water.CONSULTANT_START_F[0]),
    "early-31": partial(_bulb_f, *overhead_water.CONSULTANT_START_F[1]),
    "early-29": partial(_bulb_f, *overhead_water.CONSULTANT_START_F[2]),
    "early-28": partial(_bulb_f, *overhead_water.CONSULTANT_START_F[3]),
    "early-26": partial(_bulb_f, *overhead_water.CONSULTANT_START_F[4]),
    "heat-flower": partial(_threshold_f, "flowering_stops"),
    "heat-cool": partial(_threshold_f, "overhead_cooling_start"),
    "heat-outside": partial(_threshold_f, "sides_down_outside"),
    "heat-inside": partial(_threshold_f, "sides_down_inside"),
}

# dew point, printed start, water wet bulb and one-third rule there, the last two worked out [°C]
_START = """
-1.1 0.0 -0.43 -0.37
-1.7 0.5 -0.34 -0.23
-2.8 1.1 -0.36 -0.20
-3.8 1.6 -0.38 -0.20
-4.4 2.7 0.10 0.33
-5.5 3.3 0.14 0.37
-6.7 3.8 0.12 0.30
-8.3 4.4 0.10 0.17
"""
_START_SOURCE = "Ontario ministry fruit advisers, frost options, May 2024"


def _lookup(dew: float) -> float:
    return float(overhead_water.start_temperature_from_table(dew))


def _one_third(temperature: float, dew: float) -> float:
    return float(overhead_water.one_third_wet_bulb(temperature, dew))


def _start_row(
    name: str,
    kind: Kind,
    what: str,
    printed: str,
    tolerance: float,
    source: str,
    compute: Callable[[], float],
) -> PrintedValue:
    return PrintedValue(
        id=name,
        group="cold",
        kind=kind,
        what=what,
        printed=float(printed),
        unit="°C",
        tolerance=tolerance,
        source=source,
        tag=READ if source == _START_SOURCE else COMPUTED,
        compute=compute,
    )


def _start_rows(cells: tuple[str, str, str, str]) -> list[PrintedValue]:
    dew, start = float(cells[0]), float(cells[1])
    bulb, third = partial(_bulb, dew, start), partial(_one_third, start, dew)
    looked_up = partial(_lookup, dew)
    # Half a kelvin, since the table went from whole °F to °C.
    zero = f"{_START_SOURCE}; that it means a wet bulb of 0 °C is our reading"
    own = "worked out for this project"
    wording = f"dew point {dew} °C"
    rows: list[tuple[str, Kind, str, str, float, str, Callable[[], float]]] = [
        ("air", "arithmetic", "air to start at", cells[1], 0.05, _START_SOURCE, looked_up),
        ("bulb", "arithmetic", "water wet bulb at that start", "0", 0.5, zero, bulb),
        ("worked", "regression", "water wet bulb there", cells[2], 0.01, own, bulb),
        ("third", "regression", "one-third rule there", cells[3], 0.01, own, third),
    ]
    return [
        _start_row(f"start-{name}-{dew}", kind, f"{what}, {wording}", printed, near, book, compute)
        for name, kind, what, printed, near, book, compute in rows
    ]


def _start_table() -> Iterator[PrintedValue]:
    for line in _START.strip().splitlines():
        dew, start, bulb, third = line.split()
        yield from _start_rows((dew, start, bulb, third))


def values() -> list[PrintedValue]:
    """List the printed values of cold, overhead water and heat."""
    published = read_rows(PUBLISHED, "cold", "arithmetic", SOURCES, NOTES, COMPUTES)
    return [*published, *_start_table()]
