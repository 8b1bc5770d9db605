"""The course of a block over a span: everything of one shared time axis, ready to be drawn."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from riskrules.facts.table import Fact, Facts
from riskrules.farm import BlockText, setup_of
from riskrules.findings.model import Finding, UnknownFinding
from riskrules.logs.events import Event, of_block
from riskrules.logs.readings import Ints, Readings
from riskrules.logs.variables import Floats
from riskrules.packs.model import Threshold
from riskrules.review import BlockReview, Review
from riskrules.science.air import relative_humidity_from_dew_point
from riskrules.show import Style
from riskrules.view.course_lanes import (
    Stretch,
    Worst,
    quality_stretches,
    state_stretches,
    worst_stretches,
)
from riskrules.view.thin import bar_width, sums, thin

BINS = 700
"""Bins of a curve: about as many as a screen has pixels for it. (assumption)"""
TEMPERATURE, HUMIDITY, WETNESS, RAIN = (
    "air_temperature", "relative_humidity", "surface_wetness", "thickness_of_rainfall_amount",
)  # fmt: skip
SOIL, DEW = "soil_temperature", "dew_point_temperature"
CURVES = (
    ("temperature", "inside", TEMPERATURE),
    ("temperature", "outside", f"{TEMPERATURE}_outside"),
    ("temperature", "soil", SOIL),
    ("humidity", "inside", HUMIDITY),
    ("humidity", "outside", f"{HUMIDITY}_outside"),
    ("wetness", "inside", WETNESS),
)
"""Lane, name and variable of each curve."""
STATES = ("row_cover", "sides", "film", "straw")
LOGGED = {
    "temperature": (TEMPERATURE,), "humidity": (HUMIDITY, DEW), "wetness": (WETNESS,),
    "outside": (f"{TEMPERATURE}_outside",),
}  # fmt: skip
"""Rows of the log's own lane, each with the variables that can fill it."""
POINTS = {
    "pick": "picks", "cooled": "picks", "irrigation": "water", "sighting": "seen", "cull": "work",
    "leaves": "work", "stalks": "work", "straw": "work", "no_entry": "limits", "no_pick": "limits",
}  # fmt: skip
"""The row in which each event is drawn; events that set a state have lanes of their own."""


@dataclass(frozen=True, slots=True)
class Curve:
    """One line of a lane. ``value`` is NaN where the line breaks; times in s since 1970 UTC."""

    lane: str
    name: str
    unit: str
    forecast: bool
    lent: bool
    time: Ints
    value: Floats
    rows: int


@dataclass(frozen=True, slots=True)
class Bars:
    """Sums of rain. ``missing`` counts the rows of each bar that have no value."""

    name: str
    forecast: bool
    width: int
    start: Ints
    total: Floats
    peak: Floats
    missing: Ints


@dataclass(frozen=True, slots=True)
class Critical:
    """What harms the part at risk in a night. ``sure`` is false where the part is not known."""

    start: int
    end: int
    least: float
    most: float
    part: str
    sure: bool


@dataclass(frozen=True, slots=True)
class Wet:
    """A wet period: surely so, or only possibly, by sensor or estimated."""

    start: int
    end: int
    sure: bool
    source: str
    hours: str
    forecast: bool


@dataclass(frozen=True, slots=True)
class Done:
    """One thing done or seen, at a point or over a stretch. ``planned`` lies ahead."""

    row: str
    start: int
    end: int
    word: str
    planned: bool = False


@dataclass(frozen=True, slots=True)
class Course:
    """All lanes of a block. Times in s since 1970 UTC, temperatures in °C, rain in mm."""

    block: str
    style: Style
    start: int
    end: int
    now: int
    curves: tuple[Curve, ...]
    rain: tuple[Bars, ...]
    critical: tuple[Critical, ...]
    wet: tuple[Wet, ...]
    states: tuple[Stretch, ...]
    stages: tuple[Stretch, ...]
    done: tuple[Done, ...]
    quality: tuple[Stretch, ...]
    logged: tuple[str, ...]
    worst: tuple[Worst, ...]
    findings: tuple[Finding, ...]
    unknowns: tuple[UnknownFinding, ...]
    hazards: Mapping[str, str]
    thinned: bool


def course(
    review: Review,
    block: str,
    readings: Sequence[Readings],
    events: Sequence[Event],
    start: int,
    end: int,
    bins: int = BINS,
) -> Course:
    """Return the course of a block.

    Parameters
    ----------
    review : Review
        Of a window that holds the span.
    block : str
    readings : sequence of Readings
        Of the block, judged: its own first, then lent ones and those of outside.
    events : sequence of Event
        Of the farm, in time order.
    start, end : int
        The span drawn. [s since 1970 UTC]
    bins : int
        Bins of each curve; the least and the most of each bin are kept.

    Raises
    ------
    KeyError
        If the review has no such block.
    """
    found = {b.text.block: b for b in review.blocks}[block]
    own = of_block(events, block)
    past = max(min(end, review.now), start)
    curves = tuple(_curves(readings, start, end, bins))
    findings = tuple(f for f in review.findings if f.block == block)
    shared = review.book.shared
    return Course(
        block, review.style, start, end, review.now, curves,
        tuple(_rain(readings, start, end)),
        tuple(_critical(found.facts, start, end)),
        tuple(_wet(found.facts, review.style, start, end)),
        tuple(_states(own, found.text, start, past, shared)),
        tuple(state_stretches(own, "stages", start, past, shared)),
        tuple(_done(own, start, end, review.now)),
        *_quality(readings, start, past, (end - start) / bins),
        tuple(worst_stretches(findings, start, end)), findings, found.unknowns,
        _hazards(review), any(len(c.time) < c.rows for c in curves),
    )  # fmt: skip


def _hazards(review: Review) -> dict[str, str]:
    """Return the hazard of each rule."""
    return {r.key: r.text.finding.hazard for p in review.book.packs for r in p.rules}


def _curves(readings: Sequence[Readings], start: int, end: int, bins: int) -> list[Curve]:
    found = []
    for lane, name, variable in CURVES:
        for rows in readings:
            values = rows.values.get(variable)
            if values is None and variable.startswith(HUMIDITY):
                values = _from_dew_point(rows, variable)
            if values is None:
                continue
            for forecast in (False, True):
                keep = rows.forecast == forecast
                time, value = thin(rows.time[keep], values[keep], start, end, bins, rows.step)
                inside = (rows.time >= start) & (rows.time <= end) & keep & np.isfinite(values)
                if len(time):
                    unit = {"humidity": "%", "wetness": "1"}.get(lane, "degC")
                    found.append(Curve(lane, name, unit, forecast, rows.lent, time, value,
                                       int(inside.sum())))  # fmt: skip
    return found


def _from_dew_point(rows: Readings, variable: str) -> Floats | None:
    """Return the humidity of a log that has a dew point instead, as the facts have it."""
    place = variable.removeprefix(HUMIDITY)
    air, dew = rows.values.get(TEMPERATURE + place), rows.values.get(DEW + place)
    if air is None or dew is None:
        return None
    return np.minimum(relative_humidity_from_dew_point(air, np.minimum(dew, air)), 100.0)


def _rain(readings: Sequence[Readings], start: int, end: int) -> list[Bars]:
    """Return the rain of the first source that has it, and of the first forecast that has it."""
    width = bar_width(start, end)
    found = []
    for forecast in (False, True):
        for rows in readings:
            name = next((n for n in (RAIN, f"{RAIN}_outside") if n in rows.values), None)
            keep = rows.forecast == forecast
            if name is None or not keep.any():
                continue
            bars = sums(rows.time[keep], rows.values[name][keep], start, end, width)
            if len(bars[0]):
                found.append(Bars(name, forecast, width, *bars))
                break
    return found


def _inside(table: Sequence[Fact] | None, start: int, end: int) -> list[Fact]:
    return [f for f in table or () if f.start[0] < end and f.end[1] > start]


def _critical(facts: Facts, start: int, end: int) -> list[Critical]:
    found = []
    for night in _inside(facts.get("night"), start, end):  # type: ignore[arg-type]
        q = night.quantities["critical_temperature"]
        part = night.words["part"].replace("_", " ")
        found.append(
            Critical(max(night.start[0], start), min(night.end[1], end), q.least, q.most, part,
                     q.certain)
        )  # fmt: skip
    return found


def _wet(facts: Facts, style: Style, start: int, end: int) -> list[Wet]:
    return [
        Wet(max(f.start[0], start), min(f.end[1], end), f.quantities["exists"].least == 1,
            f.words["source"], style.bounds(f.quantities["hours"]), f.forecast)
        for f in _inside(facts.get("wet_period"), start, end)  # type: ignore[arg-type]
    ]  # fmt: skip


def _states(
    events: Sequence[Event],
    text: BlockText,
    start: int,
    end: int,
    shared: Mapping[str, Threshold],
) -> list[Stretch]:
    setup = setup_of(text)
    fixed = dict.fromkeys(STATES, "")
    if setup.tunnel is False:
        fixed |= {"sides": "no tunnel", "film": "no tunnel"}
    if setup.row_covers is False:
        fixed["row_cover"] = "no row covers"
    if setup.ground is not None and not any(e.event == "straw" for e in events):
        fixed["straw"] = "laid" if setup.ground == "straw" else "removed"
    return [
        s for name in STATES for s in state_stretches(events, name, start, end, shared, fixed[name])
    ]


def _done(events: Sequence[Event], start: int, end: int, now: int) -> list[Done]:
    found = []
    for e in events:
        last = e.end if e.end is not None else e.time
        if e.event in POINTS and e.time <= end and last >= start:
            planned = e.what == "planned" or e.time > now
            word = words_of(e)
            found.append(Done(POINTS[e.event], max(e.time, start), min(last, end), word, planned))
    return found


def words_of(event: Event) -> str:
    """Return an event in words.

    Examples
    --------
    >>> words_of(Event(0, "sighting", "flower gray_mold", affected=3, examined=50))
    'sighting flower gray mold 3 of 50'
    """
    words = [event.event.replace("_", " "), event.what.replace("_", " ")]
    if event.examined:
        words.append(f"{event.affected} of {event.examined}")
    return " ".join(w for w in words if w)


def _quality(
    readings: Sequence[Readings], start: int, end: int, apart: float
) -> tuple[tuple[Stretch, ...], tuple[str, ...]]:
    """Return the quality of what the block's rules need, and the rows of the lane it has.

    The first source that has a variable stands for it; what another block lends is a row of its
    own. A variable that no source has is missing all along; not so wetness, which is estimated.
    """
    found: list[Stretch] = []
    own = [r for r in readings if not r.lent and not r.forecast.all()]
    labels = []
    for label, variables in LOGGED.items():
        sources = [(r, v) for v in variables for r in own if v in r.values]
        if sources or label != "wetness":
            rows, name = sources[0] if sources else (None, variables[0])
            labels.append(label)
            found += quality_stretches(rows, name, start, end, apart, label)
    for rows in (r for r in readings if r.lent):
        for label, variables in LOGGED.items():
            for name in (v for v in variables if v in rows.values):
                lent = quality_stretches(rows, name, start, end, apart, f"{label}_lent")
                found += [s for s in lent if s.word != "missing"]
                labels.append(f"{label}_lent")
    return tuple(found), tuple(dict.fromkeys(labels))


def block_review(review: Review, block: str) -> BlockReview | None:
    """Return a block of a review, or None."""
    return next((b for b in review.blocks if b.text.block == block), None)
