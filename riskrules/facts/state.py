"""What the journal says about a block at each moment: covers, sides, film, straw, stages.

A state holds from its record until the next one, and goes stale: said to be on for longer than
anybody would leave it on, it may be either.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from riskrules.facts.cells import Cells, Shared, Truth
from riskrules.facts.kinds import Cause
from riskrules.facts.stages import ALL, bits
from riskrules.logs.events import Event
from riskrules.logs.readings import Ints

DAY_S = 86_400


@dataclass(frozen=True, slots=True)
class Setup:
    """What the farm file says of a block and does not change from day to day.

    None means the farm file doesn't say.
    """

    tunnel: bool | None = None
    row_covers: bool | None = None
    ground: str | None = None
    placed: str = "under_cover"


def state_truths(
    cells: Cells, events: Sequence[Event], shared: Shared, setup: Setup
) -> dict[str, Truth]:
    """Return covered, shut, filmed and straw over the cells."""
    on_s = shared["cover_stale"] * DAY_S
    off_s = shared["open_stale"] * DAY_S
    film_s = shared["film_stale"] * DAY_S
    found = {
        "covered": _state(cells, events, "row_cover", "on", on_s, off_s, Cause.NO_COVER_RECORD),
        "shut": _state(cells, events, "sides", "down", on_s, off_s, Cause.NO_COVER_RECORD),
        "filmed": _state(cells, events, "film", "on", film_s, film_s, Cause.NO_COVER_RECORD),
        "straw": _state(cells, events, "straw", "laid", film_s, film_s, Cause.NO_GROUND_RECORD),
    }
    kinds = {e.event for e in events}
    if setup.tunnel is False:
        found["shut"] = found["filmed"] = cells.always(False)
    if setup.row_covers is False:
        found["covered"] = cells.always(False)
    if setup.ground is not None and "straw" not in kinds:
        found["straw"] = cells.always(setup.ground == "straw")
    return found


def _state(
    cells: Cells,
    events: Sequence[Event],
    event: str,
    up: str,
    stale_up: float,
    stale_down: float,
    cause: Cause,
) -> Truth:
    records = [e for e in events if e.event == event]
    if not records:
        return cells.unknown(cause)
    times = np.array([e.time for e in records], dtype=np.int64)
    raised = np.array([e.what == up for e in records])
    at = np.searchsorted(times, cells.edges[:-1], side="right") - 1
    before = at < 0
    at = np.maximum(at, 0)
    age = cells.edges[:-1] - times[at]
    is_up = raised[at]
    stale = before | (age > np.where(is_up, stale_up, stale_down))
    sure = is_up & ~stale
    return Truth(sure, is_up | stale, np.where(stale, int(cause), 0).astype(np.int64))


def stage_columns(cells: Cells, events: Sequence[Event], shared: Shared) -> tuple[Ints, Ints]:
    """Return the stages surely and possibly present in each cell, as bits."""
    records = [e for e in events if e.event == "stages"]
    n = len(cells)
    if not records:
        return np.zeros(n, dtype=np.int64), np.full(n, ALL, dtype=np.int64)
    times = np.array([e.time for e in records], dtype=np.int64)
    masks = np.array([bits(e.stages) for e in records], dtype=np.int64)
    at = np.searchsorted(times, cells.edges[:-1], side="right") - 1
    fresh = at >= 0
    at = np.maximum(at, 0)
    fresh &= cells.edges[:-1] - times[at] <= shared["stage_stale"] * DAY_S
    return np.where(fresh, masks[at], 0), np.where(fresh, masks[at], ALL)
