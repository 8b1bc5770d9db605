"""The open farm as the dashboard sees it: its logs, journal and reviews, each made once."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import partial
from pathlib import Path
from threading import RLock

from riskrules.blocks import BlockLogs, ready_blocks
from riskrules.engine.memory import Memory
from riskrules.engine.process import shared_engine
from riskrules.errors import LogError, Problem, RiskRulesError
from riskrules.farm import Farm, ShowText, load_farm
from riskrules.journal.store import Journal, open_journal
from riskrules.logbook.accounts import report_of_farm, report_of_store
from riskrules.logs.events import Event, read_events
from riskrules.logs.readings import Readings
from riskrules.logs.report import LogReport
from riskrules.logs.store import LogStore
from riskrules.packs.load import Rulebook
from riskrules.review import Review, latest, review, shipped_jobs, shipped_rulebook
from riskrules.show import Style
from riskrules.sources import block_logs, journal_of, profile_of
from riskrules.view.kept import Kept
from riskrules.view.marks import NO_MARKS, Marks
from riskrules.view.noted import Noted
from riskrules.view.prints import events_print, farm_print, logs_print, packs_print, print_of
from riskrules.worklist.jobs import JobBook

REVIEWS_KEPT = 12
"""Reviews kept at once. (assumption: the mornings of a few people, some in other units)"""
LATER_S = 3600
"""How far past the last row what was written down moves 'now'. [s] (assumption: as far as a
reading counts as that of now; what was written later than that waits for the next reading)"""
_EVALUATING = RLock()
"""The evaluating process and the memory of it answer one request at a time."""


@dataclass(slots=True)
class _Room:
    """What all desks of one farm share."""

    farm_file: Path
    store: Path | None
    journal: str | None
    memory: Memory = field(default_factory=Memory)
    farms: Kept[Farm] = field(default_factory=lambda: Kept(1))
    stores: Kept[LogStore | None] = field(default_factory=lambda: Kept(1))
    journals: Kept[Journal | None] = field(default_factory=lambda: Kept(1))
    noted: Kept[Noted | None] = field(default_factory=lambda: Kept(1))
    books: Kept[tuple[Rulebook, JobBook]] = field(default_factory=lambda: Kept(2))
    logs: Kept[tuple[BlockLogs, ...]] = field(default_factory=lambda: Kept(1))
    ready: Kept[tuple[BlockLogs, ...]] = field(default_factory=lambda: Kept(2))
    events: Kept[tuple[Event, ...]] = field(default_factory=lambda: Kept(2))
    reports: Kept[LogReport] = field(default_factory=lambda: Kept(2))
    reviews: Kept[Review] = field(default_factory=lambda: Kept(REVIEWS_KEPT))


@dataclass(frozen=True, slots=True)
class Desk:
    """A farm that is open. Threads may share it; what changes on disk is read again when asked for.

    Every property raises `RiskRulesError` where a file cannot be used.
    """

    room: _Room
    units: ShowText | None = None

    def with_units(self, temperature: str, rain: str) -> Desk:
        """Return the same desk speaking other units: 'degC' or 'degF', 'mm' or 'in'."""
        units = ShowText.model_validate({"temperature": temperature, "rain": rain})
        return replace(self, units=units)

    @property
    def farm_file(self) -> Path:
        """Where the farm file is."""
        return self.room.farm_file

    @property
    def farm(self) -> Farm:
        """The farm as its file says now, in the units of this desk."""
        found = self.room.farms.get(
            farm_print(self.farm_file), lambda: load_farm(self.room.farm_file)
        )
        if self.units is None or self.units == found.text.show:
            return found
        return replace(found, text=found.text.model_copy(update={"show": self.units}))

    @property
    def style(self) -> Style:
        """The farm's clock and the units of this desk."""
        farm = self.farm
        return Style(farm.zone, farm.text.show.temperature, farm.text.show.rain)

    @property
    def store(self) -> LogStore | None:
        """The log store, if the farm has one; none that was named but not made yet."""
        named = self.room.store or (
            self.farm.folder / self.farm.text.store if self.farm.text.store else None
        )
        if named is None:
            return None
        there = named.is_dir()
        return self.room.stores.get(
            (named, there), lambda: LogStore(named, create=False) if there else None
        )

    @property
    def journal(self) -> Journal | None:
        """The field journal, made where the farm names one that is not there yet; else None."""
        named = self.room.journal or journal_of(self.farm)
        return self.room.journals.get(named, lambda: open_journal(named) if named else None)

    @property
    def noted(self) -> Noted | None:
        """What the journal says, read on as it grows; None where there is no journal."""
        journal = self.journal
        return self.room.noted.get(id(journal), lambda: Noted(journal) if journal else None)

    def marks(self, day: date) -> Marks:
        """Return the marks that the journal holds for a day and the days before it."""
        noted = self.noted
        return noted.marks(day) if noted else NO_MARKS

    @property
    def profile(self) -> Path | None:
        """The file of the region profile that the farm names, if any."""
        return profile_of(self.farm)

    @property
    def book(self) -> Rulebook:
        """The rules and thresholds in use."""
        return self._books()[0]

    @property
    def jobs(self) -> JobBook:
        """The jobs and cautions."""
        return self._books()[1]

    def _books(self) -> tuple[Rulebook, JobBook]:
        profile = self.profile
        made = self.room.books.get
        return made(packs_print(profile), lambda: (shipped_rulebook(profile), shipped_jobs()))

    @property
    def logs(self) -> tuple[BlockLogs, ...]:
        """The blocks with their readings as they were read, unjudged."""
        farm, store = self.farm, self.store
        return self.room.logs.get(self._logs_print(), lambda: block_logs(farm, (), None, store))

    @property
    def events(self) -> tuple[Event, ...]:
        """What was done and seen, of events files and the journal, in time order."""
        return self.room.events.get(
            print_of([farm_print(self.farm_file), self._events_print()]), self._events
        )

    def _events(self) -> tuple[Event, ...]:
        farm, told = self.farm, self.noted
        known = {b.block for b in farm.text.blocks}
        zone = farm.text.place.zone
        found = {e for n in farm.text.events for e in read_events(farm.folder / n, zone, known)}
        noted = set(told.events) if told else set()
        strange = sorted({e.block for e in noted if e.block} - known)
        if strange:
            message = f"records of {', '.join(strange)}; expected blocks of the farm file"
            raise LogError([Problem(str(self.farm_file), 0, 0, message)])
        return tuple(sorted(found | noted))

    @property
    def now(self) -> int:
        """What counts as now: the time of the last measured row of all logs. [s since 1970 UTC]"""
        return latest(self.logs)

    def happened(self, after: int, until: int) -> tuple[Event, ...]:
        """Return what was done and seen after one time and up to another, in time order.

        What is only planned is left out. [s since 1970 UTC]
        """
        events = self.events
        begin = bisect_right(events, after, key=lambda e: e.time)
        end = bisect_right(events, until, key=lambda e: e.time)
        return tuple(e for e in events[begin:end] if e.what != "planned")

    def as_of(self, clock: int) -> int:
        """Return what counts as now for somebody who looks at a clock's time. [s since 1970 UTC]

        That is the last measured row, or what was written down since, at most `LATER_S` beyond
        the row: a review of then counts it, and does not know what the air did in between.
        """
        row = self.now
        seen = self.happened(row, min(clock, row + LATER_S))
        return seen[-1].time if seen else row

    def ready(self, as_of: int | None = None) -> tuple[BlockLogs, ...]:
        """Return the blocks with their readings judged, gaps as the farm says, and loans."""
        now = self.now if as_of is None else as_of
        key = print_of([self._logs_print(), now])
        farm, logs = self.farm, self.logs
        return self.room.ready.get(key, lambda: ready_blocks(farm, logs, now))

    def readings(self, block: str, as_of: int | None = None) -> tuple[Readings, ...]:
        """Return the judged readings of a block: its own first, then lent ones and outside.

        Raises
        ------
        RiskRulesError
            If no block of that name has a log.
        """
        for found in self.ready(as_of):
            if found.text.block == block:
                return found.sources
        raise self._no_log(block)

    def report(self) -> LogReport:
        """Return what became of every row of the farm's logs."""
        farm, store = self.farm, self.store
        make = partial(report_of_farm, farm) if store is None else partial(
            report_of_store, farm, store
        )  # fmt: skip
        return self.room.reports.get(self._logs_print(), make)

    def review(
        self,
        first: date | None = None,
        last: date | None = None,
        as_of: int | None = None,
        crew_hours: float | None = None,
    ) -> Review:
        """Review the farm as `riskrules.review.review` does, once for the same input."""
        key = print_of([self.fingerprint(), first, last, as_of, crew_hours])
        return self.room.reviews.get(key, lambda: self._review(first, last, as_of, crew_hours))

    def review_of(self, block: str, first: date | None = None, last: date | None = None) -> Review:
        """Review one block alone, as of the farm's 'now': all that is said of it is the same.

        Its work list knows of no other block.

        Raises
        ------
        RiskRulesError
            If no block of that name has a log.
        """
        key = print_of([self.fingerprint(), first, last, block])
        return self.room.reviews.get(
            key, lambda: self._review(first, last, self.now, None, self._with_lenders(block))
        )

    def _with_lenders(self, block: str) -> tuple[BlockLogs, ...]:
        """Return the logs of a block, and of those that lend it readings."""
        found = next((b for b in self.logs if b.text.block == block), None)
        if found is None:
            raise self._no_log(block)
        names = {block, *(loan.of for loan in found.text.borrow)}
        return tuple(b for b in self.logs if b.text.block in names)

    def _no_log(self, block: str) -> RiskRulesError:
        names = ", ".join(self.blocks())
        return RiskRulesError(f"no log of a block '{block}'; expected one of {names}")

    def _review(
        self,
        first: date | None,
        last: date | None,
        as_of: int | None,
        crew_hours: float | None,
        logs: tuple[BlockLogs, ...] | None = None,
    ) -> Review:
        farm, events, (book, jobs) = self.farm, self.events, self._books()
        with _EVALUATING:
            return review(
                farm, self.logs if logs is None else logs, events, book, jobs, first, last, as_of,
                None, crew_hours, shared_engine(), self.room.memory,
            )  # fmt: skip

    def fingerprint(self) -> str:
        """Return what stands for all that a review depends on; it changes when any of it does."""
        show = self.farm.text.show
        return print_of([
            self._logs_print(), self._events_print(), packs_print(self.profile),
            show.temperature, show.rain,
        ])  # fmt: skip

    def _logs_print(self) -> str:
        store = self.store
        return print_of([farm_print(self.farm_file), logs_print(self.farm, store), store is None])

    def _events_print(self) -> str:
        noted = self.noted
        return events_print(self.farm, noted.print if noted else "")

    def blocks(self) -> Sequence[str]:
        """Return the names of the farm's blocks, in the order of the farm file."""
        return [b.block for b in self.farm.text.blocks]


def open_desk(
    farm_file: Path, store: Path | LogStore | None = None, journal: str | Path | None = None
) -> Desk:
    """Open a farm.

    Parameters
    ----------
    farm_file : Path
    store : Path or LogStore, optional
        The log store, else that of the farm file, else the log files themselves.
    journal : str or Path, optional
        The field journal, a file or a database URL, else that of the farm file. A file that is
        not there yet is made.

    Raises
    ------
    PackError
        If the farm file cannot be used.
    """
    folder = store.folder if isinstance(store, LogStore) else store
    desk = Desk(_Room(farm_file, folder, None if journal is None else str(journal)))
    _ = desk.farm
    return desk
