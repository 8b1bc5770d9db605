"""A first look at what a changed threshold would do to the season shown."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from riskrules.engine.process import EngineProcess
from riskrules.findings.model import Finding, UnknownFinding
from riskrules.packs.load import Rulebook, apply_profile
from riskrules.packs.marked import Marked
from riskrules.packs.regions import Change
from riskrules.review import Review, review
from riskrules.view.desk import Desk

Fate = Literal["came", "went", "moved", "open"]
FATES: tuple[Fate, ...] = ("came", "went", "moved", "open")


@dataclass(frozen=True, slots=True)
class Move:
    """What became of one finding.

    ``fate``: came; went; moved (another span, severity or certainty); or open: it was found, and
    under the change it cannot be told, which is not the same as gone. ``was_open`` says of one
    that came that before it could not be told.
    """

    fate: Fate
    block: str
    month: str
    rule: str
    title: str
    before: Finding | None
    after: Finding | None
    was_open: bool = False


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two reviews side by side: how many findings stayed, and what became of the others."""

    moves: tuple[Move, ...]
    stayed: int
    unknown_before: int
    unknown_after: int

    def counts(self) -> dict[tuple[str, str, str, str], dict[Fate, int]]:
        """Return how many came, went, moved or are open, by block, month, rule and its title."""
        found: dict[tuple[str, str, str, str], Counter[Fate]] = {}
        for m in self.moves:
            found.setdefault((m.block, m.month, m.rule, m.title), Counter())[m.fate] += 1
        return {key: {fate: found[key][fate] for fate in FATES} for key in sorted(found)}

    def total(self, fate: Fate) -> int:
        """Return how many findings had a fate."""
        return sum(m.fate == fate for m in self.moves)


def compare_reviews(before: Review, after: Review) -> Comparison:
    """Compare the findings of two reviews of the same logs and days.

    A finding moved if one of the same rule and block, with the same start or overlapping it, is
    there with another span, severity or certainty. Each is paired with one other at most.
    """
    return compare_findings(before.findings, after.findings, before.unknowns, after.unknowns)


def compare_findings(
    before: Sequence[Finding],
    after: Sequence[Finding],
    unknown_before: Sequence[UnknownFinding] = (),
    unknown_after: Sequence[UnknownFinding] = (),
) -> Comparison:
    """Compare findings; see `compare_reviews`."""
    moves: list[Move] = []
    stayed = 0
    groups: dict[tuple[str, str], tuple[list[Finding], list[Finding]]] = {}
    for side, findings in enumerate((before, after)):
        for f in findings:
            groups.setdefault((f.block, f.rule), ([], []))[side].append(f)
    for old, new in groups.values():
        for a, b in _pairs(old, new):
            if a and b and _said(a) == _said(b):
                stayed += 1
                continue
            moves.append(_move(a, b, unknown_before, unknown_after))
    moves.sort(key=lambda m: (m.block, m.month, m.rule, (m.before or m.after).start))  # type: ignore[union-attr]
    return Comparison(tuple(moves), stayed, len(unknown_before), len(unknown_after))


def _said(f: Finding) -> tuple[str, ...]:
    return (f.start, f.end, f.severity, f.certainty)


def _pairs(
    old: Iterable[Finding], new: Iterable[Finding]
) -> list[tuple[Finding | None, Finding | None]]:
    """Pair findings of one block and rule: by their start, then by most of shared time."""
    left = {f.id: f for f in new}
    found: list[tuple[Finding | None, Finding | None]] = []
    alone = []
    for f in old:
        if f.id in left:
            found.append((f, left.pop(f.id)))
        else:
            alone.append(f)
    shared = sorted(
        ((-_shared(a, b), a.start, b.start, a, b) for a in alone for b in left.values()
         if _shared(a, b) > 0), key=lambda s: s[:3],
    )  # fmt: skip
    done: set[str] = set()
    for _, _, _, a, b in shared:
        if a.id not in done and b.id in left:
            found.append((a, left.pop(b.id)))
            done.add(a.id)
    found += [(a, None) for a in alone if a.id not in done]
    return found + [(None, b) for b in left.values()]


def _move(
    a: Finding | None,
    b: Finding | None,
    unknown_before: Sequence[UnknownFinding],
    unknown_after: Sequence[UnknownFinding],
) -> Move:
    f = b or a
    if f is None:
        raise ValueError("neither finding is there; expected one at least")
    fate: Fate = "moved" if a and b else "came" if b else "went"
    if a and not b and _open(a, unknown_after):
        fate = "open"
    was_open = b is not None and a is None and _open(b, unknown_before)
    return Move(fate, f.block, f.start[:7], f.rule, f.title, a, b, was_open)


def _open(f: Finding, unknowns: Iterable[UnknownFinding]) -> bool:
    """Whether something is said to be unknown of a finding's rule and block, in its time."""
    return any(u.block == f.block and f.rule in u.rules and _shared(f, u) > 0 for u in unknowns)


def _shared(a: Finding | UnknownFinding, b: Finding | UnknownFinding) -> float:
    """Return the time that two share. [s]; a moment counts as one second."""
    start = max(_time(a.start), _time(b.start))
    end = min(max(_time(x.end), _time(x.start) + 1) for x in (a, b))
    return max(end - start, 0.0)


def _time(iso: str) -> float:
    return datetime.fromisoformat(iso).timestamp()


def season_of(desk: Desk) -> tuple[date, date]:
    """Return the first and the last day of what was measured, by the farm's clock."""
    times = [rows.time[~rows.forecast] for b in desk.logs for rows in b.sources]
    times = [t for t in times if len(t)]
    ends = (min(int(t[0]) for t in times), max(int(t[-1]) for t in times))
    first, last = (datetime.fromtimestamp(t, desk.farm.zone).date() for t in ends)
    return first, last


def tried_book(desk: Desk, changes: Sequence[Change]) -> Rulebook:
    """Return the rules in use with some thresholds set otherwise, in the profile's name.

    Raises
    ------
    PackError
        Where a change is not allowed.
    """
    lines = "".join(f"- {change.model_dump_json()}\n" for change in changes)
    text = f"profile: tried\ntitle: tried, not saved\nchanges:\n{lines}"
    return apply_profile(desk.book, Marked("the change", text))


def first_look(desk: Desk, changes: Sequence[Change], first: date, last: date) -> Comparison:
    """Return what some changes would do to the findings of some days. Nothing is saved.

    Raises
    ------
    RiskRulesError
        Where a change is not allowed, or the farm cannot be reviewed.
    """
    book = tried_book(desk, changes)
    now = desk.review(first, last)
    with closing(EngineProcess()) as engine:
        then = review(
            desk.farm, desk.logs, desk.events, book, desk.jobs, first, last, engine=engine
        )
    return compare_reviews(now, then)
