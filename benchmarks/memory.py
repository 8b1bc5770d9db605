"""4: memory over a thousand block-seasons in a row, in our process and in the evaluating one."""

from __future__ import annotations

import os
from itertools import cycle
from pathlib import Path

from benchmarks.rows import Result, Row
from benchmarks.seasons import block_seasons, book, jobs, typical_year
from riskrules.engine.evaluate import evaluate
from riskrules.engine.process import shared_engine
from riskrules.review import review

NUMBER = 4
AIM = 1.05
"""Times the memory early in the row that the end of it may hold. (assumption)"""
MARKS = (10, 100, 300, 1000)
QUICK_MARKS = (5, 10, 30)
WHOLE_EVERY = 15
"""Each so many block-seasons one is reviewed from reading to work list; the others evaluated."""


def rss(pid: int | None) -> float:
    """Return the memory that a process holds. [MB]; OSError where there is no /proc"""
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def run(quick: bool) -> Result:
    """Evaluate block after block and look at the memory of both processes at the marks."""
    if not Path("/proc/self/statm").exists():
        return Result((), ("memory: not measured, for want of /proc",))
    marks = QUICK_MARKS if quick else MARKS
    seasons = cycle(block_seasons(4 if quick else 20))
    seen: dict[int, tuple[float, float]] = {}
    for n in range(1, marks[-1] + 1):
        evaluate(next(seasons), book().packs, shared_engine())
        if n % WHOLE_EVERY == 0:
            review_one()
        if n in marks:
            seen[n] = (rss(os.getpid()), rss(shared_engine().pid))
    rows = tuple(_row(who, i, seen, marks) for i, who in enumerate(("our", "the evaluating")))
    return Result(rows, (
        f"{marks[-1]} block-seasons, every {WHOLE_EVERY}th reviewed whole; MB (ours, evaluating): "
        + "; ".join(f"after {n}: {a:.1f}, {b:.1f}" for n, (a, b) in seen.items()),
    ))  # fmt: skip


def review_one() -> None:
    """Review the typical year's last night, from reading on."""
    read = typical_year().gathered()
    review(read.farm, read.blocks, read.events, book(), jobs(), engine=shared_engine())


def _row(who: str, i: int, seen: dict[int, tuple[float, float]], marks: tuple[int, ...]) -> Row:
    early, late = seen[marks[1]][i], seen[marks[-1]][i]
    return Row(
        NUMBER, f"memory of {who} process, after {marks[-1]}", late, early,
        f"after {marks[1]}", "MB", late / early, late / early, None, AIM, False,
    )  # fmt: skip
