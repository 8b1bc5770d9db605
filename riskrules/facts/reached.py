"""What a wet period has reached at its worst moment: infection cannot be undone by later hours.

An infection model takes one length and one mean temperature. A wet period that still runs, or of
which some hours are missing, has neither. So it is judged at each of its moments, with the hours
wet and their mean temperature so far, and the highest counts (own construction, said so). Where
all is known this is the largest of plain evaluations of the published equation; the end of the
period is among them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from riskrules.facts.cells import Cells, Truth
from riskrules.facts.kinds import AIR
from riskrules.facts.spans import Spans
from riskrules.logs.readings import Ints
from riskrules.logs.variables import Floats

BoundsOf = Callable[[Floats, Floats, Floats, Floats], tuple[Floats, Floats]]
APART = 1000.0
"""Keeps the running extremes of one period from the next; wider than any temperature. [K]"""
MOST_MOMENTS = 200_000
"""Moments looked at over all periods; beyond, only their ends are. (assumption)"""


class Moments(NamedTuple):
    """The moments of all periods, one after the other: bounds of hours and temperature so far."""

    first: Ints
    hours: tuple[Floats, Floats]
    temperature: tuple[Floats, Floats]


def moments(cells: Cells, wet: Truth, whole: Spans, core: Spans) -> Moments | None:
    """Return every moment of every period, or None where there are too many to look at.

    The hours so far are those of the sure core at least and all possible ones at most; their
    mean temperature is bounded by adding the coldest or the warmest possible hours to the core.
    """
    lengths = np.maximum(whole.i1 - whole.i0, 1)
    if not len(lengths) or lengths.sum() > MOST_MOMENTS:
        return None
    first = np.concatenate(([0], np.cumsum(lengths)[:-1]))
    period = np.repeat(np.arange(len(lengths)), lengths)
    cell = np.arange(lengths.sum()) - first[period] + whole.i0[period]
    cell = np.minimum(cell, len(cells) - 1)
    in_core = (cell >= core.i0[period]) & (cell < core.i1[period])
    sure = cells.hours[cell] * (wet.sure[cell] & in_core)
    maybe = cells.hours[cell] * wet.maybe[cell]

    def so_far(column: Floats) -> Floats:
        running = np.cumsum(column)
        before = (running - column)[first]
        return np.asarray(running - before[period])

    least_h, most_h = so_far(sure), so_far(maybe)
    temperature = []
    for end, sign in zip(cells.within("air_temperature", AIR), (-1.0, 1.0), strict=True):
        filled = end[cell]
        worst = np.where(maybe > 0, sign * filled, -APART / 2) + period * APART
        worst = sign * (np.maximum.accumulate(worst) - period * APART)
        mean = np.where(least_h > 0, so_far(filled * sure) / np.maximum(least_h, 1e-9), worst)
        added = sign * np.maximum(sign * worst, sign * mean)
        total = np.maximum(most_h, 1e-9)
        temperature.append((least_h * mean + (most_h - least_h) * added) / total)
    return Moments(first, (least_h, most_h), (temperature[0], temperature[1]))


def highest_reached(
    m: Moments, bounds: BoundsOf, tested: tuple[float, float]
) -> tuple[Floats, Floats]:
    """Return the least and most that an index has surely and possibly reached in each period.

    Moments whose temperature so far lies outside the tested range say nothing.
    """
    low, high = (np.minimum(m.temperature[0], m.temperature[1]), m.temperature[1])
    within = (high >= tested[0]) & (low <= tested[1]) & (m.hours[1] > 0)
    fewest = np.round(m.hours[0], 6)
    longest = np.maximum(fewest, np.round(m.hours[1], 6))
    least = bounds(low, high, fewest, longest)[0]
    most = bounds(np.clip(low, *tested), np.clip(high, *tested), fewest, longest)[1]
    most = np.where(within, most, 0.0)
    return np.maximum.reduceat(least, m.first), np.maximum.reduceat(most, m.first)
