"""Printed check values of keeping, wetness proxies, hour tables and heat sums."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

import numpy as np

from riskrules.science import hour_tables, keeping, wetness
from riskrules.science.printed_value import PrintedValue, read_rows, rounded

SOURCES = {
    "UCD": "UC Davis produce facts and answer pages,",
    "unsigned": "unsigned page",
    "Acta": "Paraskevopoulou-Paroussi and others 1995, Acta Hort. 379:337,",
    "Minnesota": "Univ. of Minnesota post-harvest page",
    "Nunes": "Nunes and others 1995, Postharvest Biol. Technol. 6:17,",
    "own": "worked out for this project",
    "Kim": "Kim and others 2002, as in public code;",
    "Scab": "West Virginia University against public code; MacHardy and Gadoury 1989,",
    "Korea": "potato wetness tree, Korea,",
    "Sentelhas": "Sentelhas and others 2008, Agric. For. Meteorol. 148:392-400",
    "graded": "public code",
}
NOTES = {
    "mid": "mid respiration at 10 °C over that at 0 °C, 75/16",
    "whole": "printed in whole days, bare and film-covered",
    "straight": "50 % more in 6 h, if it were straight; not a published rate",
    "three": "about 3 h less by design of the two tables",
    "derived": "7 days at 0 °C scaled; derived, not published",
    "formula": "worked out by another dew point formula, as its last digit shows",
    "switch": "first branch at wind 1 m/s",
}

PUBLISHED = """
keep-0    | rate of decline, 0 °C           | 1    | 1e-12 | . | 1 | read | UCD | .
keep-20   | rate of decline, 20 °C          | 10   | 1e-9 | . | 1 | read | UCD answer | .
keep-10-lo | rate of decline, 10 °C, least  | 2    | 1e-9 | . | 1 | second-hand | unsigned | .
keep-10-four | rate of decline, 10 °C, most, by one page | >=4 | 0 | . | 1 | second-hand | unsigned | .
keep-10-hi | rate of decline, 10 °C, most | 4.6875 | 0.05 | . | 1 | computed | UCD respiration | mid
keep-days-lo | keeping at 0 °C, least       | 5    | 1e-9 | . | d | read | Minnesota | .
keep-days-hi | keeping at 0 °C, most        | 7    | 1e-9 | . | d | read | Minnesota | .
nunes-hour | more water loss an hour, 30 °C | 0.08 | . | . | 1/h | computed | Nunes abstract | straight
wet-90    | wet from a humidity of 90 %     | 1    | 0 | . | 1 | read | Sentelhas | .
wet-89    | dry below a humidity of 90 %    | 0    | 0 | . | 1 | read | Sentelhas | .
graded-80 | graded wetness, 80 %            | 0    | 0 | . | 1 | second-hand | graded | .
graded-95 | graded wetness, 95 %            | 1    | 0 | . | 1 | second-hand | graded | .
tree-dry | tree, depression of 3.7 K and more: dry | 0 | 0 | . | 1 | second-hand | Kim first test | .
tree-windy | tree, 3 m/s, 87 %: dry         | 0    | 0 | . | 1 | second-hand | Kim second branch | .
potato-95 | potato tree, 95 %: wet          | 1    | 0 | . | 1 | read | Korea abstract | .
potato-windy | potato tree, 94 %, 1.2 m/s: dry | 0 | 0 | . | 1 | read | Korea abstract | .
potato-82 | potato tree, 81.9 %, calm: dry  | 0    | 0 | . | 1 | read | Korea abstract | .
scab-gap | scab, light class less fewest hours, 10 °C | 3 | . | . | h | second-hand | Scab abstract | three
"""  # noqa: E501

OBSERVED = """
keep-3-lo | keeping at 3 °C, bare fruit: least | <=4 | 0.5 | . | d | read | Acta abstract | whole
keep-3-hi | keeping at 3 °C, film-covered: most | >=6 | 0.5 | . | d | read | Acta abstract | whole
"""

WORKED_OUT = """
keep-days-10 | keeping at 10 °C, most         | 3.5 | . | . | d | computed | own | derived
keep-days-20 | keeping at 20 °C, most         | 0.7 | . | . | d | computed | own | derived
keep-days-5-hi | keeping at 5 °C, most        | 4.9 | . | . | d | computed | own | derived
depression-5  | depression of RH 90 % at 5 °C  | 1.50 | . | . | K | computed | own | .
depression-10 | depression of RH 90 % at 10 °C | 1.57 | . | 1.5624 | K | computed | own | formula
depression-15 | depression of RH 90 % at 15 °C | 1.63 | . | . | K | computed | own | .
depression-20 | depression of RH 90 % at 20 °C | 1.69 | . | . | K | computed | own | .
depression-25 | depression of RH 90 % at 25 °C | 1.76 | . | . | K | computed | own | .
switch-5      | tree turns wet at RH, 5 °C     | 86.6 | . | 86.52 | % | computed | own | formula
switch-15     | tree turns wet at RH, 15 °C    | 85.2 | . | . | % | computed | own | switch
switch-25     | tree turns wet at RH, 25 °C    | 84.1 | . | . | % | computed | own | switch
"""


def _rate(temperature: float, most: int) -> float:
    return float(keeping.keeping_rate_bounds(temperature)[most])


def _days(temperature: float, most: int) -> float:
    return float(keeping.keeping_days_bounds(temperature)[most])


def _depression(temperature: float) -> float:
    return float(wetness.dew_point_depression(temperature, 90))


def _switch(temperature: float) -> float:
    humidity = np.arange(70.0, 100.0, 0.01)
    wet = wetness.wet_by_tree(temperature, humidity, 1.0)
    return float(humidity[np.argmax(wet == 1)])


def _tree(temperature: float, humidity: float, wind: float) -> float:
    return float(wetness.wet_by_tree(temperature, humidity, wind))


def _potato(temperature: float, humidity: float, wind: float) -> float:
    return float(wetness.wet_by_potato_tree(temperature, humidity, wind))


def _hours(table: hour_tables.HourTable, key: float, column: str) -> float:
    return float(hour_tables.lookup(table, key, column))


def _scab_gap() -> float:
    light = _hours(hour_tables.APPLE_SCAB_CLASSES, 10, "light")
    return light - _hours(hour_tables.APPLE_SCAB_LEAST, 50, "hours")


COMPUTES: dict[str, Callable[[], float]] = {
    "keep-0": partial(_rate, 0, 1),
    "keep-20": partial(_rate, 20, 0),
    "keep-10-lo": partial(_rate, 10, 0),
    "keep-10-four": partial(_rate, 10, 1),
    "keep-10-hi": partial(_rate, 10, 1),
    "keep-days-lo": partial(_days, 0, 0),
    "keep-days-hi": partial(_days, 0, 1),
    "keep-3-lo": partial(_days, 3, 0),
    "keep-3-hi": partial(_days, 3, 1),
    "keep-days-10": partial(_days, 10, 1),
    "keep-days-20": partial(_days, 20, 1),
    "keep-days-5-hi": partial(_days, 5, 1),
    "nunes-hour": lambda: keeping.DELAY_FACTS["water_loss_per_hour"].value,
    "wet-90": lambda: float(wetness.wet_by_humidity(90)),
    "wet-89": lambda: float(wetness.wet_by_humidity(89.99)),
    "graded-80": lambda: float(wetness.wetness_graded(80)),
    "graded-95": lambda: float(wetness.wetness_graded(95)),
    "tree-dry": partial(_tree, 20, 79, 1),
    "tree-windy": partial(_tree, 20, 87, 3),
    "potato-95": partial(_potato, 15, 95, 3),
    "potato-windy": partial(_potato, 15, 94, 1.2),
    "potato-82": partial(_potato, 15, 81.9, 0.5),
    "scab-gap": _scab_gap,
    "depression-5": partial(_depression, 5),
    "depression-10": partial(_depression, 10),
    "depression-15": partial(_depression, 15),
    "depression-20": partial(_depression, 20),
    "depression-25": partial(_depression, 25),
    "switch-5": partial(_switch, 5),
    "switch-15": partial(_switch, 15),
    "switch-25": partial(_switch, 25),
}

# Cells as printed, picked by hand from the printed tables and not from the loaded ones.
_SCAB_LEAST = "34/41 36/35 37/30 39/28 41/21 43/18 45/15 46/13 48/12 50/11 52/9 54/8 55/8 57/7 59/7"
_SCAB_LEAST_WARM = "61/6 68/6 75/6 77/8 79/11"
_SCAB_CLASSES = "5/37/48/73 10/14/19/28 14/10/13/21 17/9/12/18 20/9/12/18 23/9/12/18 25/10/14/21"
_GERANIUM = "15/8/24 21/4/12 25/4/12 30/4/6"
_TABLES = (
    (hour_tables.APPLE_SCAB_LEAST, f"{_SCAB_LEAST} {_SCAB_LEAST_WARM}"),
    (hour_tables.APPLE_SCAB_CLASSES, _SCAB_CLASSES),
    (hour_tables.GERANIUM_FLOWERS, _GERANIUM),
)


def _hour_tables() -> Iterator[PrintedValue]:
    for number, (table, text) in enumerate(_TABLES):
        for entry in text.split():
            key, *cells = entry.split("/")
            for column, printed in zip(table.columns, cells, strict=True):
                yield rounded(
                    f"hours-{number}-{key}-{column}",
                    "hour tables",
                    "arithmetic",
                    f"{table.name}, {column}, {key} {table.key_unit}",
                    printed,
                    "h",
                    table.source,
                    table.tag,
                    partial(_hours, table, float(key), column),
                )


def values() -> list[PrintedValue]:
    """List the printed values of keeping, wetness, and hour tables."""
    published = read_rows(PUBLISHED, "keeping and wetness", "arithmetic", SOURCES, NOTES, COMPUTES)
    observed = read_rows(OBSERVED, "keeping and wetness", "biology", SOURCES, NOTES, COMPUTES)
    own = read_rows(WORKED_OUT, "keeping and wetness", "regression", SOURCES, NOTES, COMPUTES)
    return [*published, *observed, *own, *_hour_tables()]
