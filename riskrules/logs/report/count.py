"""Count what became of rows and values: the log report of judged readings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from riskrules.errors import Problem
from riskrules.logs.readings import Ints, Note, Readings, Tally
from riskrules.logs.report import (
    OUTSIDE_BLOCK,
    STATES,
    FileRows,
    LogReport,
    SourceRows,
    TroubleRows,
    VariableRows,
)
from riskrules.logs.report.lent import lent_rows
from riskrules.logs.report.runs import absent_runs, state_runs, states
from riskrules.logs.report.troubles import RowText, no_text, troubles_of
from riskrules.logs.troubles import Flag, Origin


@dataclass(frozen=True, slots=True)
class Judged:
    """Judged readings of one sensor of a block (``OUTSIDE_BLOCK``: of the farm)."""

    block: str
    sensor: str
    rows: Readings


def log_report(
    sources: Sequence[Judged],
    aside: Iterable[Problem] = (),
    row_text: RowText = no_text,
) -> LogReport:
    """Return the report of some judged readings.

    Parameters
    ----------
    sources : sequence of Judged
        Each sensor once. Of readings that were lent by a neighbour only what the block used is
        counted, as borrowed.
    aside : iterable of Problem
        Files that could not be read, and why.
    row_text : callable
        Gives the text of a line of a file, for the examples; empty where there is none.

    Raises
    ------
    RiskRulesError
        If readings were not judged, or the sums don't add up.
    """
    files: list[FileRows] = []
    counted: list[SourceRows] = []
    troubles: list[TroubleRows] = []
    remarks: dict[Note, None] = {}
    for s in sources:
        if s.rows.lent:
            own = [o.rows for o in sources if o.block == s.block and not o.rows.lent]
            counted += lent_rows(s.block, own, s.rows)
            continue
        held = {name: states(s.rows, name) for name in s.rows.values}
        files += _files(s)
        counted.append(_source(s, held))
        troubles += troubles_of(s.block, s.sensor, s.rows, row_text)
        remarks |= dict.fromkeys(n for n in s.rows.notes if not n.trouble)
    left = tuple(sorted(remarks, key=lambda n: (n.file, n.row, n.message)))
    order = sorted(troubles, key=lambda t: (t.block, t.sensor, t.variable, -t.count, t.trouble))
    return LogReport(tuple(files), tuple(counted), tuple(order), left, tuple(aside))


def outside(sources: Iterable[Readings]) -> list[Judged]:
    """Return the farm's own logs of the air outside as sources of a report."""
    return [Judged(OUTSIDE_BLOCK, sensor_of(rows, i), rows) for i, rows in enumerate(sources)]


def sensor_of(rows: Readings, number: int) -> str:
    """Return a sensor's name, or else that of its file."""
    return rows.sensor or (rows.files[0] if rows.files else f"log {number + 1}")


def source_of(rows: Readings) -> Ints:
    """Return which of ``files`` each row is of, -1 for rows of no file, shape (n,)."""
    if len(rows.source) == len(rows):
        return rows.source
    return np.zeros(len(rows), dtype=np.int64)


def _tallies(rows: Readings) -> list[Tally]:
    """Return a tally for each file; where a reader left none, its rows left out are refused."""
    if rows.tallies:
        return list(rows.tallies)
    name = rows.files[0] if rows.files else "log"
    read = max(rows.rows_read, len(rows))
    return [Tally(name, read, len(rows), read - len(rows), 0, 0)]


def _files(s: Judged) -> list[FileRows]:
    tallies = _tallies(s.rows)
    names = s.rows.files or tuple(t.file for t in tallies)
    source = source_of(s.rows)
    ours = source >= 0
    in_use = np.bincount(source[ours], minlength=len(names)).tolist()
    doubted = np.bincount(source[ours & _doubted(s.rows)], minlength=len(names)).tolist()
    used = list(zip(names, in_use, doubted, strict=True))
    by_name = {name: (name, n, d) for name, n, d in used}
    alike = names == tuple(t.file for t in tallies)  # then versions of one name stay apart
    found = []
    for i, t in enumerate(tallies):
        _, n, d = used[i] if alike else by_name.get(t.file, ("", 0, 0))
        row = (t.read, t.kept, t.refused, t.repeated, t.blank, n, t.kept - n, d)
        found.append(FileRows(t.file, s.block, s.sensor, *row))
    return found


def _doubted(rows: Readings) -> Any:
    """Return which rows have a value that is suspect or failed, also if it was filled since."""
    found = np.zeros(len(rows), dtype=bool)
    for name, flag in rows.flags.items():
        found |= (flag == Flag.SUSPECT) | (flag == Flag.FAIL)
        if name in rows.origin and name in rows.reasons:
            found |= (rows.origin[name] == Origin.FILLED) & (rows.reasons[name] != 0)
    return found


def _source(s: Judged, held: dict[str, Any]) -> SourceRows:
    rows = s.rows
    runs = absent_runs(rows)
    absent = sum(run.rows for run in runs)
    variables = []
    for name in sorted(held):
        counts = np.bincount(held[name], minlength=len(STATES)).tolist()
        of = dict(zip(STATES, counts, strict=True))
        variables.append(VariableRows(name, len(rows), runs=state_runs(rows, held[name]), **of))
    return SourceRows(
        s.block, s.sensor, rows.placed,
        int(rows.time[0]) if len(rows) else None,
        int(rows.time[-1]) if len(rows) else None,
        int(rows.step), len(rows) + absent, len(rows), int((source_of(rows) < 0).sum()),
        int(rows.forecast.sum()), absent, runs, tuple(variables),
    )  # fmt: skip
