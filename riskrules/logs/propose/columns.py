"""Guess what each column of a log holds, with the reason and how sure the guess is."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from riskrules.logs.formats.headers import bracketed
from riskrules.logs.raw import RawLog
from riskrules.logs.units import converter
from riskrules.logs.variables import OUTSIDE, VARIABLES, Floats, Variable, understand

Sure = Literal["sure", "likely", "open"]
FEW = 5
"""Numbers that a column needs before its range says anything. (assumption)"""
WATER_TOGETHER = -0.3
"""Humidity of air whose water hardly changes falls as it warms: a correlation up to this bears a
guess out. (assumption)"""
AGAINST = 0.3
"""A correlation from this on speaks against a guess. (assumption)"""

_KINDS = (
    ("soil_temperature", r"(?:soil|bed|root|substrate|ground|boden|suelo|sol)\w*[ _.-]*(?:t\b|temp)"
                         r"|temp\w*[ _.-]*(?:soil|bed|root|substrate|ground|boden|suelo|sol)"),
    ("dew_point_temperature", r"dew|taupunkt|ros[eé]e|roc[ií]o|^td$"),
    ("surface_wetness", r"wetness|leaf[ _]?wet|blattn|mouillage|mojad|\blw[sd]?\b"),
    ("relative_humidity", r"humid|feucht|humed|\brh\b|\brh[ _]?\d|\bhum\b"),
    ("thickness_of_rainfall_amount", r"rain|precip|niederschlag|regen|pluie|lluvia|\bppt\b"),
    ("wind_speed", r"wind|viento|\bvent\b"),
    ("air_temperature", r"temp|lufttemp|\bt_?\d*\b|\bairtc\b|\bta\b"),
)  # fmt: skip
_NOT_OURS = re.compile(
    r"batt|volt|rssi|signal|record|serial|index|pressure|radiat|solar|\bpar\b|\blux|light|co2"
    r"|dir(?:ection)?\b|gust|vpd|deficit|status|error|note|comment|forecast|\bid\b|\bno\.?\b|^#$"
)
_EXTREME = re.compile(
    r"(?:^|[ _.(-])(?:min|max|minimum|maximum|high|low|std|stdev|hi|lo)(?:$|[ _.)-])"
)
_PLACE = re.compile(r"out(?:side|door|er)?\b|\bext|ambient|au[sß]+en|exterior|\bstation\b")
_SCALE = re.compile(r"(?:temp(?:erature)?|air ?t|\bt)[ ]?(?:deg)?[ ]?(?P<scale>[cf])(?: |\d|$)")
_UNIT = re.compile(r"^(?P<name>[^\[\]]*?)\s*\[(?P<unit>[^\[\]]*)\]\s*$")


@dataclass(slots=True)
class Guess:
    """What one column may hold: ``ours`` is how we would write its header, None if not known."""

    header: str
    at: int
    ours: str | None
    why: str
    sure: Sure
    variable: str = ""
    options: tuple[str, ...] = ()


def guess_columns(raw: RawLog, skip: set[int]) -> list[Guess]:
    """Return a guess for each column but the times, those that are none of ours left out."""
    found = []
    for at, header in enumerate(raw.header):
        if at in skip or not header.strip():
            continue
        guess = _guess(header, at, numbers(raw.table[at]))
        if guess is not None:
            found.append(guess)
    _settle_rivals(found)
    return found


def numbers(column: Any) -> Floats:
    """Return the numbers of a column, those that are missing or no number left out."""
    import pandas as pd

    values = pd.to_numeric(column, errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    return np.asarray(values[np.isfinite(values) & (np.abs(values) < 900)], dtype=float)


def _guess(header: str, at: int, values: Floats) -> Guess | None:
    """Return the guess for one column; None where its name says that it is none of ours."""
    name, unit = _split(bracketed(header))
    known = understand(bracketed(header))
    if known is not None and not isinstance(known, str):
        return Guess(
            header, at, bracketed(header), "the header names it, with its unit", "sure", known.name
        )
    plain = re.sub(r"[_\s./-]+", " ", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)).strip().lower()
    if _NOT_OURS.search(plain):
        return None
    variable = next((v for v, pattern in _KINDS if re.search(pattern, plain)), None)
    if variable is None:
        return _by_unit(header, at, unit, values)
    place = OUTSIDE if _PLACE.search(plain) and variable != "soil_temperature" else ""
    return _with_unit(header, at, variable + place, unit, plain, values)


def _split(header: str) -> tuple[str, str]:
    match = _UNIT.match(header)
    return (match["name"], match["unit"].strip()) if match else (header.strip(), "")


def _with_unit(header: str, at: int, name: str, unit: str, plain: str, values: Floats) -> Guess:
    """Return the guess for a column whose name is understood, by its unit or its numbers."""
    variable = VARIABLES[name.removesuffix(OUTSIDE)]
    if unit:
        convert = converter(unit, variable)
        if isinstance(convert, str):
            return Guess(header, at, None, f"{name}, but {convert}", "open", name)
        why = f"'{plain}' is {name}; its unit stands in the header"
        return Guess(header, at, f"{name} [{unit}]", why, "likely", name)
    stated = _SCALE.search(plain)
    if stated and variable.unit == "degC":
        ours = f"{name} [deg{stated['scale'].upper()}]"
        return Guess(
            header, at, ours, f"'{plain}' names the variable and its scale", "likely", name
        )
    ours_, why, options = _by_range(name, variable.unit, values)
    if ours_ is None:
        return Guess(header, at, None, why, "open", name, options)
    return Guess(header, at, f"{name} [{ours_}]", why, "likely", name)


def _by_unit(header: str, at: int, unit: str, values: Floats) -> Guess | None:
    """Return the guess for a column of which only the unit is understood."""
    if not unit or unit in ("1", "%"):
        return None
    fits = [v for v in ("air_temperature", "thickness_of_rainfall_amount", "wind_speed")
            if not isinstance(converter(unit, VARIABLES[v]), str)]  # fmt: skip
    if len(fits) != 1 or not len(values):
        return None
    why = f"its unit is that of {fits[0]}, but its name says nothing of it"
    return Guess(header, at, None, why, "open", fits[0], (f"{fits[0]} [{unit}]",))


def _by_range(name: str, unit: str, values: Floats) -> tuple[str | None, str, tuple[str, ...]]:
    """Return the unit that the numbers prove, or None with the units that are possible."""
    base = name.removesuffix(OUTSIDE)
    some = {"degC": ("degC", "degF"), "%": ("%", "1"), "1": ("1", "%"), "mm": ("mm", "in")}
    units = some.get(unit, ("m/s", "km/h", "mph", "kt"))
    options = tuple(f"{name} [{u}]" for u in units)
    if len(values) < FEW:
        return None, f"{name} without unit, and too few numbers to tell", options
    low, high = float(values.min()), float(values.max())
    span = f"{low:g} to {high:g}"
    if base == "relative_humidity":
        chosen = "1" if high <= 1 else "%"
        return chosen, f"no unit, but {span} can only be {_words(chosen)}", ()
    if base == "surface_wetness":
        return _wetness_by_range(name, low, high)
    possible = [u for u in units if _fits(u, VARIABLES[base], low, high)]
    if len(possible) == 1 and len(units) == 2:
        return possible[0], f"no unit, but {span} cannot be {_other(units, possible[0])}", ()
    if not possible:
        return None, f"no unit, and {span} fits none of {', '.join(units)}", options
    return None, f"no unit, and {span} may be {' or '.join(possible)}", options


def _fits(unit: str, variable: Variable, low: float, high: float) -> bool:
    """Return whether numbers of a unit lie within what can be true."""
    convert = converter(unit, variable)
    assert not isinstance(convert, str)
    ends = convert(np.array([low, high]))
    return bool(ends[0] >= variable.least - 1e-9 and ends[1] <= variable.most + 1e-9)


def _wetness_by_range(
    name: str, low: float, high: float
) -> tuple[str | None, str, tuple[str, ...]]:
    if 0 <= low and high <= 1:
        return "1", f"no unit, but {low:g} to {high:g} is a share, or dry and wet", ()
    scales = [(15, "0..15"), (60, "0..60"), (100, "%")]
    options = tuple(f"{name} [{u}]" for most, u in scales if 0 <= low and high <= most)
    why = f"no unit and {low:g} to {high:g}: percent, minutes, or a scale of its own"
    return None, why, options or (f"{name} [DRY..WET]",)


def _words(unit: str) -> str:
    return {"1": "a share of 1", "%": "percent"}[unit]


def _other(units: tuple[str, ...], one: str) -> str:
    return next(u for u in units if u != one)


def _settle_rivals(found: list[Guess]) -> None:
    """Of columns that may be one variable, keep none open to chance: a mean beats an extreme."""
    for name in {g.variable for g in found}:
        rivals = [g for g in found if g.variable == name]
        if len(rivals) < 2:
            continue
        means = [g for g in rivals if not _EXTREME.search(g.header.lower())]
        exact = [g for g in rivals if g.sure == "sure"]
        chosen = means[0] if len(means) == 1 else exact[0] if len(exact) == 1 else None
        for g in rivals:
            if g is chosen:
                g.why += "; the only one of its kind that is no highest or lowest value" * (
                    len(means) == 1
                )
                continue
            g.options = (g.ours,) if g.ours else g.options
            if not name.endswith(OUTSIDE) and name != "soil_temperature":
                g.options += tuple(o.replace(name, name + OUTSIDE, 1) for o in g.options)
            others = ", ".join(f"'{o.header}'" for o in rivals if o is not g)
            g.ours, g.sure = None, "open"
            g.why = f"may be {name}, as may {others}"


def air_and_water(raw: RawLog, found: list[Guess]) -> tuple[list[str], list[str]]:
    """Return what the temperature and humidity columns say of each other: reasons and doubts."""
    import pandas as pd

    reasons, doubts = [], []
    warm = [g for g in found if g.ours and g.variable.startswith("air_temperature")]
    damp = [g for g in found if g.ours and g.variable.startswith("relative_humidity")]
    for t, rh in ((t, rh) for t in warm for rh in damp if t.variable[15:] == rh.variable[17:]):
        pair = [pd.to_numeric(raw.table[g.at], errors="coerce").to_numpy(dtype=float)
                for g in (t, rh)]  # fmt: skip
        both = np.isfinite(pair[0]) & np.isfinite(pair[1])
        if both.sum() < 24 or any(np.ptp(p[both]) == 0 for p in pair):
            continue
        r = float(np.corrcoef(pair[0][both], pair[1][both])[0, 1])
        if r <= WATER_TOGETHER:
            reasons.append(f"'{rh.header}' falls as '{t.header}' rises (r = {r:.2f}), "
                           "as relative humidity does")  # fmt: skip
        elif r >= AGAINST:
            doubts.append(f"'{rh.header}' rises with '{t.header}' (r = {r:.2f}), which relative "
                          "humidity hardly does. Are both columns what they seem?")  # fmt: skip
    return reasons, doubts


def rain_doubts(raw: RawLog, found: list[Guess]) -> list[str]:
    """Return doubts on rain that looks like a counter; its guess is left open then."""
    doubts = []
    for g in found:
        values = numbers(raw.table[g.at])
        if not g.variable.startswith("thickness_of_rain") or len(values) < FEW:
            continue
        if (np.diff(values) >= 0).all() and len(set(values.tolist())) > 2:
            doubts.append(f"'{g.header}' never falls: it looks like a counter, not like the rain "
                          "of each row's step. Which is it?")  # fmt: skip
            g.options = (g.ours,) if g.ours else g.options
            g.ours, g.sure = None, "open"
            g.why = "rain, but it never falls, as a counter of all rain so far does"
    return doubts
