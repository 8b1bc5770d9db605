"""Units of a log's columns: everyday spellings by a table, all others through Pint.

Pint costs half a second to import (computed), so that the table comes first; the tests hold it
to Pint's answer for every entry. Nothing that has no one meaning is converted: a rate is not an
amount, grams of water a kilogram of air are not relative humidity, a difference of temperature
is not a temperature.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from functools import lru_cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from riskrules.logs.variables import Floats, Variable

Convert = Callable[["Floats"], "Floats"]
LONGEST = 40
"""Characters a unit may have. (assumption)"""
KNOT = 1852 / 3600
"""A nautical mile an hour. [m s-1] (BIPM SI brochure, 9th edition, table 8: 1852 m; memory)"""


def _same(x: Floats) -> Floats:
    return x


def _fahrenheit(x: Floats) -> Floats:
    return (x - 32) / 1.8


EVERYDAY: dict[str, dict[str, Convert]] = {
    "degC": {
        "degc": _same,
        "°c": _same,
        "c": _same,
        "degf": _fahrenheit,
        "°f": _fahrenheit,
        "f": _fahrenheit,
        "k": lambda x: x - 273.15,
    },
    "%": {"%": _same, "1": lambda x: x * 100},
    "1": {"1": _same, "%": lambda x: x / 100},
    "mm": {"mm": _same, "in": lambda x: x * 25.4, "inch": lambda x: x * 25.4},
    "m s-1": {
        "m/s": _same,
        "m s-1": _same,
        "km/h": lambda x: x / 3.6,
        "mph": lambda x: x * 0.44704,
        "kt": lambda x: x * KNOT,
    },
}
"""By our unit, in small letters: the spellings that need no Pint."""
PINT_NAMES = {"degC": "degC", "%": "percent", "1": "dimensionless", "mm": "mm", "m s-1": "m/s"}
"""Our units as Pint writes them."""
SHARES = {"percent": "%", "pct": "%", "%rh": "%", "rh%": "%", "fraction": "1", "ratio": "1",
          "dimensionless": "1"}  # fmt: skip
"""Other words for the two units of a share. Nothing else without dimension is one: g/kg is not."""
WATER = {"kgm-2", "kg/m2", "lm-2", "l/m2"}
"""A kilogram of water on a square metre stands 1 mm high (1000 kg m-3, by which rain gauges and
CF amounts are compared; common practice, no source). A litre on a square metre is 1 mm exactly.
"""
AMBIGUOUS = {
    "point": "in print 1/72 inch, of rain 1/100 inch",
    "points": "in print 1/72 inch, of rain 1/100 inch",
    "deg": "degrees of which scale",
    "degree": "degrees of which scale",
    "degrees": "degrees of which scale",
    "°": "degrees of which scale",
}
SENSOR = re.compile(
    r"(m|mins?|minutes?|h|hrs?|hours?|s|sec|seconds?|m?v|volts?|millivolts?|counts?|raw|adc|bits?"
    r"|k?ohms?|[kμ]?ω|units?)"
)
_RANGE = re.compile(r"(?P<dry>-?\d+(?:\.\d+)?)\s*(?:\.\.+|…)\s*(?P<wet>-?\d+(?:\.\d+)?)")
_DEGREE = re.compile(
    r"(?:°|degrees?|degs?\.?)?[ _.]*(c|celsius|centigrade|f|fahrenheit|k|kelvins?)"
)
_DIFFERENCE = re.compile(r"(?:δ|delta)")
_FACTOR = re.compile(r"(?P<name>[^\W\d]+)(?:\*\*|\^)?(?P<power>[-+]?\d)?")


def converter(unit: str, variable: Variable) -> Convert | str:
    """Return what turns values of a unit into a variable's own, or what is wrong, in one clause.

    Parameters
    ----------
    unit : str
        As it stands between the brackets of a header. Capitals do not count, except where only
        one way of writing fits. For wetness also a range, ``0..15``: a linear scale on which
        the first number is dry and the second wet.
    variable : Variable
        What the column holds.

    Returns
    -------
    callable or str
        From values [unit] to values [variable.unit], any shape; NaN stays NaN.

    Examples
    --------
    >>> from riskrules.logs.variables import VARIABLES
    >>> converter("degF", VARIABLES["air_temperature"])(212.0)
    100.0
    >>> converter("0..15", VARIABLES["surface_wetness"])(3.0)
    0.2
    >>> converter("furlong", VARIABLES["air_temperature"])
    "unit 'furlong'; expected one of degc, °c, c, degf, °f, f, k"
    """
    known = EVERYDAY[variable.unit]
    written = unit.strip()
    if written.lower() in known:
        return known[written.lower()]
    plain = _plain(written)
    if plain.lower() in known:
        return known[plain.lower()]
    if isinstance(special := _special(plain.lower(), variable), str):
        return f"unit '{unit[:LONGEST]}'{special}"
    return special or _by_pint(plain, variable) or _unknown(unit, variable)


def _unknown(unit: str, variable: Variable) -> str:
    return f"unit '{unit[:LONGEST]}'; {_expected(variable)}"


def _expected(variable: Variable) -> str:
    return f"expected one of {', '.join(EVERYDAY[variable.unit])}"


def _plain(written: str) -> str:
    """Return a unit with each sign in one way of writing: ℉ becomes °F, m² m2, m·s⁻¹ m s-1."""
    text = written.replace("º", "°").replace("˚", "°")
    text = unicodedata.normalize("NFKC", text).replace("\u2212", "-").replace("\u2013", "-")
    return re.sub(r"\s+", " ", re.sub(r"[·⋅∙×]", " ", text)).strip()


def _special(unit: str, variable: Variable) -> Convert | str | None:
    """Return what Pint would not know, or would take for something else; None for the rest."""
    spread = _RANGE.fullmatch(unit)
    if spread:
        return _on_scale(float(spread["dry"]), float(spread["wet"]), variable)
    if _DIFFERENCE.match(unit):
        return f" is a difference; {_expected(variable)}"
    if unit in AMBIGUOUS:
        return f" is ambiguous ({AMBIGUOUS[unit]}); {_expected(variable)}"
    known = EVERYDAY[variable.unit]
    if variable.unit in ("%", "1"):
        return _share(unit, variable)
    if variable.unit == "degC" and (scale := _DEGREE.fullmatch(unit)):
        return known[scale[1][0]]
    if variable.unit == "mm" and re.sub(r"[ ^*.]", "", unit) in WATER:
        return _same
    return None


def _on_scale(dry: float, wet: float, variable: Variable) -> Convert | str:
    """Return the linear scale of a wetness sensor between its dry and its wet end."""
    if variable.name != "surface_wetness":
        return f" is a range, which only wetness can have; {_expected(variable)}"
    if dry == wet:
        return " is a range of one number; expected its dry end and its wet end, such as 0..15"
    return lambda x: (x - dry) / (wet - dry)


def _share(unit: str, variable: Variable) -> Convert | str:
    """Return the conversion of a share: only percent and plain shares are one."""
    if unit.replace(" ", "") in SHARES:
        return EVERYDAY[variable.unit][SHARES[unit.replace(" ", "")]]
    if variable.name == "surface_wetness" and SENSOR.fullmatch(unit):
        what = "needs your adviser's scale: which number is dry and which is wet"
        return f" {what}; expected 1, % or a range such as 0..60, its dry end first"
    if re.fullmatch(r"m?g ?(/|kg-1).*|ppm|ppt|kg ?/ ?kg", unit):
        return f" is an amount of water, not a share; {_expected(variable)}"
    return f"; {_expected(variable)}"


def _by_pint(unit: str, variable: Variable) -> Convert | str | None:
    """Return Pint's conversion, a clause where the unit is a rate, None where there is none."""
    target = _parsed(PINT_NAMES[variable.unit])
    other: Any = None
    for spelling in dict.fromkeys((unit, unit.lower())):
        expression = _expression(spelling)
        found = _parsed(expression) if expression else None
        if found is not None and found.dimensionality == target.dimensionality:
            return _pint_converter(found, target)
        other = other if other is not None else found
    if other is not None and _is_rate(dict(other.dimensionality), dict(target.dimensionality)):
        return f"unit '{unit}' is a rate, not an amount in each row's step; {_expected(variable)}"
    return None


def _pint_converter(found: Any, target: Any) -> Convert:
    quantity = _registry().Quantity
    return lambda x: quantity(x, found).to(target).magnitude


def _expression(unit: str) -> str | None:
    """Return a unit as Pint reads it, or None where it is no product of powers of names.

    ``m s-1``, ``m.s-1``, ``l/m2``, ``ft per s``, ``in.``. Nothing else reaches Pint's parser.
    """
    if not unit or len(unit) > LONGEST:
        return None
    text = re.sub(r"\bper\b", "/", unit).rstrip(".")
    parts = []
    for i, side in enumerate(text.split("/")):
        for factor in re.split(r"[ *.]+(?![*])", side.replace("**", "^").strip()):
            match = _FACTOR.fullmatch(factor)
            if not match:
                return None
            power = int(match["power"] or 1) * (-1 if i else 1)
            parts.append(f"{match['name']}**{power}" if power != 1 else match["name"])
    return " * ".join(parts)


def _is_rate(dimension: dict[str, float], expected: dict[str, float]) -> bool:
    return expected == {"[length]": 1} and dimension == {**expected, "[time]": -1}


@lru_cache(maxsize=1)
def _registry() -> Any:
    """Return Pint's registry, built once, when first needed."""
    from pint import UnitRegistry

    return UnitRegistry()


@lru_cache(maxsize=256)
def _parsed(expression: str) -> Any:
    """Return a unit of Pint, or None where it knows none of that name."""
    from pint.errors import PintError

    try:
        unit = _registry().Unit(expression)
        return unit if unit.dimensionality is not None else None
    except (PintError, AttributeError, ValueError, TypeError, KeyError):
        return None
