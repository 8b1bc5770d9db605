"""One question of an adviser from archive to record: replay, scores, sweep."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

from riskrules.errors import PackError, Problem
from riskrules.packs.load import SHARED, Rulebook
from riskrules.review import shipped_rulebook
from riskrules.tuning.archive import Archive
from riskrules.tuning.cluster import Progress, Where, Work, cores, run
from riskrules.tuning.inputs import Piece
from riskrules.tuning.kept import ReplayStop
from riskrules.tuning.record import ProfileSaid, Record, profile_said
from riskrules.tuning.scores import score
from riskrules.tuning.summary import Summary, slimmed, summarize
from riskrules.tuning.sweep import Axis, Sweep, axis_of, sweep, sweep_books
from riskrules.tuning.tally import Latency, published_latencies
from riskrules.tuning.versions import versions

FEW = 12
"""Block-seasons that are done in this process, as starting others takes longer. (assumption)"""
SHIPPED = "shipped"
"""Name of the packs as they ship, which every other profile is held against."""


@dataclass(frozen=True, slots=True)
class Vary:
    """A threshold to try over values; none given: over the range that its pack allows."""

    threshold: str
    values: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Asked:
    """What an adviser wants to know.

    Attributes
    ----------
    archive : Archive
    profiles : tuple of Path
        Region profiles to hold against the packs as they ship.
    question, command : str
        In words, and what makes the record again.
    seasons : tuple of str
        Only these; by default all.
    hazard : str
        Only this one is scored; by default each with a published latency.
    vary : tuple of Vary
        One threshold or two.
    chosen_by : tuple of str
        Seasons by which the profiles were chosen: the scores warn where they are among those
        scored.
    """

    archive: Archive
    profiles: tuple[Path, ...] = ()
    question: str = ""
    command: str = ""
    seasons: tuple[str, ...] = ()
    hazard: str = ""
    vary: tuple[Vary, ...] = ()
    chosen_by: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Answer:
    """The record, and the folders of tables that it rests on."""

    record: Record
    folders: tuple[Path, ...]


Tell = Callable[[str], Progress]
"""Gives what is told how far the part of that name is."""


def answer(asked: Asked, out: Path, where: Where | None = None, tell: Tell | None = None) -> Answer:
    """Replay, score and sweep, and return what the record says.

    Without ``where``: on all cores of this machine, or in this process where there is little to
    do. ``tell`` gives what is told how far each part is.

    Raises
    ------
    PackError, LogError, ReplayStop
        Where a profile, the archive or a threshold cannot be used, or a run could not end.
    """
    books = books_of(asked.profiles)
    latencies = _latencies(books[SHIPPED], asked.hazard)
    tried = _tried(asked, books[SHIPPED], latencies)
    pieces = pieces_of(asked)
    if where is None:
        where = Where(cores() if len(pieces) > FEW and cores() > 1 else 0)
    told = tell("profiles") if tell else None
    ran = run(Work(asked.archive, books), out, where, told, pieces)
    summary = summarize(ran.results(), SHIPPED, {*latencies})
    scores = tuple(
        score(summary.slim, name, hazard, latency, tuned_on=asked.chosen_by)
        for hazard, latency in latencies.items() for name in books
    )  # fmt: skip
    folders = [ran.folder]
    sweeps: list[Sweep] = []
    if tried is not None:
        told = tell("sweep") if tell else None
        work = Work(asked.archive, sweep_books(books[SHIPPED], tried.axes, tried.packs))
        ran = run(work, out, where, told, pieces)
        slim = [slimmed(result, {tried.latency.hazard}) for result in ran.results()]
        sweeps.append(sweep(slim, tried.axes, tried.latency))
        folders.append(ran.folder)
    record = Record(
        asked.question, _said(books), summary, scores, tuple(sweeps), versions(), asked.command,
        _inputs(pieces), _remarks(summary, latencies, books[SHIPPED], asked.hazard),
    )  # fmt: skip
    return Answer(record, tuple(folders))


def books_of(profiles: Sequence[Path]) -> dict[str, Rulebook]:
    """Return the packs as they ship and under each profile, by name.

    PackError where two profiles have one name.
    """
    found = {SHIPPED: shipped_rulebook()}
    for path in profiles:
        book = shipped_rulebook(path)
        name = book.profile.split(" ")[0] or path.stem
        if name in found:
            message = f"profile '{name}' stands twice; expected a name for each"
            raise PackError([Problem(str(path), 0, 0, message)])
        found[name] = book
    return found


def pieces_of(asked: Asked) -> list[Piece]:
    """Return the block-seasons asked for; ReplayStop where a season is not in the archive."""
    every = asked.archive.pieces()
    there = {p.season for p in every}
    strange = sorted({*asked.seasons} - there)
    if strange:
        known = ", ".join(sorted(there))
        raise ReplayStop(f"no season {', '.join(strange)}; expected some of {known}")
    return [p for p in every if not asked.seasons or p.season in asked.seasons]


def _latencies(book: Rulebook, hazard: str) -> dict[str, Latency | None]:
    """Return the hazards to score with their latencies, None where none is published."""
    published = published_latencies(book)
    if not hazard:
        return dict(published.items())
    known = {rule.text.finding.hazard for rule in book.rules}
    if hazard not in known:
        message = f"no hazard '{hazard}'; expected one of {', '.join(sorted(known))}"
        raise ReplayStop(message)
    return {hazard: published.get(hazard)}


@dataclass(frozen=True, slots=True)
class _Tried:
    """A sweep to be made: its axes, the hazard's latency, and the packs that matter to it."""

    axes: tuple[Axis, ...]
    latency: Latency
    packs: frozenset[str]


def _tried(asked: Asked, book: Rulebook, latencies: dict[str, Latency | None]) -> _Tried | None:
    """Return the sweep asked for, checked before anything is replayed; None: none is."""
    if not asked.vary:
        return None
    axes = tuple(axis_of(book, v.threshold, v.values or None) for v in asked.vary)
    hazard = asked.hazard or _hazard_of(book, axes, latencies)
    latency = latencies[hazard]
    if latency is None:
        message = f"{hazard} has no published time from infection to symptoms"
        raise ReplayStop(f"{message}; expected a hazard with one to sweep by")
    packs = frozenset(
        p.name for p in book.packs if any(r.text.finding.hazard == hazard for r in p.rules)
    )
    return _Tried(axes, latency, packs)


def _hazard_of(book: Rulebook, axes: Sequence[Axis], latencies: Collection[str]) -> str:
    """Return the one scored hazard of the packs whose thresholds are tried."""
    names = {axis.threshold.partition(".")[0] for axis in axes} - {SHARED}
    found = {
        rule.text.finding.hazard for pack in book.packs if pack.name in names
        for rule in pack.rules if rule.text.finding.hazard in latencies
    }  # fmt: skip
    if len(found) != 1:
        raise ReplayStop(f"several hazards may be meant; expected one of {', '.join(latencies)}")
    return found.pop()


def _said(books: dict[str, Rulebook]) -> tuple[ProfileSaid, ...]:
    return tuple(profile_said(name, book, books[SHIPPED]) for name, book in books.items())


def _inputs(pieces: Sequence[Piece]) -> str:
    said = "\n".join(f"{p.block} {p.season} {p.inputs}" for p in pieces)
    return hashlib.sha256(said.encode()).hexdigest()


def _remarks(
    summary: Summary, latencies: Collection[str], book: Rulebook, hazard: str
) -> tuple[str, ...]:
    """Return what a reader must know before all else."""
    found = []
    if not any(c.sightings for c in summary.covers):
        found.append("No scout counted anything in these seasons: nothing can be scored.")
    others = sorted({rule.text.finding.hazard for rule in book.rules} - {*latencies})
    if others and not hazard:
        named = ", ".join(other.replace("_", " ") for other in others)
        found.append(f"Not scored, for want of a published time to symptoms: {named}.")
    return tuple(found)
