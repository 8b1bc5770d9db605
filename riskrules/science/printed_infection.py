"""Printed check values of the infection models: what the papers observed, then our own tables."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

from riskrules.science import anthracnose_fruit as anthracnose
from riskrules.science import generic_infection as generic
from riskrules.science import gray_mold_flower as gray_mold
from riskrules.science import leather_rot
from riskrules.science.printed_tables import HOURS_TO_REACH, PROBABILITIES
from riskrules.science.printed_value import PrintedValue, read_rows, rounded
from riskrules.science.provenance import COMPUTED

SOURCES = {
    "Bulger": "Bulger, Ellis, Madden 1987, Phytopathology 77:1225-1230,",
    "Wilson": "Wilson, Madden, Ellis 1990, Phytopathology 80:111-116,",
    "Grove": "Grove and others 1985, Phytopathology 75:165-169,",
    "Magarey": "Magarey and others 2005, as in public code;",
    "own": "worked out for this project from the second-hand coefficients",
}
NOTES = {
    "near": "all flowers, observed; a logistic curve never reaches 1",
    "about": "the abstract says about 20 °C",
    "fruit": "the paper's fruit incidence; the model follows its flower infection, so no fruit rot",
    "half": "strong reduction, read as at most half of that at 20 °C (assumption)",
    "mild": "strong reduction, read as at most half; the curve stays higher: it overstates here",
    "coarse": "two printed digits span 0.28 to 0.69 by rounding alone; the abstract's is observed",
    "guard": "an observed zero, held at exactly this temperature",
    "bare": "the bare equation misbehaves here; the guard holds instead",
    "level": "over 80 % infected stands for level 3 of our own bands",
    "hand": "by hand: 25/15 = 1.66667; (9/19)^(19/15) = exp(-1.26667 x 0.74721) = 0.38812",
    "own": "second-hand coefficients, worked out once before this code",
}

OBSERVED = """
bulger-all    | flowers, 20 °C, 24 h | 1.00 | 0.05 | . | 1 | read | Bulger abstract | near
bulger-best | best temperature | 20 | 1 | . | °C | read | Bulger abstract | about
bulger-fruit | fruit rotted, 20 °C, 32 h | 0.60 | 0.05 | 0.9965 | 1 | read | Bulger abstract | fruit
bulger-5 | share of that at 20 °C: 5 °C, 24 h | <=0.5 | 0 | . | 1 | read | Bulger abstract | half
bulger-30 | share of that at 20 °C: 30 °C, 24 h | <=0.5 | 0 | . | 1 | read | Bulger abstract | half
bulger-12 | share of that at 20 °C: 12 °C, 24 h | <=0.5 | 0.005 | 0.774 | 1 | read | Bulger abstract | mild
bulger-27 | share of that at 20 °C: 27 °C, 24 h | <=0.5 | 0.005 | 0.854 | 1 | read | Bulger abstract | mild
wilson-25 | fruit infected, 25 °C, 13 h | >=0.80 | 0.0005 | 0.475 | 1 | read | Wilson abstract | coarse
wilson-27 | fruit infected, 27 °C, 13 h | >=0.80 | 0.0005 | 0.490 | 1 | read | Wilson abstract | coarse
wilson-30 | fruit infected, 30 °C, 13 h | >=0.80 | 0.0005 | 0.386 | 1 | read | Wilson abstract | coarse
wilson-warm   | best temperature | >=25 | 0 | . | °C | read | Wilson abstract | .
wilson-hot    | best temperature | <=30 | 0 | . | °C | read | Wilson abstract | .
wilson-4 | immature fruit infected, 4 °C, 51 h | 0 | 0 | . | 1 | read | Wilson abstract | guard
wilson-35 | immature fruit infected, 35 °C, 51 h | 0 | 0 | . | 1 | read | Wilson abstract | guard
wilson-bare-4 | the same by the bare equation, 4 °C | 0 | 0.005 | 0.94 | 1 | read | Wilson abstract | bare
wilson-bare-35 | the same by the bare equation, 35 °C | 0 | 0.005 | 0.27 | 1 | read | Wilson abstract | bare
grove-17      | level at 17 °C after more than 1 h | 3 | 0 | . | 1 | read | Grove abstract | level
grove-21      | level at 21 °C after more than 1 h | 3 | 0 | . | 1 | read | Grove abstract | level
grove-25      | level at 25 °C after more than 1 h | 3 | 0 | . | 1 | read | Grove abstract | level
"""  # noqa: E501

BY_HAND = """
scab-f10 | response of apple scab at 10 °C | 0.6468 | . | . | 1 | computed | Magarey row 1/20/35 | hand
scab-best | response of apple scab at 20 °C | 1 | 1e-12 | . | 1 | second-hand | Magarey equation | .
scab-cold  | response of apple scab at 1 °C  | 0 | 0 | . | 1 | second-hand | Magarey equation | .
scab-hot   | response of apple scab at 35 °C | 0 | 0 | . | 1 | second-hand | Magarey equation | .
scab-least | hours of apple scab at 20 °C    | 6 | 1e-9 | . | h | second-hand | Magarey Wmin | .
scab-cap   | hours of apple scab at 2 °C     | 40.5 | 0 | . | h | second-hand | Magarey Wmax | .
textbook-cap | hours of the textbook row at 7.5 °C | 42 | 0 | . | h | read | Magarey docs | .
"""  # noqa: E501

WORKED_OUT = """
gray-turn   | gray mold: best temperature        | 20.42  | . | . | °C  | computed | own | own
gray-slope  | gray mold: greatest slope          | 0.3102 | . | . | 1/h | computed | own | own
gray-zero-c | gray mold: slope at its cold zero, 3.09 °C | 0 | 3e-4 | . | 1/h | computed | own | own
gray-zero-w | gray mold: slope at its hot zero, 33.73 °C | 0 | 3e-4 | . | 1/h | computed | own | own
gray-dry    | gray mold: bare equation, no wet hour | 0.0138 | . | . | 1 | computed | own | own
gray-6      | gray mold: index, 20 °C, 6 h       | 0.08   | . | . | 1   | computed | own | own
anth-turn-c | anthracnose: false turn of the slope | 9.327 | . | . | °C | computed | own | own
anth-turn-w | anthracnose: best temperature      | 26.5   | . | . | °C  | computed | own | own
anth-low    | anthracnose: least slope           | 0.0459 | . | . | 1/h | computed | own | own
anth-high   | anthracnose: greatest slope        | 0.2821 | . | . | 1/h | computed | own | own
anth-zero   | anthracnose: slope at its zero, 35.81 °C | 0 | 3e-4 | . | 1/h | computed | own | own
anth-dry    | anthracnose: bare equation, no wet hour | 0.024 | . | . | 1 | computed | own | own
leather-12  | leather rot: level, 12 °C, 2 h     | 2 | 0 | . | 1 | assumption | own | .
leather-28  | leather rot: level, 28 °C, 2 h     | 2 | 0 | . | 1 | assumption | own | .
leather-1   | leather rot: level, 12 °C, 1.5 h   | 1 | 0 | . | 1 | assumption | own | .
scab-10     | apple scab: hours at 10 °C         | 9.28 | . | . | h | computed | own | own
scab-15     | apple scab: hours at 15 °C         | 6.63 | . | . | h | computed | own | own
scab-25     | apple scab: hours at 25 °C         | 6.69 | . | . | h | computed | own | own
scab-f15    | apple scab: response at 15 °C      | 0.9056 | . | . | 1 | computed | own | own
scab-f25    | apple scab: response at 25 °C      | 0.8962 | . | . | 1 | computed | own | own
scab-f2     | apple scab: response at 2 °C       | 0.0528 | . | . | 1 | computed | own | own
berry-15    | grape berry Botrytis: hours at 15 °C | 4.76 | . | . | h | computed | own | own
berry-12    | grape berry Botrytis: hours at 12 °C | 7.63 | . | . | h | computed | own | own
berry-33    | grape berry Botrytis: hours at 33 °C | 10 | 0 | . | h | computed | own | own
phyto-15    | apple Phytophthora: hours at 15 °C | 3.65 | . | . | h | computed | own | own
phyto-20    | apple Phytophthora: hours at 20 °C | 2.34 | . | . | h | computed | own | own
"""


def _gray(temperature: float, hours: float) -> float:
    return float(gray_mold.flower_infection_index(temperature, hours))


def _share_of_best(temperature: float) -> float:
    return _gray(temperature, 24) / _gray(20, 24)


def _fruit(temperature: float, hours: float) -> float:
    return float(anthracnose.fruit_infection_index(temperature, hours))


def _level(temperature: float, hours: float) -> float:
    return float(leather_rot.leather_rot_level(temperature, hours))


def _response(row: str, temperature: float) -> float:
    return float(generic.temperature_response(temperature, generic.ROWS[row]))


def _hours(row: str, temperature: float) -> float:
    return float(generic.hours_needed(temperature, generic.ROWS[row]))


def _gray_slope(temperature: float) -> float:
    return float(gray_mold.slope_per_hour(temperature))


def _fruit_slope(temperature: float) -> float:
    return float(anthracnose.slope_per_hour(temperature))


COMPUTES: dict[str, Callable[[], float]] = {
    "bulger-all": partial(_gray, 20, 24),
    "bulger-best": lambda: gray_mold.WARMEST_FOR_INFECTION,
    "bulger-fruit": partial(_gray, 20, 32),
    "bulger-5": partial(_share_of_best, 5),
    "bulger-30": partial(_share_of_best, 30),
    "bulger-12": partial(_share_of_best, 12),
    "bulger-27": partial(_share_of_best, 27),
    "wilson-25": partial(_fruit, 25, 13),
    "wilson-27": partial(_fruit, 27, 13),
    "wilson-30": partial(_fruit, 30, 13),
    "wilson-warm": lambda: anthracnose.WARMEST_FOR_INFECTION,
    "wilson-hot": lambda: anthracnose.WARMEST_FOR_INFECTION,
    "wilson-4": partial(_fruit, 4, 51),
    "wilson-35": partial(_fruit, 35, 51),
    "wilson-bare-4": lambda: float(anthracnose.bare_equation(4, 51)),
    "wilson-bare-35": lambda: float(anthracnose.bare_equation(35, 51)),
    "grove-17": partial(_level, 17, 1.5),
    "grove-21": partial(_level, 21, 1.5),
    "grove-25": partial(_level, 25, 1.5),
    "scab-f10": partial(_response, "apple_scab", 10),
    "scab-best": partial(_response, "apple_scab", 20),
    "scab-cold": partial(_response, "apple_scab", 1),
    "scab-hot": partial(_response, "apple_scab", 35),
    "scab-least": partial(_hours, "apple_scab", 20),
    "scab-cap": partial(_hours, "apple_scab", 2),
    "textbook-cap": partial(_hours, "textbook", 7.5),
    "gray-turn": lambda: gray_mold.WARMEST_FOR_INFECTION,
    "gray-slope": lambda: _gray_slope(gray_mold.WARMEST_FOR_INFECTION),
    "gray-zero-c": partial(_gray_slope, 3.09),
    "gray-zero-w": partial(_gray_slope, 33.73),
    "gray-dry": lambda: float(gray_mold.bare_equation(20, 0)),
    "gray-6": partial(_gray, 20, 6),
    "anth-turn-c": lambda: anthracnose.COLDEST_TURN,
    "anth-turn-w": lambda: anthracnose.WARMEST_FOR_INFECTION,
    "anth-low": lambda: _fruit_slope(anthracnose.COLDEST_TURN),
    "anth-high": lambda: _fruit_slope(anthracnose.WARMEST_FOR_INFECTION),
    "anth-zero": partial(_fruit_slope, 35.81),
    "anth-dry": lambda: float(anthracnose.bare_equation(20, 0)),
    "leather-12": partial(_level, 12, 2),
    "leather-28": partial(_level, 28, 2),
    "leather-1": partial(_level, 12, 1.5),
    "scab-10": partial(_hours, "apple_scab", 10),
    "scab-15": partial(_hours, "apple_scab", 15),
    "scab-25": partial(_hours, "apple_scab", 25),
    "scab-f15": partial(_response, "apple_scab", 15),
    "scab-f25": partial(_response, "apple_scab", 25),
    "scab-f2": partial(_response, "apple_scab", 2),
    "berry-15": partial(_hours, "grape_botrytis_berry", 15),
    "berry-12": partial(_hours, "grape_botrytis_berry", 12),
    "berry-33": partial(_hours, "grape_botrytis_berry", 33),
    "phyto-15": partial(_hours, "apple_phytophthora", 15),
    "phyto-20": partial(_hours, "apple_phytophthora", 20),
}


def _curve(model: Callable[[float, float], object], temperature: float, second: float) -> float:
    return float(model(temperature, second))  # type: ignore[arg-type]


def _tables() -> Iterator[PrintedValue]:
    curves = {"gray mold": gray_mold, "anthracnose": anthracnose}
    for table, unit, what in ((PROBABILITIES, "1", "P"), (HOURS_TO_REACH, "h", "hours to P")):
        for disease, temperature, second, printed in table:
            module = curves[disease]
            model = module.bare_equation if table is PROBABILITIES else module.hours_to_reach
            yield rounded(
                f"{disease.replace(' ', '-')}-{what.replace(' ', '-')}-{temperature:g}-{second:g}",
                disease,
                "regression",
                f"{what} at {temperature:g} °C, {second:g}{' h' if unit == '1' else ''}",
                printed,
                unit,
                SOURCES["own"],
                COMPUTED,
                partial(_curve, model, temperature, second),
            )


def values() -> list[PrintedValue]:
    """List the printed values of the infection models."""
    observed = read_rows(OBSERVED, "infection", "biology", SOURCES, NOTES, COMPUTES)
    by_hand = read_rows(BY_HAND, "infection", "arithmetic", SOURCES, NOTES, COMPUTES)
    worked_out = read_rows(WORKED_OUT, "infection", "regression", SOURCES, NOTES, COMPUTES)
    return [*observed, *by_hand, *worked_out, *_tables()]
