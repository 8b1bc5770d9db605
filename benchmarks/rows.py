"""The table that the benchmarks print, and the same as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from statistics import median
from typing import Any

from benchmarks.timing import Took, ratio_of_medians, ratio_of_minima

HEADER = ("#", "what", "ours", "reference", "ratio", "of minima", "of CPU", "aim", "reached")


@dataclass(frozen=True, slots=True)
class Row:
    """One comparison.

    ``ratio`` is that of the medians, ``ratio_of_minima`` that of the least; ``ratio_of_cpu``
    compares processor time, and is None where a process is timed from outside. ``aim`` is a
    number to stay under, or to reach where ``faster``; None where the row only informs.
    """

    benchmark: int
    what: str
    ours: float
    reference: float
    reference_name: str
    unit: str
    ratio: float
    ratio_of_minima: float
    ratio_of_cpu: float | None
    aim: float | None
    faster: bool

    @property
    def reached(self) -> bool | None:
        """Whether the ratio of the medians reaches the aim."""
        if self.aim is None:
            return None
        return self.ratio >= self.aim if self.faster else self.ratio <= self.aim

    def as_json(self) -> dict[str, Any]:
        """Return the row as plain values."""
        return {**asdict(self), "reached": self.reached}


@dataclass(frozen=True, slots=True)
class Result:
    """What one benchmark found: rows for the table, and lines that say more."""

    rows: tuple[Row, ...]
    lines: tuple[str, ...] = ()


def compared(
    benchmark: int,
    what: str,
    ours: Took,
    reference: Took,
    name: str,
    aim: float | None = None,
    faster: bool = False,
    cpu: bool = True,
) -> Row:
    """Return a row from two timings: ours over the reference, or the other way if ``faster``."""
    a, b = (reference, ours) if faster else (ours, reference)
    return Row(
        benchmark, what, median(ours.wall), median(reference.wall), name, "s",
        ratio_of_medians(a.wall, b.wall), ratio_of_minima(a.wall, b.wall),
        ratio_of_medians(a.cpu, b.cpu) if cpu else None, aim, faster,
    )  # fmt: skip


def table(rows: Sequence[Row]) -> str:
    """Return the rows as a table of text."""
    cells = [HEADER, *(_cells(row) for row in rows)]
    widths = [max(len(line[i]) for line in cells) for i in range(len(HEADER))]
    lines = [
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in cells
    ]
    return "\n".join([lines[0], "-" * len(lines[0]), *lines[1:]])


def _cells(row: Row) -> tuple[str, ...]:
    sign = "at least" if row.faster else "at most"
    return (
        str(row.benchmark),
        row.what,
        _amount(row.ours, row.unit),
        f"{_amount(row.reference, row.unit)} {row.reference_name}",
        f"{row.ratio:.2f}",
        f"{row.ratio_of_minima:.2f}",
        "" if row.ratio_of_cpu is None else f"{row.ratio_of_cpu:.2f}",
        "" if row.aim is None else f"{sign} {row.aim:.3g}",
        {True: "yes", False: "NO", None: ""}[row.reached],
    )


def _amount(value: float, unit: str) -> str:
    if unit == "s":
        return f"{value * 1000:,.0f} ms" if value < 10 else f"{value:.1f} s"
    return f"{value:,.1f} {unit}"
