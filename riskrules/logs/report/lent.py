"""What a block borrowed: the values of a neighbour that stood in where its own had none."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from riskrules.logs.readings import Readings
from riskrules.logs.report import STATES, SourceRows, VariableRows
from riskrules.logs.report.runs import spans_of, state_runs


def lent_rows(block: str, own: Sequence[Readings], lent: Readings) -> list[SourceRows]:
    """Return, for each variable, the rows of a neighbour's sensor that a block really used.

    A row is used where none of the block's ``own`` sensors has a usable value of that variable
    at its time. Such rows are added ones: their files are the neighbour's.
    """
    found = []
    for name in sorted(lent.values):
        used = ~np.isnan(lent.values[name])
        for rows in own:
            used &= ~_has_value(rows, name, lent.time)
        if used.any():
            found.append(_source(block, lent.only(used), name))
    return found


def _has_value(rows: Readings, name: str, time: Any) -> Any:
    """Return at which times some row that covers them has a usable value."""
    if name not in rows.values or not len(rows):
        return np.zeros(len(time), dtype=bool)
    at = np.minimum(np.searchsorted(rows.time, time), len(rows) - 1)
    covered = (rows.time[at] >= time) & (rows.time[at] - spans_of(rows)[at] < time)
    return covered & ~np.isnan(rows.values[name][at])


def _source(block: str, rows: Readings, name: str) -> SourceRows:
    n = len(rows)
    state = np.full(n, STATES.index("borrowed"), dtype=np.uint8)
    counts = {s: n if s == "borrowed" else 0 for s in STATES}
    variable = VariableRows(name, n, runs=state_runs(rows, state), **counts)
    return SourceRows(
        block, f"{rows.sensor or 'log'} of a neighbour", rows.placed, int(rows.time[0]),
        int(rows.time[-1]), int(rows.step), n, n, n, int(rows.forecast.sum()), 0, (), (variable,),
    )  # fmt: skip
