"""The variables of a log: internal (CF) names, other names people write, units and limits."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from riskrules.facts.kinds import Cause
from riskrules.logs.units import converter

Floats = npt.NDArray[np.float64]
OUTSIDE = "_outside"


@dataclass(frozen=True, slots=True)
class Variable:
    """A variable: its CF standard name, canonical unit, and the values that can be true.

    The limits are ours (assumption), chosen so wide that a value beyond them is a fault.
    Humidity may read above 100: what becomes of it is for the judge to say.
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
        Variable("air_temperature", "degC", -40, 60, Cause.NO_TEMPERATURE,
                 ("temperature", "temp", "air_temp", "t_air", "tair", "airtemp")),
        Variable("relative_humidity", "%", 0, 110, Cause.NO_HUMIDITY,
                 ("humidity", "rh", "hum", "rel_humidity", "rel_hum", "air_humidity")),
        Variable("dew_point_temperature", "degC", -60, 45, Cause.NO_HUMIDITY,
                 ("dew_point", "dewpoint", "dew_pt", "dewpoint_temperature")),
        Variable("surface_wetness", "1", 0, 1, Cause.NO_WETNESS,
                 ("leaf_wetness", "wetness", "leaf_wet", "leafwetness", "lw")),
        Variable("thickness_of_rainfall_amount", "mm", 0, 200, Cause.NO_RAIN,
                 ("rain", "rainfall", "precip", "precipitation")),
        Variable("soil_temperature", "degC", -30, 75, Cause.NO_SOIL,
                 ("bed_temperature", "soil_temp", "bed_temp", "t_soil", "tsoil")),
        Variable("wind_speed", "m s-1", 0, 75, Cause.NONE, ("wind", "windspeed")),
    )
}  # fmt: skip
_NAMES = {also: v.name for v in VARIABLES.values() for also in (v.name, *v.also)}
_HEADER = re.compile(r"^\s*(?P<name>[^\[\]]+?)\s*(?:\[(?P<unit>[^\]]*)\])?\s*$")


def is_known(name: str) -> bool:
    """Whether a name without unit is one of ours, or one that people write for it."""
    return name.lower().replace(" ", "_").rstrip(".").removesuffix(OUTSIDE) in _NAMES


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
    name = match["name"].lower().replace(" ", "_").rstrip(".")
    place = OUTSIDE if name.endswith(OUTSIDE) else ""
    known = _NAMES.get(name.removesuffix(OUTSIDE))
    if known is None:
        return None
    variable = VARIABLES[known]
    unit = (match["unit"] or "").strip()
    if not unit:
        return f"no unit; expected '{match['name']} [{variable.unit}]' or the like"
    convert = converter(unit, variable)
    return convert if isinstance(convert, str) else Column(known + place, variable, convert)
