"""One block-season under several profiles: what each would have said, as small plain rows.

A replay looks back: it reviews a whole season from its end, so that what it says is what the
rules find in the finished log, not what a forecast of the day would have said.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache

import numpy as np

from riskrules.blocks import limits_of, ready_blocks
from riskrules.engine.process import EngineCrash, EngineProcess
from riskrules.facts.derive import derive
from riskrules.facts.stages import bits
from riskrules.facts.table import Facts
from riskrules.farm import setup_of
from riskrules.findings.build import Scene
from riskrules.findings.causes import words_of
from riskrules.findings.unknowns import Open, open_identity, open_ones
from riskrules.packs.conditions import Compare
from riskrules.packs.load import Rulebook
from riskrules.packs.model import Rule
from riskrules.plugins import more_kinds
from riskrules.review import latest, shipped_jobs, window_of
from riskrules.show import Style
from riskrules.tuning.answers import INDEX_OF, Answers, RuleSaid, foretells, month_of
from riskrules.tuning.rows import (
    ChanceRow,
    ChangeRow,
    FindingRow,
    JobRow,
    OpenRow,
    ProfileResult,
    SeasonResult,
    SeenRow,
    UnknownRow,
    What,
)
from riskrules.tuning.seasons import BlockSeason, midnight
from riskrules.worklist.jobs import JobBook

__all__ = [
    "ChanceRow", "ChangeRow", "FactsKey", "FindingRow", "JobRow", "ProfileResult", "SeasonFacts",
    "SeasonResult", "SeenRow", "UnknownRow", "What", "changes", "count_changes", "facts_key",
    "replay_one", "season_facts",
]  # fmt: skip

FactsKey = tuple[tuple[str, float], ...]
"""The shared thresholds by which facts were derived: name and value, in order of name."""


@dataclass(frozen=True, slots=True)
class SeasonFacts:
    """The facts of a block-season for one set of shared thresholds, and what 'now' is. [s]"""

    key: FactsKey
    facts: Facts
    now: int


def facts_key(book: Rulebook) -> FactsKey:
    """Return what facts depend on beside logs and events: the shared thresholds."""
    return tuple(sorted((name, t.value) for name, t in book.shared.items()))


def season_facts(season: BlockSeason, book: Rulebook) -> SeasonFacts:
    """Derive the facts of a block-season: the slow half of a replay, to be kept and used again.

    Raises
    ------
    LogError
        If the season has no measured row.
    """
    now = latest([season.logs])
    farm, text = season.farm, season.logs.text
    ready = ready_blocks(farm, [season.logs, *season.neighbours], now)
    sources = next(b.sources for b in ready if b.text.block == season.block)
    more = [make for _, make in more_kinds()]
    facts = derive(
        season.block, sources, season.events, book.shared, farm.place, setup_of(text), now, more,
        limits_of(farm),
    )  # fmt: skip
    return SeasonFacts(facts_key(book), facts, now)


def replay_one(
    season: BlockSeason,
    books: Mapping[str, Rulebook],
    engine: EngineProcess | None = None,
    kept: Mapping[FactsKey, SeasonFacts] | None = None,
) -> SeasonResult:
    """Replay a block-season under several profiles; the same input gives the same result.

    Parameters
    ----------
    season : BlockSeason
    books : mapping of str to Rulebook
        By a name of the caller's.
    engine : EngineProcess, optional
    kept : mapping, optional
        Facts derived before (`season_facts`), by `facts_key`; what lacks is derived, once for
        each distinct set of shared thresholds.

    Raises
    ------
    LogError
        If the season has no measured row.
    """
    known = dict(kept or {})
    asked: dict[FactsKey, Answers] = {}
    results = []
    for name in sorted(books):
        key = facts_key(books[name])
        if key not in known:
            known[key] = season_facts(season, books[name])
        if key not in asked:
            asked[key] = Answers(known[key].facts, season.season, engine)
        results.append(_profile(season, name, books[name], known[key], asked[key]))
    return _with_cover(season, tuple(results))


def _with_cover(season: BlockSeason, profiles: tuple[ProfileResult, ...]) -> SeasonResult:
    """Return profiles' results with what the season's log covers, and what was seen in it."""
    zone = season.farm.zone
    start, end = midnight(season.first, zone), midnight(season.last + timedelta(days=1), zone)
    own = season.logs.own or season.logs.sources
    times = [r.time[~r.forecast & (r.time > start) & (r.time <= end)] for r in own]
    shares = [len(t) * r.step / (end - start) for t, r in zip(times, own, strict=True)]
    every = np.concatenate(times)
    seen = tuple(
        SeenRow(e.time, e.what.split()[1], e.what.split()[0], e.affected, e.examined)
        for e in season.events
        if e.event == "sighting" and start <= e.time < end
    )
    return SeasonResult(
        season.block, season.season, str(zone), start, end,
        int(every.min()), int(every.max()), round(min(max(shares), 1.0), 4),
        sum(len(r) for r in season.logs.sources), seen, profiles,
    )  # fmt: skip


def _profile(
    season: BlockSeason, name: str, book: Rulebook, derived: SeasonFacts, answers: Answers
) -> ProfileResult:
    show = season.farm.text.show
    style = Style(season.farm.zone, show.temperature, show.rain)
    window = window_of(derived.now, style, season.farm.place, season.first, season.last)
    scene = Scene(season.block, book, answers.lookup, style, derived.now, window)
    label = season.season
    try:
        said = answers.of(scene)
    except EngineCrash as crash:
        return ProfileResult(
            name, book.profile, season.block, label, "not evaluated", str(crash), (), (), (), ()
        )
    findings = tuple(sorted((f for rule in said for f in rule.findings), key=_by_time))
    opened = open_ones((pair for rule in said for pair in rule.opened), derived.now)
    unknowns = tuple(_unknown(one, scene, label) for one in opened)
    return ProfileResult(
        name, book.profile, season.block, label, "done", "", findings, unknowns,
        _chances(derived, book), _jobs(findings, season, book, _job_book()), _open(said),
    )  # fmt: skip


def _open(said: Sequence[RuleSaid]) -> tuple[OpenRow, ...]:
    """Return where rules that foretell are open, the stretches of one hazard joined."""
    spans: dict[str, list[tuple[int, int]]] = {}
    for episode in (e for rule in said for e, _ in rule.opened if foretells(e.rule)):
        hazard = episode.rule.text.finding.hazard
        spans.setdefault(hazard, []).append((episode.start, episode.end))
    found = []
    for name, own in sorted(spans.items()):
        (start, end), *rest = sorted(own)
        for first, last in rest:
            if first > end:
                found.append(OpenRow(name, start, end))
                start = first
            end = max(end, last)
        found.append(OpenRow(name, start, end))
    return tuple(found)


def _by_time(row: FindingRow) -> tuple[int, str]:
    return row.start, row.id


def _unknown(one: Open, scene: Scene, season: str) -> UnknownRow:
    """Return the row of what could not be told."""
    hazards = sorted({rule.text.finding.hazard for rule in one.rules})
    return UnknownRow(
        open_identity(one, scene), scene.block, season, month_of(one.start, scene.style),
        one.start, one.end, "; ".join(words_of(one.cause)), "; ".join(one.keys),
        "; ".join(hazards),
    )  # fmt: skip


def _chances(derived: SeasonFacts, book: Rulebook) -> tuple[ChanceRow, ...]:
    """Return the index of every wet period in whose stages a rule of the book asks for it."""
    wet = derived.facts["wet_period"]
    found = []
    for hazard, name in INDEX_OF.items():
        wanted = bits(_stages_asked(book.rules, hazard, name))
        ok = ((wet.stages_sure & wanted) != 0) & (wet.end[1] <= derived.now)
        for i in np.flatnonzero(ok):
            start, end = int(wet.start[0][i]), int(wet.end[1][i])
            least, most = float(wet.least[name][i]), float(wet.most[name][i])
            found.append(ChanceRow(hazard, start, end, least, most))
    return tuple(found)


def _stages_asked(rules: Iterable[Rule], hazard: str, name: str) -> set[int]:
    """Return the growth stages of the rules of a hazard that compare an index of a wet period."""
    return {
        stage
        for rule in rules
        if rule.text.finding.hazard == hazard
        for alternatives in rule.when
        for c in alternatives
        if isinstance(c, Compare) and c.left.name == name
        and rule.given.get(c.left.alias) == "wet_period"
        for stage in rule.stages
    }  # fmt: skip


@lru_cache(maxsize=1)
def _job_book() -> JobBook:
    return shipped_jobs()


def _jobs(
    findings: Sequence[FindingRow], season: BlockSeason, book: Rulebook, jobs: JobBook
) -> tuple[JobRow, ...]:
    """Return the jobs that findings asked for by month; none that the block has nothing for."""
    setup, own = setup_of(season.logs.text), season.farm.text.hours
    has = {"tunnel": setup.tunnel, "row_covers": setup.row_covers}
    lacks = {name for name, there in has.items() if there is False}
    asked = {r.key: [n for n in r.text.jobs if not jobs.jobs[n].needs & lacks] for r in book.rules}
    zone = season.farm.zone
    days = {
        (name, day)
        for f in findings
        for day in [datetime.fromtimestamp(f.start, zone).date().isoformat()]
        for name in asked[f.rule]
    }
    counted = Counter((name, day[:7]) for name, day in days)
    return tuple(
        JobRow(
            name, season.block, season.season, month, n,
            round(n * own.get(name, jobs.jobs[name].hours), 4),
            "your own figure" if name in own else "common practice, no source",
        )
        for (name, month), n in sorted(counted.items())
    )  # fmt: skip


def changes(before: ProfileResult, after: ProfileResult) -> tuple[ChangeRow, ...]:
    """Return what came, went or moved between two profiles over one block-season.

    A finding that has another of the same rule over some of the same time in the other profile,
    with other ends, has moved; each is paired once, the earliest first.

    Raises
    ------
    ValueError
        If the two are not of one block-season, or one was not evaluated: then nothing can be said.
    """
    if (before.block, before.season) != (after.block, after.season):
        pair = f"{before.block} {before.season} and {after.block} {after.season}"
        raise ValueError(f"{pair}; expected one block-season")
    for result in (before, after):
        if result.state != "done":
            raise ValueError(f"{result.name} in {result.block} {result.season}: {result.why}")
    found: list[ChangeRow] = []
    for rule in sorted({f.rule for f in (*before.findings, *after.findings)}):
        old = [f for f in before.findings if f.rule == rule]
        new = [f for f in after.findings if f.rule == rule]
        found += [_change(a, z) for a, z in _paired(old, new)]
    return tuple(
        sorted(found, key=lambda c: (c.month, c.rule, c.start_before or c.start_after or 0))
    )


def _paired(
    old: Sequence[FindingRow], new: Sequence[FindingRow]
) -> list[tuple[FindingRow | None, FindingRow | None]]:
    """Return the findings of one rule that differ, each with its partner where it has one."""
    same = {(f.start, f.end) for f in old} & {(f.start, f.end) for f in new}
    left = [f for f in new if (f.start, f.end) not in same]
    found: list[tuple[FindingRow | None, FindingRow | None]] = []
    for f in old:
        if (f.start, f.end) in same:
            continue
        partner = next((g for g in left if g.start < f.end and f.start < g.end), None)
        if partner is not None:
            left.remove(partner)
        found.append((f, partner))
    return [*found, *((None, g) for g in left)]


def _change(before: FindingRow | None, after: FindingRow | None) -> ChangeRow:
    one = before or after
    assert one is not None
    what: What = "moved" if before and after else ("went" if before else "came")
    return ChangeRow(
        one.block, one.season, one.month, one.rule, one.hazard, what,
        before.start if before else None, before.end if before else None,
        after.start if after else None, after.end if after else None,
    )  # fmt: skip


def count_changes(rows: Sequence[ChangeRow]) -> dict[tuple[str, str, str, What], int]:
    """Return how many findings changed by block, month, rule and what became of them."""
    return dict(sorted(Counter((r.block, r.month, r.rule, r.what) for r in rows).items()))
