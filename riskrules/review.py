"""The whole path for a farm: logs and events in, findings, unknowns and work list out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any, Literal

from riskrules.blocks import BlockLogs, limits_of, ready_blocks
from riskrules.engine.evaluate import engine_version, evaluate
from riskrules.engine.memory import Memory
from riskrules.engine.process import EngineCrash, EngineProcess
from riskrules.errors import LogError, PackError, Problem
from riskrules.facts.derive import Place, derive
from riskrules.facts.kinds import KINDS
from riskrules.facts.sun import sun_times
from riskrules.facts.table import Facts
from riskrules.farm import BlockText, Farm, setup_of
from riskrules.findings.build import Lookup, Scene, episodes, finding_of
from riskrules.findings.model import SEVERITIES, BlockState, Finding, UnknownFinding
from riskrules.findings.since import compare
from riskrules.findings.unknowns import unknowns_of
from riskrules.logs.events import Event, of_block
from riskrules.packs.load import Rulebook, load_rulebook, pack_files
from riskrules.plugins import more_kinds, more_packs
from riskrules.shipped import rulepacks_folder
from riskrules.show import Style
from riskrules.worklist.jobs import JobBook, load_jobs
from riskrules.worklist.rank import BlockDay, WorkList, work_list

URGENCIES = ("Immediate", "Expected", "Future", "Past", "Unknown")


@dataclass(frozen=True, slots=True)
class BlockReview:
    """One block evaluated: its facts, the episodes in the window, and what was found."""

    text: BlockText
    facts: Facts
    scene: Scene
    findings: tuple[Finding, ...]
    unknowns: tuple[UnknownFinding, ...]
    state: BlockState


@dataclass(frozen=True, slots=True)
class Review:
    """What a review says. A function of its input alone."""

    farm: Farm
    style: Style
    now: int
    window: tuple[int, int]
    evaluator: str
    book: Rulebook
    jobs: JobBook
    blocks: tuple[BlockReview, ...]
    findings: tuple[Finding, ...]
    withdrawn: tuple[dict[str, Any], ...]
    unknowns: tuple[UnknownFinding, ...]
    work: WorkList


def shipped_rulebook(profile: Path | None = None) -> Rulebook:
    """Return the shipped packs and those of plug-ins, with a profile applied."""
    kinds = KINDS | {kind.name: kind for kind, _ in more_kinds()}
    return load_rulebook([*pack_files([rulepacks_folder()]), *more_packs()], profile, kinds)


def shipped_jobs() -> JobBook:
    """Return the shipped jobs and cautions."""
    return load_jobs(rulepacks_folder() / "jobs.yaml")


def window_of(
    now: int, style: Style, place: Place, first: date | None, last: date | None
) -> tuple[int, int]:
    """Return the time a review speaks of: from the sunset before ``first`` to the end of ``last``.

    Without dates it is the night that ends on the morning of 'now', and that day; if that day
    is today it reaches on over the next night, for which there may be a forecast.
    """
    today = datetime.fromtimestamp(now, style.zone).date()
    first = first or last or today
    last = last or first
    day = first - timedelta(days=1)
    _, _, sunset = sun_times(day, day, place.latitude, place.longitude)
    noon = datetime(day.year, day.month, day.day, 12, tzinfo=style.zone)
    start = int(sunset[0]) if sunset[0] >= 0 else int(noon.timestamp())
    after = last + timedelta(days=1)
    midnight = datetime(after.year, after.month, after.day, tzinfo=style.zone)
    end = int(midnight.timestamp())
    return start, end + (36 * 3600 if last == today else 0)


def review(
    farm: Farm,
    blocks: Sequence[BlockLogs],
    events: Sequence[Event],
    book: Rulebook | None = None,
    jobs: JobBook | None = None,
    first: date | None = None,
    last: date | None = None,
    as_of: int | None = None,
    earlier: Mapping[str, Any] | None = None,
    crew_hours: float | None = None,
    engine: EngineProcess | None = None,
    memory: Memory | None = None,
) -> Review:
    """Review a farm.

    Parameters
    ----------
    farm : Farm
    blocks : sequence of BlockLogs
    events : sequence of Event
        Of all blocks, in time order.
    book, jobs : optional
        By default the shipped ones.
    first, last : date, optional
        The days to speak of; by default that of 'now'.
    as_of : int, optional
        What counts as now; by default the last measured row. [s since 1970 UTC]
    earlier : mapping, optional
        The JSON of an earlier review, to say what is new, revised or withdrawn.
    crew_hours : float, optional
        Hours of work at hand.
    engine, memory : optional
        The evaluating process, and what it found before: neither changes the answer.

    Returns
    -------
    Review
    """
    book, jobs = book or shipped_rulebook(), jobs or shipped_jobs()
    _known(book, jobs)
    style = Style(farm.zone, farm.text.show.temperature, farm.text.show.rain)
    now = as_of if as_of is not None else latest(blocks)
    if now < latest(blocks, first=True):
        message = f"no row measured until {style.iso(now)}; expected a later 'now'"
        raise LogError([Problem(blocks[0].sources[0].files[0], 0, 0, message)])
    window = window_of(now, style, farm.place, first, last)
    done = tuple(
        _block(b, farm, of_block(events, b.text.block), book, style, now, window, engine, memory)
        for b in sorted(ready_blocks(farm, blocks, now), key=lambda b: b.text.block)
    )
    findings = sorted((f for b in done for f in b.findings), key=finding_order)
    withdrawn: list[dict[str, Any]] = []
    if earlier is not None:
        findings, withdrawn = compare(findings, _in_window(earlier, window, style))
    days = {b.text.block: _day(b, farm, style, now) for b in done}
    work = work_list(
        findings, days, jobs, farm.text.hours, style, now, book.value("lift_margin"), crew_hours
    )
    unknowns = tuple(u for b in done for u in b.unknowns)
    return Review(
        farm, style, now, window, engine_version(), book, jobs, done, tuple(findings),
        tuple(withdrawn), unknowns, work,
    )  # fmt: skip


def _known(book: Rulebook, jobs: JobBook) -> None:
    """Refuse rules that name a job or a caution that there is none of."""
    found = []
    for pack in book.packs:
        for rule in pack.rules:
            for name in {*rule.text.jobs} - {*jobs.jobs} | {*rule.text.cautions} - {*jobs.cautions}:
                message = f"{rule.name} names '{name}'; expected a job or caution of jobs.yaml"
                found.append(Problem(pack.file, rule.line, 0, message))
    if found:
        raise PackError(sorted(found, key=str))


def latest(blocks: Sequence[BlockLogs], first: bool = False) -> int:
    """Return the time of the last (or the first) measured row of all logs. [s since 1970 UTC].

    Raises
    ------
    LogError
        If no row is measured.
    """
    every = [rows.time[~rows.forecast] for b in blocks for rows in b.sources]
    ends = [int(times[0 if first else -1]) for times in every if len(times)]
    if not ends:
        file = blocks[0].sources[0].files[0]
        raise LogError([Problem(file, 0, 0, "no measured row; expected some beside the forecast")])
    return min(ends) if first else max(ends)


def finding_order(f: Finding) -> tuple[object, ...]:
    """Order findings: what is pressing, severe and sure first."""
    return (
        URGENCIES.index(f.urgency) if f.urgency in URGENCIES else len(URGENCIES),
        SEVERITIES.index(f.severity),
        f.certainty,
        f.start,
        f.id,
    )


def _in_window(
    earlier: Mapping[str, Any], window: tuple[int, int], style: Style
) -> list[dict[str, Any]]:
    def touches(old: Mapping[str, Any]) -> bool:
        start = datetime.fromisoformat(old["start"]).timestamp()
        return start < window[1] and datetime.fromisoformat(old["end"]).timestamp() >= window[0]

    return [old for old in earlier["findings"] if touches(old)]


def _block(
    logs: BlockLogs,
    farm: Farm,
    events: Sequence[Event],
    book: Rulebook,
    style: Style,
    now: int,
    window: tuple[int, int],
    engine: EngineProcess | None,
    memory: Memory | None,
) -> BlockReview:
    name = logs.text.block
    scene = Scene(name, book, Lookup({}), style, now, window)
    if not any((~rows.forecast).any() for rows in logs.sources):
        why = f"no row measured until {style.moment(now)}"
        return BlockReview(logs.text, {}, scene, (), (), _state(logs, scene, {}, (), (), why))
    more = [make for _, make in more_kinds()]
    facts = derive(
        name, logs.sources, events, book.shared, farm.place, setup_of(logs.text), now, more,
        limits_of(farm),
    )  # fmt: skip
    scene = Scene(name, book, Lookup(facts), style, now, window)
    try:
        matches = evaluate(facts, book.packs, engine, memory=memory)
    except EngineCrash as crash:
        state = _state(logs, scene, facts, (), (), str(crash))
        return BlockReview(logs.text, facts, scene, (), (), state)
    found = episodes(matches, scene)
    findings = tuple(finding_of(e, scene) for e in found if e.sure)
    unknowns = tuple(unknowns_of([e for e in found if not e.sure], scene))
    state = _state(logs, scene, facts, findings, unknowns)
    return BlockReview(logs.text, facts, scene, findings, unknowns, state)


def _state(
    logs: BlockLogs,
    scene: Scene,
    facts: Facts,
    findings: Sequence[Finding],
    unknowns: Sequence[UnknownFinding],
    crash: str = "",
) -> BlockState:
    """Say what a block is: findings, unknown, or quiet, the last only where the log covers it."""
    own = logs.own
    times = [rows.time[~rows.forecast] for rows in own or logs.sources]
    times = [t for t in times if len(t)]
    first = min((int(t[0]) for t in times), default=scene.now)
    last = max((int(t[-1]) for t in times), default=scene.now)
    style = scene.style
    gap = _gap(facts, scene, first, last)
    state: Literal["findings", "quiet", "unknown", "not evaluated"]
    if crash:
        state, sentence = "not evaluated", f"Not evaluated: {crash}."
    elif findings:
        worst = min((f.severity for f in findings), key=SEVERITIES.index)
        state, sentence = "findings", f"{_count(len(findings))}, the worst {worst}."
    elif unknowns or gap:
        state = "unknown"
        sentence = "Nothing fired, but not all could be told." + (f" {gap}" if gap else "")
    else:
        until = min(scene.window[1], scene.now)
        covered = style.span(scene.window[0], until)
        state, sentence = "quiet", f"Quiet: the log covers {covered} and no rule fired."
    notes = {"doubted": sum(n.count for rows in own for n in rows.notes if n.doubts)}
    return BlockState(
        logs.text.block, state, sentence, style.iso(scene.now), style.iso(first), style.iso(last),
        sum(len(t) for t in facts.values()), notes,
    )  # fmt: skip


def _count(n: int) -> str:
    return "1 finding" if n == 1 else f"{n} findings"


def _gap(facts: Facts, scene: Scene, first: int, last: int) -> str:
    """Return a sentence for the first hole of the log in the window, or nothing."""
    lo, hi = scene.window[0], min(scene.window[1], scene.now)
    if hi <= lo or first > lo or last < hi - 2 * 3600:
        covers = scene.style.span(first, last)
        return f"The log covers {covers} only."
    for f in facts.get("log_gap", ()):
        if f.start[0] < hi and f.end[0] > lo and f.words["variable"] != "outside":
            what = f.words["variable"].replace("_", " ")
            return f"Unknown from {scene.style.span(f.start[0], f.end[0])}: {what} missing."
    return ""


def _day(b: BlockReview, farm: Farm, style: Style, now: int) -> BlockDay:
    today = datetime.fromtimestamp(now, style.zone).date()
    place = farm.place
    _, rise, fall = sun_times(today, today + timedelta(days=1), place.latitude, place.longitude)
    dawn = int(rise[0]) if rise[0] >= 0 else now
    dusk = int(fall[0]) if fall[0] >= 0 else now + 12 * 3600
    after = int(rise[1]) if rise[1] >= 0 else dawn + 86_400
    setup = setup_of(b.text)
    has = {"tunnel": setup.tunnel, "row_covers": setup.row_covers}
    lacks = frozenset(name for name, there in has.items() if there is False)
    return BlockDay(b.text.block, b.facts, b.text.fruit_at_stake, dawn, dusk, after, lacks)
