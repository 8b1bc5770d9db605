"""The variables of a log: internal (CF) names, other names people write, units and limits."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from riskrules.facts.kinds import Cause

Floats = npt.NDArray[np.float64]
OUTSIDE = "_outside"


@dataclass(frozen=True, slots=True)
class Variable:
    """A variable: its CF standard name, canonical unit, and the values that can be true.

    The limits are ours (assumption), chosen so wide that a value beyond them is a fault.
    """

    name: str
    unit: str
    least: float
    most: float
    missing: Cause
    also: tuple[str, ...] = ()


VARIABLES = {
    v.name: v
    for v in (
        Variable("air_temperature", "degC", -40, 60, Cause.NO_TEMPERATURE, ("temperature",)),
        Variable("relative_humidity", "%", 0, 100, Cause.NO_HUMIDITY, ("humidity",)),
        Variable("dew_point_temperature", "degC", -60, 45, Cause.NO_HUMIDITY, ("dew_point",)),
        Variable("surface_wetness", "1", 0, 1, Cause.NO_WETNESS, ("leaf_wetness", "wetness")),
        Variable("thickness_of_rainfall_amount", "mm", 0, 200, Cause.NO_RAIN, ("rain",)),
        Variable("soil_temperature", "degC", -30, 75, Cause.NO_SOIL, ("bed_temperature",)),
        Variable("wind_speed", "m s-1", 0, 75, Cause.NONE, ("wind",)),
    )
}
_NAMES = {also: v.name for v in VARIABLES.values() for also in (v.name, *v.also)}


def _fahrenheit(x: Floats) -> Floats:
    return (x - 32) / 1.8


_UNITS: dict[str, dict[str, Callable[[Floats], Floats]]] = {
    "degC": {
        "degc": lambda x: x,
        "°c": lambda x: x,
        "c": lambda x: x,
        "degf": _fahrenheit,
        "°f": _fahrenheit,
        "f": _fahrenheit,
        "k": lambda x: x - 273.15,
    },
    "%": {"%": lambda x: x, "1": lambda x: x * 100},
    "1": {"1": lambda x: x, "%": lambda x: x / 100},
    "mm": {"mm": lambda x: x, "in": lambda x: x * 25.4, "inch": lambda x: x * 25.4},
    "m s-1": {
        "m/s": lambda x: x,
        "m s-1": lambda x: x,
        "km/h": lambda x: x / 3.6,
        "mph": lambda x: x * 0.44704,
        "kt": lambda x: x * 0.514444,
    },
}
_HEADER = re.compile(r"^\s*(?P<name>[^\[\]]+?)\s*(?:\[(?P<unit>[^\]]*)\])?\s*$")


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a log as understood: internal name (with its place) and unit conversion."""

    name: str
    variable: Variable
    convert: Callable[[Floats], Floats]


def understand(header: str) -> Column | str | None:
    """Return what a header means, None where it is no variable of ours, or what is wrong.

    Examples
    --------
    >>> understand("air_temperature [degF]").name
    'air_temperature'
    >>> understand("air_temperature [furlong]")
    "unit 'furlong'; expected one of degc, °c, c, degf, °f, f, k"
    """
    match = _HEADER.match(header)
    if not match:
        return None
    name = match["name"].lower().replace(" ", "_")
    place = OUTSIDE if name.endswith(OUTSIDE) else ""
    known = _NAMES.get(name.removesuffix(OUTSIDE))
    if known is None:
        return None
    variable = VARIABLES[known]
    units = _UNITS[variable.unit]
    unit = (match["unit"] or "").strip().lower()
    if not unit:
        return f"no unit; expected '{match['name']} [{variable.unit}]' or the like"
    if unit not in units:
        return f"unit '{match['unit']}'; expected one of {', '.join(units)}"
    return Column(known + place, variable, units[unit])
