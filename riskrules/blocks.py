"""The sources of each block, and how they are made ready for facts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from riskrules.farm import BlockText, Farm
from riskrules.logs.limits import Limits, load_limits
from riskrules.logs.readings import Readings
from riskrules.logs.ready import lend, make_ready
from riskrules.logs.variables import OUTSIDE


@dataclass(frozen=True, slots=True)
class BlockLogs:
    """The sources of one block: its own logs first, then those of the farm."""

    text: BlockText
    sources: tuple[Readings, ...]

    @property
    def own(self) -> tuple[Readings, ...]:
        """The block's own sources."""
        return tuple(r for r in self.sources if not (r.lent or is_outside(r)))


def is_outside(rows: Readings) -> bool:
    """Return whether readings are only of the air outside."""
    return all(name.endswith(OUTSIDE) for name in rows.values)


def limits_of(farm: Farm) -> Limits:
    """Return the limits by which the farm's readings are judged."""
    return load_limits(farm.folder / farm.text.limits if farm.text.limits else None)


def fill_hours(farm: Farm) -> float:
    """Return the longest gap that the farm wants filled; 0 for none. [h]"""
    return farm.text.gaps.hours if farm.text.gaps.policy == "fill_short" else 0.0


def ready_blocks(
    farm: Farm, blocks: Sequence[BlockLogs], now: int | None = None
) -> tuple[BlockLogs, ...]:
    """Return the blocks with their readings judged, gaps filled, and what they borrow.

    Parameters
    ----------
    farm : Farm
        Says which limits, gap policy and loans there are.
    blocks : sequence of BlockLogs
    now : int, optional
        Readings after it are left out first, so that nothing is judged by what came later. [s]
    """
    limits, fill = limits_of(farm), fill_hours(farm)
    found: list[BlockLogs] = []
    for block in blocks:
        sources = block.sources if now is None else [r.until(now) for r in block.sources]
        found.append(replace(block, sources=tuple(make_ready(sources, limits, farm.place, fill))))
    return tuple(_with_loans(block, found, limits) for block in found)


def _with_loans(block: BlockLogs, blocks: Sequence[BlockLogs], limits: Limits) -> BlockLogs:
    """Return a block with what it borrows put after its own sources."""
    loans = [
        lend(rows, loan.variables, limits)
        for loan in block.text.borrow
        for other in blocks if other.text.block == loan.of
        for rows in other.own
    ]  # fmt: skip
    if not loans:
        return block
    rest = [r for r in block.sources if is_outside(r)]
    return replace(block, sources=(*block.own, *loans, *rest))
