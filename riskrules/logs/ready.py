"""Make readings ready for facts: judged, short gaps filled, and lent to a neighbour."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from riskrules.facts.kinds import Cause
from riskrules.logs.gaps import fill_gaps
from riskrules.logs.judge import judge
from riskrules.logs.limits import Limits, load_limits, true_ends
from riskrules.logs.readings import Readings
from riskrules.logs.troubles import Origin

if TYPE_CHECKING:
    from riskrules.facts.derive import Place


def make_ready(
    sources: Sequence[Readings],
    limits: Limits | None = None,
    place: Place | None = None,
    fill_hours: float = 0.0,
) -> list[Readings]:
    """Return the sources of one block judged, with their short gaps filled.

    Parameters
    ----------
    sources : sequence of Readings
        Of one block, in order of precedence. What was judged already stays as it is. The first
        that hangs outside is what the others are held against.
    limits : Limits, optional
        By default the shipped ones.
    place : Place, optional
        Where the sun is seen from, to find a clock of a wrong zone.
    fill_hours : float
        Longest gap that is filled; 0 for none. [h]
    """
    limits = limits or load_limits()
    outside = next((r for r in sources if r.placed == "outside" and len(r)), None)
    found = []
    for rows in sources:
        if len(rows) and not rows.flags:
            rows = judge(rows, limits, None if rows.placed == "outside" else outside, place)
        found.append(fill_gaps(rows, fill_hours, limits))
    return found


def lend(rows: Readings, variables: Collection[str], limits: Limits) -> Readings:
    """Return readings as a neighbouring block may borrow them: each as wide as places differ.

    Parameters
    ----------
    rows : Readings
        Judged, of the block that lends.
    variables : collection of str
        What is lent.
    limits : Limits
        ``borrowed`` of each variable is the half-width.
    """
    names = [n for n in rows.values if n in variables]
    low, high, cause, origin = {}, {}, {}, {}
    for name in names:
        (least, most), width = true_ends(name), limits.of(name, rows.placed).borrowed
        low[name] = np.maximum(rows.least(name) - width, least)
        high[name] = np.minimum(rows.most(name) + width, most)
        cause[name] = rows.cause[name] | int(Cause.BORROWED)
        origin[name] = np.full(len(rows), int(Origin.BORROWED), dtype=np.uint8)
    return replace(
        rows,
        values={n: rows.values[n] for n in names},
        low=low,
        high=high,
        cause=cause,
        origin=origin,
        flags={n: c for n, c in rows.flags.items() if n in names},
        reasons={n: c for n, c in rows.reasons.items() if n in names},
        notes=[],
        lent=True,
    )
