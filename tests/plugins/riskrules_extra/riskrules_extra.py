"""A plug-in that adds one of everything: invented, for tests only."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from riskrules.facts.build import Builder, Context, sure_times
from riskrules.facts.derive import MoreFacts
from riskrules.facts.kinds import BASIS, Cause, Kind, hours
from riskrules.facts.table import Facts
from riskrules.logs.readings import Readings
from riskrules.plugins import Reader, hook
from riskrules.science.printed_value import PrintedValue

CHILL = Kind(
    "chill_spell",
    "All that the log covers.",
    (hours("chill_hours", "Hours below 7 degC."),),
    BASIS,
)
CHILLY = 7.0
"""Below this an hour counts as chilly. [degC] (invented for a test)"""


def chill_spells(context: Context) -> Facts:
    """Derive one fact a block: the hours below 7 °C from its first reading until now."""
    edges, air = context.cells.edges, context.cells.value("air_temperature")
    first = int(np.flatnonzero(~np.isnan(air))[0])
    b = Builder(context, CHILL, sure_times([int(edges[first])]), sure_times([context.now]))
    each = context.cells.hours * (edges[:-1] >= edges[first]) * (edges[:-1] < context.now)
    low = (each * (air < CHILLY)).sum()
    high = low + (each * np.isnan(air)).sum()
    why = np.array([int(Cause.NO_TEMPERATURE)])
    b.put("chill_hours", (np.array([low]), np.array([high]), why))
    b.basis()
    return {"chill_spell": b.done()}


def chilling_share(chilly: float, all_hours: float) -> float:
    """Return the share of chilly hours: the invented model of this plug-in. [1]."""
    return chilly / all_hours


def read_two_columns(path: Path) -> Readings:
    """Read ``seconds;tenths of a degree``, one row an hour."""
    rows = [line.split(";") for line in path.read_text().split()]
    time = np.array([int(r[0]) for r in rows], dtype=np.int64)
    air = np.array([int(r[1]) / 10 for r in rows], dtype=np.float64)
    fine = np.zeros(len(rows), dtype=np.int64)
    forecast = np.zeros(len(rows), dtype=np.bool_)
    return Readings(
        time, 3600, {"air_temperature": air}, {"air_temperature": fine}, forecast, (path.name,)
    )


@hook
def riskrules_packs() -> Sequence[Path]:
    """Add a pack."""
    return [Path(__file__).with_name("extra_pack.yaml")]


@hook
def riskrules_kinds() -> Sequence[tuple[Kind, MoreFacts]]:
    """Add a kind of fact."""
    return [(CHILL, chill_spells)]


@hook
def riskrules_printed_values() -> Sequence[PrintedValue]:
    """Add a check of the model."""
    return [
        PrintedValue(
            id="extra_share",
            group="extra",
            kind="arithmetic",
            what="invented chilling share",
            printed=0.25,
            unit="1",
            tolerance=0.005,
            source="invented for a test",
            tag="assumption",
            compute=lambda: chilling_share(6, 24),
        )  # fmt: skip
    ]


@hook
def riskrules_log_reader(path: Path) -> Reader | None:
    """Read files that end in ``.twocol``."""
    return read_two_columns if path.suffix == ".twocol" else None
