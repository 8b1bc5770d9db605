"""Which curves are drawn of each model, over which span, and where a printed value stands.

The spans are those in which the models were tested, or which we set (each module says which).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
import numpy.typing as npt

from riskrules.science import (
    air,
    cold,
    heat,
    hour_tables,
    keeping,
    overhead_water,
    sampling,
    wetness,
)
from riskrules.science import anthracnose_fruit as anthracnose
from riskrules.science import degree_days as days
from riskrules.science import generic_infection as generic
from riskrules.science import gray_mold_flower as gray
from riskrules.science import leather_rot as leather
from riskrules.science.printed_value import PrintedValue

Floats = npt.NDArray[np.float64]
Model = Callable[[Floats], Any]
Place = Callable[[PrintedValue], float | None]


@dataclass(frozen=True, slots=True)
class Spec:
    """How one chart is made. ``place`` says where on ``x`` a printed value stands, or None."""

    key: str
    x: str
    x_unit: str
    y: str
    y_unit: str
    shown: tuple[float, float]
    tested: tuple[float, float]
    curves: Sequence[tuple[str, Model]]
    place: Place
    steps: Sequence[Sequence[float]] = ()


def call_of(value: PrintedValue) -> tuple[str, tuple[Any, ...]]:
    """Return the name of what recomputes a value, and its arguments; ('', ()) if not told."""
    compute = value.compute
    if not isinstance(compute, partial):
        return "", ()
    first = compute.args[0] if compute.args else None
    name = getattr(compute.func, "__name__", "")
    if callable(first) and not isinstance(first, type):
        return getattr(first, "__name__", name), compute.args[1:]
    return name, compute.args


def at(name: str, place: int = 0, **wanted: Any) -> Place:
    """Return a placing: the argument ``place`` of calls of that name.

    ``wanted`` says which other arguments must have which value, such as ``a1=24``.
    """
    fixed = {int(k[1:]): v for k, v in wanted.items()}

    def found(value: PrintedValue) -> float | None:
        called, args = call_of(value)
        if called != name or any(args[i] != v for i, v in fixed.items()):
            return None
        return float(args[place])

    return found


def either(*places: Place) -> Place:
    """Return a placing: the first that knows a value."""
    return lambda value: next((x for p in places if (x := p(value)) is not None), None)


def nowhere(value: PrintedValue) -> float | None:
    """Place no value."""
    return None


def _wet_pair(
    model: Callable[[Any, Any], Any], name: str, temperatures: tuple[float, float], hours: float,
    lines: tuple[Sequence[float], Sequence[float]], y: tuple[str, str], more: str = "",
) -> tuple[Spec, Spec]:  # fmt: skip
    """Return the two charts of a model of temperature and wet hours."""
    by_hours = [(f"{h:g} h", lambda t, h=h: model(t, np.full_like(t, h))) for h in lines[0]]
    by_heat = [(f"{t:g} °C", lambda h, t=t: model(np.full_like(h, t), h)) for t in lines[1]]
    across, along = at(name, 0), at(name, 1)
    if more:
        across, along = either(across, at(more, 0)), either(along, at(more, 1))
    return (
        Spec("temperature", "temperature", "°C", *y, (0.0, 40.0), temperatures, by_hours, across),
        Spec("hours", "wet_hours", "h", *y, (0.0, 1.5 * hours), (0.0, hours), by_heat, along),
    )  # fmt: skip


def _share(t: Floats) -> Floats:
    top = gray.flower_infection_index(20.0, 24.0)
    return np.asarray(gray.flower_infection_index(t, np.full_like(t, 24.0)) / top)


def _table_spec(table: hour_tables.HourTable) -> Spec:
    lines = [(c.replace("_", " "), partial(_looked_up, table, c)) for c in table.columns]
    ends = (min(table.keys), max(table.keys))
    margin = 0.25 * (ends[1] - ends[0])

    def place(value: PrintedValue) -> float | None:
        name, args = call_of(value)
        return float(args[1]) if name == "_hours" and args[0] == table else None

    shown = (ends[0] - margin, ends[1] + margin)
    return Spec(table.name, "temperature", table.key_unit, "wet_hours", "h", shown, ends, lines,
                place, (table.keys,))  # fmt: skip


def _looked_up(table: hour_tables.HourTable, column: str, x: Floats) -> Any:
    return hour_tables.lookup(table, x, column)


_GRAY = _wet_pair(
    gray.flower_infection_index, "_gray", gray.TESTED_TEMPERATURE, gray.TESTED_HOURS,
    ((4, 8, 12, 16, 24, 32), (5, 10, 15, 20, 25, 30)), ("index", "1"), "bare_equation",
)  # fmt: skip
_FRUIT = _wet_pair(
    anthracnose.fruit_infection_index, "_fruit", anthracnose.MODELLED_TEMPERATURE,
    anthracnose.TESTED_HOURS, ((6, 13, 24, 36, 51), (10, 15, 20, 25, 30)), ("index", "1"),
    "bare_equation",
)  # fmt: skip
_LEVEL = _wet_pair(
    leather.leather_rot_level, "_level", leather.TESTED_TEMPERATURE, leather.TESTED_HOURS,
    ((0.5, 1.5, 2, 5), (10, 12, 17, 21, 28)),
    ("level", "1"),
)  # fmt: skip
_RESPONSE = Spec(
    "response", "temperature", "°C", "response", "1", (-5.0, 45.0), (0.0, 36.0),
    [(r.replace("_", " "), partial(lambda t, row: generic.temperature_response(t, row), row=row))
     for r, row in generic.ROWS.items() if r in ("apple_scab", "grape_botrytis_berry")],
    at("_response", 1),
)  # fmt: skip
_NEEDED = Spec(
    "needed", "temperature", "°C", "wet_hours", "h", (-5.0, 45.0), (0.0, 36.0),
    [(r.replace("_", " "), partial(lambda t, row: generic.hours_needed(t, row), row=row))
     for r, row in generic.ROWS.items()],
    at("_hours", 1),
)  # fmt: skip
_HUMID = (20.0, 50.0, 80.0, 95.0)


def _humid(model: Callable[[Any, Any], Any], key: str, y: str, unit: str, name: str) -> Spec:
    lines = [(f"{h:g} %", lambda t, h=h: model(t, np.full_like(t, h))) for h in _HUMID]
    return Spec(key, "temperature", "°C", y, unit, (-60.0, 70.0), air.TEMPERATURE_RANGE, lines,
                at(name, 0))  # fmt: skip


def _saturated(value: PrintedValue) -> float | None:
    """Place a saturation vapour pressure by the temperature that its words name."""
    found = re.fullmatch(r"e0\((-?[0-9.]+) °C\)", value.what)
    return float(found[1]) if found else None


_AIR = (
    Spec("saturation", "temperature", "°C", "vapour_pressure", "kPa", (-60.0, 70.0),
         air.TEMPERATURE_RANGE, [("", air.saturation_vapour_pressure)], _saturated),
    _humid(air.dew_point, "dew_point", "dew_point", "°C", "dew_point"),
    _humid(air.wet_bulb, "wet_bulb", "wet_bulb", "°C", "wet_bulb"),
    _humid(air.vapour_pressure_deficit, "deficit", "deficit", "kPa", "vapour_pressure_deficit"),
)  # fmt: skip
_DEWS = tuple(dew for dew, _ in overhead_water.ONTARIO_START)
_START = Spec(
    "start", "dew_point", "°C", "start_air", "°C", (-12.0, 2.0), (min(_DEWS), 0.0),
    [("printed table", overhead_water.start_temperature_from_table),
     ("water wet bulb at 0 °C", overhead_water.start_temperature_by_wet_bulb)],
    at("_lookup"), (_DEWS,),
)  # fmt: skip
_RATE = Spec(
    "rate", "temperature", "°C", "rate", "1", (-5.0, 30.0), keeping.KNOWN_TEMPERATURE,
    [("least", lambda t: keeping.keeping_rate_bounds(t)[0]),
     ("most", lambda t: keeping.keeping_rate_bounds(t)[1])],
    at("_rate"),
)  # fmt: skip
_LIFE = Spec(
    "life", "temperature", "°C", "days_kept", "d", (-5.0, 30.0), keeping.KNOWN_TEMPERATURE,
    [("least", lambda t: keeping.keeping_days_bounds(t)[0]),
     ("most", lambda t: keeping.keeping_days_bounds(t)[1])],
    at("_days"),
)  # fmt: skip
_DEPRESSION = Spec(
    "depression", "temperature", "°C", "depression", "K", (-10.0, 50.0), (0.0, 45.0),
    [("90 %", lambda t: wetness.dew_point_depression(t, np.full_like(t, 90.0)))],
    at("_depression"),
)  # fmt: skip
_GRADED = Spec(
    "graded", "humidity", "%", "wet", "1", (0.0, 110.0), (0.0, 100.0),
    [("graded", wetness.wetness_graded), ("threshold", wetness.wet_by_humidity)], nowhere,
)  # fmt: skip
_METHODS = {
    "average": days.average, "single triangle": days.single_triangle,
    "single sine": days.single_sine, "irish rule": days.irish_rule,
}  # fmt: skip


def _day_place(value: PrintedValue) -> float | None:
    """Place days that are 12 K wide, over a base of 3 °C, at their mean."""
    name, args = call_of(value)
    if name.replace("_", " ") not in _METHODS or len(args) != 3:
        return None
    least, most, base = args
    return (least + most) / 2 if most - least == 12 and base == days.STRAWBERRY_BASE else None


def _of_day(method: Callable[[Any, Any, Any], Any], mean: Floats) -> Any:
    return method(mean - 6.0, mean + 6.0, np.full_like(mean, days.STRAWBERRY_BASE))


_DAY = Spec(
    "day", "mean_temperature", "°C", "degree_days", "°C d", (-10.0, 30.0), (-10.0, 30.0),
    [(n, partial(_of_day, m)) for n, m in _METHODS.items()],
    _day_place,
)  # fmt: skip
_MEET = Spec(
    "meet", "share", "1", "plants", "1", (0.0, 0.5), (0.008, 0.4),
    [("95 %", lambda p: [sampling.detect_one_n(float(x)) for x in p])], at("detect_one_n"),
)  # fmt: skip
_NONE = Spec(
    "none", "examined", "1", "upper", "1", (0.0, 400.0), (1.0, 400.0),
    [("95 %", lambda n: [sampling.zero_of_n_upper(float(x)) for x in n])], at("zero_of_n_upper"),
)  # fmt: skip

PANELS: dict[str, tuple[Spec, ...]] = {
    "air": _AIR,
    "wetness": (_GRADED, _DEPRESSION),
    "gray_mold_flower": (
        *_GRAY,
        Spec("share", "temperature", "°C", "share_of_best", "1", (0.0, 40.0),
             gray.TESTED_TEMPERATURE, [("24 h", _share)], at("_share_of_best")),
    ),
    "anthracnose_fruit": _FRUIT,
    "leather_rot": _LEVEL,
    "generic_infection": (_NEEDED, _RESPONSE),
    "hour_tables": tuple(
        _table_spec(t) for t in (
            hour_tables.APPLE_SCAB_LEAST, hour_tables.APPLE_SCAB_CLASSES,
            hour_tables.GERANIUM_FLOWERS, hour_tables.GERANIUM_LEAVES,
        )
    ),
    "overhead_water": (_START,),
    "keeping": (_RATE, _LIFE),
    "degree_days": (_DAY,),
    "sampling": (_MEET, _NONE),
}  # fmt: skip
"""The charts of each module of `riskrules.science`."""
STRIPS: dict[str, tuple[tuple[str, float, str, str, str], ...]] = {
    "cold": tuple(
        (c.part.replace("_", " "), c.critical, " ".join((c.printed, c.note)).strip(), c.source,
         c.tag)
        for c in cold.CRITICAL_TEMPERATURES
    ),
    "heat": tuple(
        (t.name.replace("_", " "), t.value, t.what, t.source, t.tag)
        for t in heat.THRESHOLDS.values() if t.unit == "°C"
    ),
}  # fmt: skip
"""Numbers that are no curve: name, value [°C], what it means, source and tag."""
