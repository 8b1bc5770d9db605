"""Measure alternatives in turns, so that a busy machine slows all of them alike."""

from __future__ import annotations

import gc
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median
from time import perf_counter, process_time

Work = Callable[[], object]


@dataclass(slots=True)
class Took:
    """What one alternative took, one number a repetition.

    ``wall`` is time by the clock; ``cpu`` is that of this process and of its evaluating process
    together. [s]
    """

    wall: list[float] = field(default_factory=list)
    cpu: list[float] = field(default_factory=list)

    def plus(self, other: Took) -> Took:
        """Return both in a row."""
        return Took(
            [a + b for a, b in zip(self.wall, other.wall, strict=True)],
            [a + b for a, b in zip(self.cpu, other.cpu, strict=True)],
        )


def nothing() -> int | None:
    """Return that there is no second process."""
    return None


def cpu_of(pid: int | None) -> float:
    """Return the processor time of another process; 0 where it cannot be told. [s]"""
    try:
        return int(Path(f"/proc/{pid}/schedstat").read_text().split()[0]) / 1e9
    except (OSError, ValueError, IndexError):
        return 0.0


def in_turns(
    alternatives: Mapping[str, Work], times: int, worker: Callable[[], int | None] = nothing
) -> dict[str, Took]:
    """Return what each alternative took, repeated in turns after one round that is not counted.

    Parameters
    ----------
    alternatives : mapping of str to callable
    times : int
        Repetitions.
    worker : callable
        Returns the id of the evaluating process, whose time counts too.
    """
    took = {name: Took() for name in alternatives}
    for work in alternatives.values():
        work()
    for _ in range(times):
        for name, work in alternatives.items():
            once(work, took[name], worker)
    return took


def once(work: Work, took: Took, worker: Callable[[], int | None] = nothing) -> object:
    """Do some work once, note what it took, and return what it returned."""
    gc.collect()
    wall, cpu = perf_counter(), process_time() + cpu_of(worker())
    result = work()
    took.wall.append(perf_counter() - wall)
    took.cpu.append(process_time() + cpu_of(worker()) - cpu)
    return result


def ratio_of_medians(a: list[float], b: list[float]) -> float:
    """Return the median of a over that of b.

    >>> ratio_of_medians([2.0, 9.0, 4.0], [1.0, 2.0, 9.0])
    2.0
    """
    return median(a) / median(b)


def ratio_of_minima(a: list[float], b: list[float]) -> float:
    """Return the least of a over the least of b.

    >>> ratio_of_minima([2.0, 9.0], [1.0, 4.0])
    2.0
    """
    return min(a) / min(b)
