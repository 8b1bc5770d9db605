"""2: our engine arrangement against CLIPS with the same rules and the same findings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from statistics import median
from time import perf_counter

from benchmarks.clips_engine import HOWS, Clips, How
from benchmarks.rows import Result, Row, compared
from benchmarks.seasons import block_seasons, book
from benchmarks.timing import Took, in_turns
from riskrules.engine.evaluate import compiled, evaluate
from riskrules.engine.process import shared_engine
from riskrules.facts.table import Facts

NUMBER = 2
AIM_ALL = 1.4
AIM_PREFILTERED = 2.0
"""Times as quick as CLIPS that ours should be. (assumption)"""


def run(quick: bool) -> Result:
    """Compare facts a second: all facts to both, and with our prefilter before both."""
    seasons = block_seasons(4 if quick else 12)
    how, tried = quickest(seasons[0])
    clips = Clips(compiled(tuple(book().packs)), how)
    for facts in seasons:
        assert_same(facts, clips)
    took = in_turns(_alternatives(seasons, clips), 2 if quick else 5, lambda: shared_engine().pid)
    clips.close()
    total = sum(len(t) for season in seasons for t in season.values())
    rows = (
        _row("all facts to both", "ours, all", "CLIPS, all", took, AIM_ALL),
        _row("our prefilter before ours only", "ours, some", "CLIPS, all", took, AIM_PREFILTERED),
        _row("our prefilter before both", "ours, some", "CLIPS, some", took, None),
    )
    speeds = ", ".join(f"{name} {total / median(t.wall):,.0f}" for name, t in took.items())
    return Result(rows, (
        f"{len(seasons)} block-seasons, {total:,} facts, findings identical, by every engine",
        f"facts/s: {speeds}",
        f"how CLIPS gets its facts (one block-season): {tried}; it gets them by {how}",
    ))  # fmt: skip


def _alternatives(seasons: Sequence[Facts], clips: Clips) -> dict[str, Callable[[], object]]:
    packs, engine = book().packs, shared_engine()
    return {
        "ours, all": lambda: [evaluate(f, packs, engine, prefilter=False) for f in seasons],
        "CLIPS, all": lambda: [clips.evaluate(f, prefilter=False) for f in seasons],
        "ours, some": lambda: [evaluate(f, packs, engine) for f in seasons],
        "CLIPS, some": lambda: [clips.evaluate(f) for f in seasons],
    }


def _row(what: str, ours: str, theirs: str, took: dict[str, Took], aim: float | None) -> Row:
    name = "CLIPS through clipspy"
    return compared(NUMBER, what, took[ours], took[theirs], name, aim, faster=True)


def quickest(facts: Facts) -> tuple[How, str]:
    """Return the quickest way for CLIPS to get its facts, and what each took."""
    took: dict[How, float] = {}
    for how in HOWS:
        clips = Clips(compiled(tuple(book().packs)), how)
        start = perf_counter()
        clips.evaluate(facts, prefilter=False)
        took[how] = perf_counter() - start
        clips.close()
    said = ", ".join(f"{how} {seconds * 1000:,.0f} ms" for how, seconds in took.items())
    return min(took, key=lambda how: took[how]), said


def assert_same(facts: Facts, clips: Clips) -> int:
    """Check that the engines find the same, and return how much that is.

    Raises
    ------
    AssertionError
        Where they differ: then no time is worth comparing.
    """
    packs = book().packs
    expected = evaluate(facts, packs, prefilter=False)
    for found in (evaluate(facts, packs), clips.evaluate(facts), clips.evaluate(facts, False)):
        if found != expected:
            odd = sorted(set(found) ^ set(expected))
            raise AssertionError(f"{len(odd)} findings differ, such as {odd[0]}")
    return len(expected)
