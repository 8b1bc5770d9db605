"""Where the time of a review goes: its own functions, watched while it runs."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from importlib import import_module
from time import perf_counter
from typing import Any
from unittest.mock import patch

STAGES: Mapping[str, tuple[str, ...]] = {
    "read": ("benchmarks.seasons.gather",),
    "judge and cells": ("riskrules.review.ready_blocks", "riskrules.facts.derive.build_cells"),
    "derive facts": ("riskrules.review.derive",),
    "prefilter and batch": (
        "riskrules.engine.compile.Compiled.wanted",
        "riskrules.engine.evaluate.batch_of",
    ),
    "engine": ("riskrules.engine.process.EngineProcess.fired",),
    "collect matches": ("riskrules.review.evaluate",),
    "findings": (
        "riskrules.review.episodes",
        "riskrules.review.finding_of",
        "riskrules.review.unknowns_of",
    ),
    "work list": ("riskrules.review.work_list",),
    "JSON": ("benchmarks.against_reading.dumps",),
}
"""Stage to the functions that it consists of; each is looked up where it is called."""
REST = "rest"


class Shares:
    """Time by stage, each without the stages inside it. [s]"""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = dict.fromkeys((*STAGES, REST), 0.0)
        self._inner = [0.0]

    def watched(self, stage: str, work: Callable[..., Any]) -> Callable[..., Any]:
        """Return a function that does the same and is timed."""

        def timed(*args: Any, **named: Any) -> Any:
            self._inner.append(0.0)
            start = perf_counter()
            try:
                return work(*args, **named)
            finally:
                whole = perf_counter() - start
                self.seconds[stage] += whole - self._inner.pop()
                self._inner[-1] += whole

        return timed

    def line(self) -> str:
        """Return the shares as one line of text."""
        whole = sum(self.seconds.values())
        return ", ".join(f"{stage} {s / whole:.0%}" for stage, s in self.seconds.items())


@contextmanager
def watching() -> Iterator[Shares]:
    """Watch the stages while the block runs.

    Raises
    ------
    AttributeError
        If a stage's function is no longer where it was: then this list must follow.
    """
    shares = Shares()
    with ExitStack() as stack:
        for stage, names in STAGES.items():
            for name in names:
                owner, attribute = _owner(name)
                timed = shares.watched(stage, getattr(owner, attribute))
                stack.enter_context(patch.object(owner, attribute, timed))
        yield shares


def _owner(name: str) -> tuple[Any, str]:
    path, _, attribute = name.rpartition(".")
    module, _, last = path.rpartition(".")
    return (getattr(import_module(module), last) if last[:1].isupper() else import_module(path),
            attribute)  # fmt: skip


def shares_of(work: Callable[[], object], times: int) -> Shares:
    """Return the shares of some work, summed over repetitions."""
    with watching() as shares:
        for _ in range(times):
            shares.watched(REST, work)()
    return shares
