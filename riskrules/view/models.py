"""Each published model as charts and a table: the card, the curves, and the printed values."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from riskrules.plugins import more_printed_values
from riskrules.science.cards import ModelCard, models
from riskrules.science.printed import PrintedValue, TableRow, printed_values, recompute
from riskrules.view.model_panels import PANELS, STRIPS, Spec

STEPS = 400
"""Places along a curve. (assumption: finer than a screen shows)"""
MODULES = {
    "gray mold": "gray_mold_flower", "anthracnose": "anthracnose_fruit",
    "hour tables": "hour_tables", "air": "air", "cold": "cold", "sampling": "sampling",
    "degree-days": "degree_days", "keeping and wetness": "wetness",
}  # fmt: skip
"""The module of a group of printed values, where the start of its name does not say other."""
BY_START = {
    "bulger": "gray_mold_flower", "gray": "gray_mold_flower", "wilson-": "anthracnose_fruit",
    "anth": "anthracnose_fruit", "grove": "leather_rot", "leather": "leather_rot",
    "scab-gap": "hour_tables", "scab": "generic_infection", "berry": "generic_infection",
    "phyto": "generic_infection", "textbook": "generic_infection", "heat": "heat",
    "early": "overhead_water", "start": "overhead_water", "third": "overhead_water",
    "keep": "keeping", "nunes": "keeping",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Curve:
    """A curve, only where the model was tested: elsewhere its values are NaN."""

    label: str
    x: tuple[float, ...]
    y: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Point:
    """A printed value on a chart: where it stands, and its row of the table."""

    x: float
    row: TableRow


@dataclass(frozen=True, slots=True)
class Panel:
    """One chart. ``tested`` is the span of ``x`` that holds; beyond it nothing is drawn."""

    key: str
    x: str
    x_unit: str
    y: str
    y_unit: str
    shown: tuple[float, float]
    tested: tuple[float, float]
    curves: tuple[Curve, ...]
    points: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Mark:
    """A number of a model that is no curve: a threshold of a plant part or of heat. [°C]"""

    name: str
    value: float
    what: str
    source: str
    tag: str


@dataclass(frozen=True, slots=True)
class Sheet:
    """All that is shown of one model; ``card`` is None for printed values of plug-ins."""

    module: str
    card: ModelCard | None
    panels: tuple[Panel, ...]
    marks: tuple[Mark, ...]
    rows: tuple[TableRow, ...]


def module_of(value: PrintedValue | TableRow) -> str:
    """Return the module of the model that a printed value belongs to; 'other' if none of ours.

    Examples
    --------
    >>> [module_of(v) for v in printed_values()[:1]]
    ['gray_mold_flower']
    """
    if value.group in ("infection", "cold", "keeping and wetness"):
        for start, module in BY_START.items():
            if value.id.startswith(start):
                return module
    return MODULES.get(value.group, "other")


@lru_cache(maxsize=1)
def sheets() -> tuple[Sheet, ...]:
    """Return a sheet for each model, in the order of the cards, then one for plug-ins if any.

    The rows are those of `riskrules tables`, each on one sheet.
    """
    values = [*printed_values(), *more_printed_values()]
    rows = dict(zip((v.id for v in values), recompute(values), strict=True))
    found = [_sheet(card.module, card, values, rows) for card in models()]
    other = _sheet("other", None, values, rows)
    return (*found, other) if other.rows else tuple(found)


def _sheet(
    module: str, card: ModelCard | None, values: Sequence[PrintedValue], rows: dict[str, TableRow]
) -> Sheet:
    mine = [v for v in values if module_of(v) == module]
    return Sheet(
        module, card,
        tuple(_panel(spec, mine, rows) for spec in PANELS.get(module, ())),
        tuple(Mark(*mark) for mark in STRIPS.get(module, ())),
        tuple(rows[v.id] for v in mine),
    )  # fmt: skip


def _panel(spec: Spec, values: Iterable[PrintedValue], rows: dict[str, TableRow]) -> Panel:
    x = np.linspace(*spec.shown, STEPS + 1)
    x = np.unique(np.concatenate([x, spec.tested, *(np.asarray(s) for s in spec.steps)]))
    inside = (x >= spec.tested[0]) & (x <= spec.tested[1])
    curves = []
    for label, model in spec.curves:
        y = np.full(x.shape, np.nan)
        y[inside] = np.asarray(model(x[inside]), dtype=float)
        y[~np.isfinite(y)] = np.nan
        curves.append(Curve(label, tuple(x.tolist()), tuple(y.tolist())))
    points = [
        Point(at, rows[v.id])
        for v in values
        if (at := spec.place(v)) is not None and v.unit == spec.y_unit
    ]
    return Panel(spec.key, spec.x, spec.x_unit, spec.y, spec.y_unit, spec.shown, spec.tested,
                 tuple(curves), tuple(points))  # fmt: skip
