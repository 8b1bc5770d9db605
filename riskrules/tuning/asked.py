"""One question of an adviser from archive to record: replay, scores, sweep."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from importlib.util import find_spec
from pathlib import Path

from riskrules.errors import PackError, Problem
from riskrules.packs.load import SHARED, Rulebook
from riskrules.review import shipped_rulebook
from riskrules.tuning.apart import Apart, kept_apart
from riskrules.tuning.archive import Archive
from riskrules.tuning.cluster import Progress, Ran, Where, Work, cores, run
from riskrules.tuning.inputs import Piece
from riskrules.tuning.kept import ReplayStop
from riskrules.tuning.record import ProfileSaid, Record, profile_said
from riskrules.tuning.scores import score
from riskrules.tuning.summary import Summary, summarize
from riskrules.tuning.sweep import Axis, Sweep, axis_of, name_of, sweep, sweep_books
from riskrules.tuning.tally import Latency, published_latencies
from riskrules.tuning.versions import versions

FEW = 40
"""Block-seasons that are done in this process: starting others takes seven seconds, one half a
second. (computed on two cores)"""
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
    seasons, blocks : tuple of str
        Only these; by default all.
    hazard : str
        Only this one is scored; by default each with a published latency.
    vary : tuple of Vary
        One threshold or two.
    under : Path, optional
        The profile under which thresholds are varied, such as that of the farm: its values are the
        present ones. It is held against the packs as they ship too.
    chosen_by : tuple of str
        Seasons by which the profiles were chosen: the scores warn where they are among those
        scored. A sweep chooses by these too, and is scored on the others.
    """

    archive: Archive
    profiles: tuple[Path, ...] = ()
    question: str = ""
    command: str = ""
    seasons: tuple[str, ...] = ()
    hazard: str = ""
    vary: tuple[Vary, ...] = ()
    chosen_by: tuple[str, ...] = ()
    blocks: tuple[str, ...] = ()
    under: Path | None = None


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
    books = books_of(_profiles(asked))
    base = books[SHIPPED] if asked.under is None else books[_name(asked.under)]
    latencies = _latencies(books[SHIPPED], asked.hazard)
    tried = _tried(asked, base, latencies)
    pieces = pieces_of(asked)
    doing = _Doing(asked, out, where or _where(len(pieces)), pieces, tell)
    summary = summarize(doing.run("profiles", books).results(), SHIPPED, {*latencies})
    swept = _swept(doing, base, tried)
    scores = tuple(
        score(summary.slim, name, hazard, latency, tuned_on=asked.chosen_by)
        for hazard, latency in latencies.items() for name in books
    )  # fmt: skip
    record = Record(
        asked.question, _said(books), summary, scores, tuple(s.sweep for s in swept), versions(),
        asked.command, _inputs(pieces), _remarks(summary, books[SHIPPED]),
        tuple(s.summary for s in swept), tuple(s.apart for s in swept),
    )  # fmt: skip
    return Answer(record, tuple(doing.folders))


@dataclass(slots=True)
class _Doing:
    """What is asked of which block-seasons, where it is done, and the tables made so far."""

    asked: Asked
    out: Path
    where: Where
    pieces: list[Piece]
    tell: Tell | None
    folders: list[Path] = field(default_factory=list)

    def run(self, part: str, books: Mapping[str, Rulebook]) -> Ran:
        """Replay all block-seasons under some rulebooks."""
        told = self.tell(part) if self.tell else None
        ran = run(Work(self.asked.archive, books), self.out, self.where, told, self.pieces)
        self.folders.append(ran.folder)
        return ran


@dataclass(frozen=True, slots=True)
class _Swept:
    """A sweep that was made, with what each setting changes, and what seasons apart say of it."""

    latency: Latency
    sweep: Sweep
    summary: Summary
    apart: Apart


def _swept(doing: _Doing, book: Rulebook, tried: _Tried | None) -> list[_Swept]:
    """Return the sweep asked for, if one is."""
    if tried is None:
        return []
    ran = doing.run("sweep", sweep_books(book, tried.axes, tried.packs))
    present = name_of(tried.axes, [axis.present for axis in tried.axes])
    found = summarize(ran.results(), present, {tried.latency.hazard})
    made = sweep(found.slim, tried.axes, tried.latency)
    apart = kept_apart(found.slim, tried.axes, tried.latency, doing.asked.chosen_by)
    return [_Swept(tried.latency, made, found, apart)]


def books_of(profiles: Sequence[Path]) -> dict[str, Rulebook]:
    """Return the packs as they ship and under each profile, by name.

    PackError where two profiles have one name.
    """
    found = {SHIPPED: shipped_rulebook()}
    for path in profiles:
        book, name = shipped_rulebook(path), _name(path)
        if name in found:
            message = f"profile '{name}' stands twice; expected a name for each"
            raise PackError([Problem(str(path), 0, 0, message)])
        found[name] = book
    return found


def _name(path: Path) -> str:
    """Return the name of the profile in a file."""
    return shipped_rulebook(path).profile.split(" ")[0] or path.stem


def _profiles(asked: Asked) -> list[Path]:
    """Return the profiles asked for, with that under which thresholds are varied."""
    under = [asked.under] if asked.under is not None else []
    there = {path.resolve() for path in asked.profiles}
    return [*asked.profiles, *(path for path in under if path.resolve() not in there)]


def pieces_of(asked: Asked) -> list[Piece]:
    """Return the block-seasons asked for; ReplayStop where there are none such in the archive."""
    every = asked.archive.pieces()
    _there("season", {*asked.seasons, *asked.chosen_by}, {p.season for p in every})
    _there("block", asked.blocks, {p.block for p in every})
    found = [
        p for p in every
        if (not asked.seasons or p.season in asked.seasons)
        and (not asked.blocks or p.block in asked.blocks)
    ]  # fmt: skip
    if not found:
        raise ReplayStop("none of those blocks has a log in those seasons; expected some")
    return found


def _there(what: str, wanted: Collection[str], there: Collection[str]) -> None:
    strange = sorted({*wanted} - {*there})
    if strange:
        known = ", ".join(sorted(there))
        raise ReplayStop(f"no {what} {', '.join(strange)}; expected some of {known}")


def _where(pieces: int) -> Where:
    """Return where so many block-seasons are best done: on all cores if they are worth it."""
    worth = pieces > FEW and cores() > 1 and find_spec("distributed") is not None
    return Where(cores() if worth else 0)


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
    return _Tried(axes, latency, packs_of(book, hazard))


def packs_of(book: Rulebook, hazard: str) -> frozenset[str]:
    """Return the names of the packs that have a rule of a hazard."""
    return frozenset(
        p.name for p in book.packs if any(r.text.finding.hazard == hazard for r in p.rules)
    )


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


def _remarks(summary: Summary, book: Rulebook) -> tuple[str, ...]:
    """Return what a reader must know before all else."""
    found = []
    if not any(c.sightings for c in summary.covers):
        found.append("No scout counted anything in these seasons: nothing can be scored.")
    every = {rule.text.finding.hazard for rule in book.rules}
    others = sorted(every - {*published_latencies(book)})
    if others:
        named = ", ".join(other.replace("_", " ") for other in others)
        found.append(f"Not scored, for want of a published time to symptoms: {named}.")
    return tuple(found)
