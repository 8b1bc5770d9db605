"""Facts in columns: one table a kind and block, with the least and the most of everything."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from riskrules.facts.kinds import Cause, Kind

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
DECIMALS = 4
"""Facts are kept to this many decimals, so that engine, oracle and JSON see one number."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """The least and the most a quantity can be, its unit, and why they differ."""

    least: float
    most: float
    unit: str
    cause: Cause = Cause.NONE

    @property
    def certain(self) -> bool:
        """Whether only one value is possible."""
        return self.least == self.most


@lru_cache(maxsize=1024)
def cause_of(bits: int) -> Cause:
    """Return the cause of some bits; making one anew costs more than all else of a fact."""
    return Cause(bits)


@dataclass(frozen=True, slots=True)
class Fact:
    """One fact as a record. Times are seconds since 1970 UTC, each with its least and most."""

    id: str
    kind: str
    block: str
    start: tuple[int, int]
    end: tuple[int, int]
    quantities: dict[str, Bounds]
    words: dict[str, str]
    stages: tuple[int, int]
    forecast: bool
    shares: dict[str, dict[str, float]] = field(default_factory=dict)


@dataclass(slots=True)
class FactTable:
    """All facts of one kind in one block, a column for each quantity.

    Attributes
    ----------
    start, end : tuple of ndarray, shape (n,)
        Least and most of each time. [s since 1970 UTC]
    least, most : dict of ndarray, shape (n,)
        Bounds of each quantity and flag, in the unit its kind states.
    cause : dict of ndarray, shape (n,)
        Bits of `Cause`: why the bounds differ.
    stages_sure, stages_possible : ndarray of int, shape (n,)
        One bit a BBCH code (see `riskrules.facts.stages`).
    shares : dict of dict of ndarray, shape (n,)
        By variable, which share of each fact's span was measured, doubted, filled, borrowed,
        forecast or missing; empty for kinds that rest on no reading.
    """

    kind: Kind
    block: str
    ids: list[str]
    start: tuple[Ints, Ints]
    end: tuple[Ints, Ints]
    least: dict[str, Floats] = field(default_factory=dict)
    most: dict[str, Floats] = field(default_factory=dict)
    cause: dict[str, Ints] = field(default_factory=dict)
    words: dict[str, list[str]] = field(default_factory=dict)
    key: list[str] = field(default_factory=list)
    previous: list[str] = field(default_factory=list)
    stages_sure: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    stages_possible: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    forecast: npt.NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, dtype=np.bool_))
    shares: dict[str, dict[str, Floats]] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.ids)

    def fact(self, i: int) -> Fact:
        """Return fact number ``i`` as a record."""
        quantities = {
            q.name: Bounds(
                float(self.least[q.name][i]),
                float(self.most[q.name][i]),
                q.unit,
                cause_of(int(self.cause[q.name][i])),
            )
            for q in self.kind.all_quantities
        }
        return Fact(
            self.ids[i],
            self.kind.name,
            self.block,
            (int(self.start[0][i]), int(self.start[1][i])),
            (int(self.end[0][i]), int(self.end[1][i])),
            quantities,
            {name: column[i] for name, column in self.words.items()},
            (int(self.stages_sure[i]), int(self.stages_possible[i])),
            bool(self.forecast[i]),
            {
                name: {part: share for part, c in parts.items() if (share := float(c[i]))}
                for name, parts in self.shares.items()
            },
        )

    def __iter__(self) -> Iterator[Fact]:
        return (self.fact(i) for i in range(len(self)))


Facts = dict[str, FactTable]
"""The facts of one block, by kind."""
