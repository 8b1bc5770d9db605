"""The registry: every printed value beside what our code gives now.

Arithmetic, biology and regression are kept apart: see ``printed_value``. Only the first two
compare with something published.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from riskrules.science import (
    printed_air,
    printed_cold,
    printed_counts,
    printed_infection,
    printed_other,
)
from riskrules.science.cards import ModelCard, models
from riskrules.science.printed_value import Kind, PrintedValue, Side, Verdict
from riskrules.science.provenance import Tag

__all__ = [
    "ModelCard",
    "PrintedValue",
    "TableRow",
    "failed",
    "models",
    "printed_values",
    "recompute",
    "tally",
]

FAILING: frozenset[Verdict] = frozenset({"off", "changed"})


@dataclass(frozen=True, slots=True, kw_only=True)
class TableRow:
    """A printed value, recomputed; ``difference`` is computed less printed. [unit]."""

    id: str
    group: str
    kind: Kind
    what: str
    side: Side
    printed: float
    computed: float
    difference: float
    tolerance: float
    unit: str
    verdict: Verdict
    source: str
    tag: Tag
    reason: str


def printed_values() -> list[PrintedValue]:
    """List the whole registry, in a fixed order.

    Raises
    ------
    ValueError
        If two rows bear one id.
    """
    parts = (printed_infection, printed_air, printed_cold, printed_counts, printed_other)
    rows = [row for part in parts for row in part.values()]
    twice = sorted(name for name, count in Counter(row.id for row in rows).items() if count > 1)
    if twice:
        raise ValueError(f"printed values named twice: {', '.join(twice)}; expected each once")
    return rows


def _recompute(value: PrintedValue) -> TableRow:
    computed = float(value.compute())
    return TableRow(
        id=value.id,
        group=value.group,
        kind=value.kind,
        what=value.what,
        side=value.side,
        printed=value.printed,
        computed=computed,
        difference=computed - value.printed,
        tolerance=value.tolerance,
        unit=value.unit,
        verdict=value.verdict(computed),
        source=value.source,
        tag=value.tag,
        reason=value.reason,
    )


def recompute(rows: Iterable[PrintedValue] | None = None) -> list[TableRow]:
    """Recompute printed values and judge each.

    Parameters
    ----------
    rows : iterable of PrintedValue, optional
        Which ones; the whole registry if None.

    Returns
    -------
    list of TableRow
        One for each, in order, with its verdict: agrees, known disagreement, off (no known
        reason) or changed (a known disagreement that moved).

    Examples
    --------
    >>> {row.verdict for row in recompute()} - {"agrees", "known disagreement"}
    set()
    """
    return [_recompute(value) for value in (printed_values() if rows is None else rows)]


def failed(rows: Iterable[TableRow]) -> list[TableRow]:
    """Keep the rows that are off or changed: the ones that should stop a release."""
    return [row for row in rows if row.verdict in FAILING]


def tally(rows: Iterable[TableRow]) -> dict[tuple[Kind, Verdict], int]:
    """Count rows by kind and verdict; regression rows never count as published."""
    return dict(Counter((row.kind, row.verdict) for row in rows))
