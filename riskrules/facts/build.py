"""Build a table of facts from columns: round, cut to physical limits, name, and date them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from zoneinfo import ZoneInfo

import numpy as np

from riskrules.facts.cells import Bools, Cells, Shared, Truth
from riskrules.facts.kinds import KINDS, Cause, Kind
from riskrules.facts.spans import Spans
from riskrules.facts.stages import ALL
from riskrules.facts.state import Setup
from riskrules.facts.table import DECIMALS, FactTable
from riskrules.logs.events import Event
from riskrules.logs.readings import Ints
from riskrules.logs.troubles import Origin
from riskrules.logs.variables import Floats

Triple = tuple[Floats, Floats, Ints]
MOST_RAIN_RATE = 200.0
"""Rain rate that stands for 'not measured'. [mm h-1] (assumption)"""


@dataclass(slots=True)
class Context:
    """All that a kind of fact may be derived from, for one block.

    Attributes
    ----------
    truths : dict of Truth
        Conditions over the cells: covered, shut, filmed, straw, wet, humid, hot and so on.
    stages : tuple of ndarray
        Stages surely and possibly present in each cell, as bits.
    days : list of date; sunrise, sunset : ndarray
        The days the cells touch. [s]
    journal_until : int
        Time of the last thing written in the journal. [s]
    """

    block: str
    cells: Cells
    events: Sequence[Event]
    shared: Shared
    setup: Setup
    zone: ZoneInfo
    truths: dict[str, Truth]
    stages: tuple[Ints, Ints]
    days: list[date]
    sunrise: Ints
    sunset: Ints
    journal_until: int
    sensor: Bools
    _sums: dict[tuple[str, str], Floats] = field(default_factory=dict)

    @property
    def now(self) -> int:
        """Where the past ends. [s]"""
        return self.cells.now

    def rain(self, spans: Spans) -> Triple:
        """Return the rain over stretches, by whichever gauge has a value. [mm]"""
        rain, hours = self.cells.rain(), self.cells.hours
        high = np.nan_to_num(rain.high, nan=MOST_RAIN_RATE)
        least = spans.total(np.nan_to_num(rain.low) * hours)
        most = spans.total(high * hours) + spans.beyond * MOST_RAIN_RATE
        return least, most, np.full(len(spans), int(Cause.NO_RAIN), dtype=np.int64)

    def shares(self, spans: Spans) -> dict[str, dict[str, Floats]]:
        """Return, by variable, which share of each stretch was measured, doubted, and so on.

        The shares of a variable sum up to 1; variables that no log has are left out.
        """
        all_h = np.maximum(spans.total(self.cells.hours) + spans.beyond, 1e-9)
        found: dict[str, dict[str, Floats]] = {}
        for name in (n for n in RESTED_ON if n in self.cells.values):
            parts = {}
            for part in SHARES:
                if (name, part) not in self._sums:
                    mask = share_masks(self.cells, name)[part]
                    self._sums[name, part] = np.concatenate(
                        ([0.0], np.cumsum(self.cells.hours * mask))
                    )
                running = self._sums[name, part]
                hours = running[spans.i1] - running[spans.i0]
                parts[part] = (hours + (spans.beyond if part == "missing" else 0)) / all_h
            parts["missing"] = np.where(spans.empty, 1.0, parts["missing"])
            found[name] = parts
        return found

    def of(self, event: str) -> list[Event]:
        """Return the events of one sort, in time order."""
        return [e for e in self.events if e.event == event]


RESTED_ON = ("air_temperature", "relative_humidity", "surface_wetness")
"""Variables of which facts say how much was measured."""
SHARES = ("measured", "doubted", "filled", "borrowed", "forecast", "missing")
SHARED_KINDS = (
    "wet_period", "night", "day", "cover_spell", "shut_spell", "pick_gap", "pick", "heat_spell",
    "warm_spell", "rain_spell", "irrigation",
)  # fmt: skip
"""Kinds that rest on readings over their own span."""


def share_masks(cells: Cells, name: str) -> dict[str, Bools]:
    """Return, for one variable, which cells were measured, doubted, filled and so on."""
    value = cells.value(name)
    there = ~np.isnan(value)
    origin = cells.origin.get(name, np.zeros(len(cells), dtype=np.uint8))
    doubted = (cells.why(name) & int(Cause.DOUBTED)) != 0
    own = there & ~cells.forecast & (origin == Origin.MEASURED)
    return {
        "measured": own & ~doubted,
        "doubted": own & doubted,
        "filled": there & ~cells.forecast & (origin == Origin.FILLED),
        "borrowed": there & ~cells.forecast & (origin == Origin.BORROWED),
        "forecast": there & cells.forecast,
        "missing": ~there,
    }


class Builder:
    """Gathers the columns of one kind and makes the table."""

    def __init__(
        self,
        context: Context,
        kind: str | Kind,
        start: tuple[Ints, Ints],
        end: tuple[Ints, Ints],
        tags: Sequence[str] | None = None,
    ) -> None:
        self.context = context
        n = len(start[0])
        self.table = FactTable(
            KINDS[kind] if isinstance(kind, str) else kind, context.block, [], start, end
        )
        self.spans = Spans(context.cells, start[0], end[1])
        self._tags = tags or [""] * n
        t = self.table
        t.forecast = start[0] >= context.now
        t.stages_sure, t.stages_possible = self._stages()
        self.flag("exists", np.ones(n), np.ones(n))
        grace = context.shared["journal_grace"] * 3600
        wanted = np.minimum(end[1], context.now) - grace
        current = (context.journal_until >= wanted).astype(float)
        self.flag("journal_current", current, np.ones(n), Cause.NO_JOURNAL)

    def __len__(self) -> int:
        return len(self.spans)

    def _stages(self) -> tuple[Ints, Ints]:
        sure, maybe = self.context.stages
        if not len(self):
            return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
        both = self.spans.reduce(np.bitwise_and, sure, 0)
        either = self.spans.reduce(np.bitwise_or, maybe, ALL)
        return both.astype(np.int64), either.astype(np.int64)

    def put(self, name: str, triple: Triple) -> None:
        """Add a quantity: least, most, and why they differ."""
        quantity = self.table.kind.quantity(name)
        if quantity is None:
            raise KeyError(f"{self.table.kind.name} has no {name}")
        least, most, cause = triple
        low = np.clip(np.round(least, DECIMALS), quantity.least, quantity.most)
        high = np.clip(np.round(most, DECIMALS), quantity.least, quantity.most)
        self.table.least[name], self.table.most[name] = low, np.maximum(low, high)
        self.table.cause[name] = np.where(low >= high, 0, cause).astype(np.int64)

    def exact(self, name: str, value: Floats | Sequence[float]) -> None:
        """Add a quantity that is known for certain."""
        column = np.asarray(value, dtype=float)
        self.put(name, (column, column, np.zeros(len(column), dtype=np.int64)))

    def flag(self, name: str, least: Floats, most: Floats, cause: Cause = Cause.NONE) -> None:
        """Add a flag with one cause for all that is open."""
        self.put(name, (least, most, np.full(len(least), int(cause), dtype=np.int64)))

    def hours(self, name: str, *conditions: str) -> None:
        """Add the hours for which all the named conditions hold."""
        truth = self.context.truths[conditions[0]]
        for other in conditions[1:]:
            truth = truth & self.context.truths[other]
        self.put(name, self.spans.hours_of(truth))

    def unknown(self, name: str, cause: Cause) -> None:
        """Add a quantity of which nothing is known but its physical limits."""
        quantity = self.table.kind.quantity(name)
        if quantity is None:
            raise KeyError(name)
        n = len(self)
        causes = np.full(n, int(cause), dtype=np.int64)
        self.put(name, (np.full(n, quantity.least), np.full(n, quantity.most), causes))

    def basis(self, estimated: Bools | None = None) -> None:
        """Add the word that says what the fact rests on.

        A fact that lies wholly ahead rests on a forecast; one that still runs, partly so.
        """
        guessed = estimated if estimated is not None else np.zeros(len(self), dtype=bool)
        running = self.table.end[1] > self.context.now
        columns = (self.table.forecast.tolist(), running.tolist(), guessed.tolist())
        self.table.words["basis"] = [
            "forecast" if f else "partly_forecast" if r else "estimated" if e else "measured"
            for f, r, e in zip(*columns, strict=True)
        ]

    def chain(self, names: Sequence[str], before: Sequence[str]) -> None:
        """Add the text keys by which a rule says ``follows``."""
        stem = f"{self.context.block}/{self.table.kind.name}"
        self.table.key = [f"{stem}/{name}" for name in names]
        self.table.previous = [f"{stem}/{name}" for name in before]

    def done(self) -> FactTable:
        """Return the table, with ids made of kind, block and start.

        Raises
        ------
        KeyError
            If a quantity of the kind was forgotten.
        """
        t = self.table
        for quantity in t.kind.all_quantities:
            if quantity.name not in t.least:
                raise KeyError(f"{t.kind.name}: no value given for {quantity.name}")
        if t.kind.name in SHARED_KINDS:
            t.shares = self.context.shares(self.spans)
        seen: dict[str, int] = {}
        moments = np.datetime_as_string(t.start[0].astype("datetime64[s]")).tolist()
        for moment, tag in zip(moments, self._tags, strict=True):
            name = f"{t.kind.name}/{t.block}/{moment}Z" + (f"/{tag}" if tag else "")
            seen[name] = seen.get(name, 0) + 1
            t.ids.append(name if seen[name] == 1 else f"{name}#{seen[name]}")
        return t


def all_through(b: Builder, core: Spans, truth: Truth) -> Triple:
    """Return, as a flag, whether a condition holds all through a period with open ends.

    The period is no longer than the builder's span: what holds there surely holds. It is no
    shorter than its core, or, without a core, any moment of the span.
    """
    least, _, cause = b.spans.all_of(truth)
    anywhere = b.spans.any_of(truth)
    most = np.where(core.empty, anywhere[1], core.all_of(truth)[1])
    open_ends = b.spans.cause_of(truth) | b.table.cause["exists"]
    hours = b.table.cause.get("hours", open_ends)
    return least, most, np.where(least < most, cause | open_ends | hours, 0)


def times(values: Sequence[int] | Ints) -> Ints:
    """Return times as an array of whole seconds."""
    return np.asarray(values, dtype=np.int64)


def sure_times(values: Sequence[int] | Ints) -> tuple[Ints, Ints]:
    """Return certain times as (least, most)."""
    array = times(values)
    return array, array
