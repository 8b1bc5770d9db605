"""The course of a block as one Plotly figure: lanes under each other with one time axis."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

import numpy as np
import plotly.graph_objects as go

from riskrules.show import Style
from riskrules.view.course import Course, Curve, Done
from riskrules.view.course_draw import (
    INK,
    LINE,
    PALE,
    POINT_ROWS,
    Clock,
    Lanes,
    bars_of,
    fits,
    hatched,
    said,
)
from riskrules.view.course_lanes import QUALITIES, UNKNOWN, Stretch, Worst
from riskrules.view.course_layout import layout_of
from riskrules.view.drawn import Drawn, Say
from riskrules.view.reasons import seconds_of

DASHES = {"inside": "solid", "outside": "dot", "soil": "longdash"}
COLOURS = {"inside": "#1d1a1c", "outside": "#6a4c93", "soil": "#8a6a2f"}
"""Each line differs by its dashes too, so that it is told without colour. (our own choice)"""
SHAPES = {"picks": "star", "water": "triangle-down", "seen": "diamond", "work": "square",
          "limits": "x"}  # fmt: skip
MOST_SAID = 3
"""Sentences that one pointer shows; the rest is in the table. (assumption)"""


def course_figure(c: Course, say: Say, looks: Mapping[str, Drawn], drag: bool = True) -> go.Figure:
    """Return the figure of a course.

    Parameters
    ----------
    c : Course
    say : Say
        Gives the texts in the reader's language.
    looks : mapping of Drawn
        How each severity is drawn, by name; 'Unknown' is hatched.
    drag : bool
        Whether a drag zooms; on a phone it would keep the page from being scrolled.
    """
    lanes = Lanes(c)
    clock = Clock(c.style)
    traces = [
        *_found(c, lanes, clock, say, looks), *_open(c, lanes, clock, say),
        *_curves(c, lanes, clock, say), *_critical(c, lanes, clock, say),
        *_wet(c, lanes, clock, say), *_rain(c, lanes, clock, say),
        *_stretches(c, c.states, "states", lanes, clock, say),
        *_stretches(c, c.stages, "stages", lanes, clock, say),
        *_done(c, lanes, clock, say),
        *_measured(c, lanes, clock, say),
        *_stretches(c, c.quality, "quality", lanes, clock, say),
    ]  # fmt: skip
    layout = layout_of(c, lanes, clock, say) | {"dragmode": "zoom" if drag else False}
    return go.Figure(data=traces, layout=layout)


def _found(
    c: Course, lanes: Lanes, clock: Clock, say: Say, looks: Mapping[str, Drawn]
) -> list[go.Bar]:
    """Draw the findings: one trace, the worst of each moment in its hazard's row."""
    if not c.worst:
        return []
    drawn = [looks[w.severity] for w in c.worst]
    text = [
        next((t for t in (f"{s.shape} {s.word}", s.shape) if fits(t, w.start, w.end, c)), "")
        for w, s in zip(c.worst, drawn, strict=True)
    ]
    return [bars_of(
        [(w.start, w.end) for w in c.worst],
        [lanes.place("found", w.hazard) for w in c.worst],
        [_worst_said(w, c.style, say, looks) for w in c.worst],
        lanes.axis("found"), clock, text=text,
        marker={"color": [s.fill for s in drawn], "line": {"color": INK, "width": 0.4}},
        textfont={"color": [s.ink for s in drawn], "size": 12},
        name=say("course.lane_found"),
    )]  # fmt: skip


def _worst_said(w: Worst, style: Style, say: Say, looks: Mapping[str, Drawn]) -> str:
    parts = [style.span(w.start, w.end)]
    for f in w.findings[:MOST_SAID]:
        parts.append(f"{looks[f.severity].shape} {looks[f.severity].word}: {f.sentence}")
    if len(w.findings) > MOST_SAID:
        parts.append(say("course.and_more", n=len(w.findings) - MOST_SAID))
    return said(*parts)


def _open(c: Course, lanes: Lanes, clock: Clock, say: Say) -> list[go.Bar]:
    """Draw what could not be told, hatched, under the row of each hazard that it leaves open."""
    spans, heights, hover = [], [], []
    for u in c.unknowns:
        start = max(seconds_of(u.start), c.start)
        end = min(seconds_of(u.end), c.end)
        for hazard in sorted({c.hazards[r] for r in u.rules if r in c.hazards}):
            if end > start:
                spans.append((start, end))
                heights.append(lanes.place("found", f"{hazard}?"))
                hover.append(said(u.sentence, " ".join(u.settle)))
    if not spans:
        return []
    return [bars_of(spans, heights, hover, lanes.axis("found"), clock, marker=hatched(),
                  name=say("severity.Unknown"))]  # fmt: skip


def _curves(c: Course, lanes: Lanes, clock: Clock, say: Say) -> list[go.Scatter]:
    found = []
    for curve in c.curves:
        if curve.lane == "wetness":
            continue
        name = say(f"course.curve_{curve.name}")
        name = say("course.lent", name=name) if curve.lent else name
        name = say("course.forecast", name=name) if curve.forecast else name
        value = _shown(curve, c.style)
        unit = c.style.unit(curve.unit)
        digits = ".0f" if curve.lane == "humidity" else ".1f"
        dash = "dash" if curve.forecast else "dashdot" if curve.lent else DASHES[curve.name]
        found.append(go.Scatter(
            x=clock.many(curve.time), y=np.round(value, 2), mode="lines", name=name, xaxis="x",
            yaxis=lanes.axis(curve.lane), connectgaps=False, showlegend=curve.lane != "humidity",
            line={"color": COLOURS[curve.name], "width": 1.4, "dash": dash},
            hovertemplate=f"%{{x|%a %-d %b %H:%M}}<br>{escape(name)}: %{{y:{digits}}}{unit}"
                          "<extra></extra>",
        ))  # fmt: skip
    return found


def _shown(curve: Curve, style: Style) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Return values in the reader's units."""
    if curve.unit == "degC" and style.temperature == "degF":
        return curve.value * 1.8 + 32
    return curve.value


def _degrees(value: float, style: Style) -> float:
    return value * 1.8 + 32 if style.temperature == "degF" else value


def _critical(c: Course, lanes: Lanes, clock: Clock, say: Say) -> list[go.Scatter]:
    """Draw what harms the part at risk, night by night; where the part is not known, the most."""
    if not c.critical:
        return []
    x: list[float] = []
    y: list[float | None] = []
    hover: list[str] = []
    for k in c.critical:
        value = round(_degrees(k.most, c.style), 2)
        key = "course.critical" if k.sure else "course.critical_most"
        text = said(say(key, part=k.part, value=c.style.value(k.most, "degC")))
        x += [clock.one(k.start), clock.one(k.end), clock.one(k.end)]
        y += [value, value, None]
        hover += [text, text, ""]
    return [go.Scatter(
        x=np.array(x), y=y, mode="lines", name=say("course.curve_critical"), xaxis="x",
        yaxis=lanes.axis("temperature"), line={"color": "#7a2048", "width": 2.5},
        hovertext=hover, hovertemplate="%{hovertext}<extra></extra>",
    )]  # fmt: skip


def _wet(c: Course, lanes: Lanes, clock: Clock, say: Say) -> list[go.Bar]:
    """Draw the wet periods: filled where surely wet, hatched where it may have been."""
    found = []
    for sure in (True, False):
        some = [w for w in c.wet if w.sure == sure]
        if not some:
            continue
        key = "course.wet_sure" if sure else "course.wet_maybe"
        hover = [
            said(c.style.span(w.start, w.end),
                 say(key, source=say(f"course.by_{w.source}"), hours=w.hours))
            for w in some
        ]  # fmt: skip
        marker = {"color": "#6f8290", "line": {"color": INK, "width": 0.4}} if sure else hatched()
        found.append(bars_of([(w.start, w.end) for w in some], [0] * len(some), hover,
                           lanes.axis("wetness"), clock, marker=marker,
                           name=say("course.lane_wetness")))  # fmt: skip
    return found


def _rain(c: Course, lanes: Lanes, clock: Clock, say: Say) -> list[go.Bar]:
    found = []
    for bars in c.rain:
        factor = 1 / 25.4 if c.style.rain == "in" else 1.0
        hover = []
        for start, total, peak, missing in zip(
            bars.start.tolist(), bars.total.tolist(), bars.peak.tolist(), bars.missing.tolist(),
            strict=True,
        ):  # fmt: skip
            parts = [c.style.span(start, start + bars.width)]
            if np.isfinite(total):
                parts.append(say("course.rain_said", total=c.style.value(total, "mm"),
                                 peak=c.style.value(peak, "mm")))  # fmt: skip
            if missing:
                parts.append(say("course.rain_missing", n=missing))
            hover.append(said(*parts))
        marker = hatched() if bars.forecast else {"color": "#3f6479"}
        name = say("course.lane_rain")
        found.append(go.Bar(
            x=clock.many(bars.start) + bars.width * 500.0, y=np.round(bars.total * factor, 4),
            width=bars.width * 1000.0, xaxis="x", yaxis=lanes.axis("rain"), hovertext=hover,
            hovertemplate="%{hovertext}<extra></extra>", marker=marker, showlegend=False,
            name=say("course.forecast", name=name) if bars.forecast else name,
        ))  # fmt: skip
    return found


STATE_FILLS = {"on": "#93a7b4", "down": "#93a7b4", "laid": "#93a7b4", "off": PALE, "up": PALE,
               "removed": PALE, "no tunnel": "#ffffff", "no row covers": "#ffffff"}  # fmt: skip
QUALITY_FILLS = dict(zip(QUALITIES, ("", "#a8743f", "#c9b58c", "#8fa3b0"), strict=True))


def _stretches(
    c: Course, some: Sequence[Stretch], lane: str, lanes: Lanes, clock: Clock, say: Say
) -> list[go.Bar]:
    """Draw stretches: hatched where nothing is known, with their word where there is room.

    Those of the log's quality are drawn wide enough to be seen; the pointer says how long they
    are.
    """
    found = []
    least = (c.end - c.start) // 300 if lane == "quality" else 0
    for unknown in (False, True):
        own = [s for s in some if (s.word in (UNKNOWN, "missing")) == unknown]
        if not own:
            continue
        hover = [said(c.style.span(s.start, s.end), _stretch_said(s, lane, say)) for s in own]
        fills = [STATE_FILLS.get(s.word) or QUALITY_FILLS.get(s.word) or PALE for s in own]
        marker = hatched() if unknown else {"color": fills, "line": {"color": LINE, "width": 0.5}}
        text = [
            s.word if lane != "quality" and fits(s.word, s.start, s.end, c) else "" for s in own
        ]
        found.append(bars_of([(s.start, max(s.end, s.start + least)) for s in own],
                           [lanes.place(lane, s.row) for s in own], hover, lanes.axis(lane), clock,
                           marker=marker, text=text, textfont={"color": INK, "size": 10},
                           name=say(f"course.lane_{lane}")))  # fmt: skip
    return found


def _measured(c: Course, lanes: Lanes, clock: Clock, say: Say) -> list[go.Bar]:
    """Draw what lies under the quality of the log: measured, where nothing is drawn over it."""
    end = min(c.end, c.now)
    if end <= c.start:
        return []
    hover = [said(say("course.measured", row=say(f"course.row_{row}"))) for row in c.logged]
    return [bars_of([(c.start, end)] * len(c.logged),
                  [lanes.place("quality", row) for row in c.logged], hover,
                  lanes.axis("quality"), clock, marker={"color": PALE},
                  name=say("course.lane_quality"))]  # fmt: skip


def _stretch_said(s: Stretch, lane: str, say: Say) -> str:
    row = say(f"course.row_{s.row}")
    if s.word == UNKNOWN:
        key = "course.state_stale" if s.more else "course.state_unknown"
        return say(key, row=row, was=s.more)
    if lane == "quality":
        key = "course.quality_joined" if s.count > 1 else "course.quality_said"
        return say(key, row=row, word=say(f"course.quality_{s.word}"), n=s.count)
    return say("course.state_said", row=row, word=s.word)


def _done(c: Course, lanes: Lanes, clock: Clock, say: Say) -> list[Any]:
    """Draw what was done and seen: a shape at each, and a bar where it took long."""
    found: list[Any] = []
    axis = lanes.axis("done")
    long = [d for d in c.done if d.end > d.start]
    if long:
        heights = [lanes.place("done", d.row) for d in long]
        found.append(bars_of([(d.start, d.end) for d in long], heights,
                           [_done_said(d, c.style, say) for d in long], axis, clock,
                           marker={"color": "#8fa3b0"}, width=0.4,
                           name=say("course.lane_done")))  # fmt: skip
    for row in POINT_ROWS:
        own = [d for d in c.done if d.row == row]
        if not own:
            continue
        shapes = [SHAPES[row] + ("-open" if d.planned else "") for d in own]
        found.append(go.Scatter(
            x=clock.many([d.start for d in own]), y=[lanes.place("done", row)] * len(own),
            mode="markers", marker={"symbol": shapes, "size": 10, "color": INK}, xaxis="x",
            yaxis=axis, hovertext=[_done_said(d, c.style, say) for d in own],
            hovertemplate="%{hovertext}<extra></extra>", showlegend=False,
            name=say(f"course.row_{row}"),
        ))  # fmt: skip
    return found


def _done_said(d: Done, style: Style, say: Say) -> str:
    when = style.span(d.start, d.end) if d.end > d.start else style.moment(d.start)
    return said(when, say("course.planned", word=d.word) if d.planned else d.word)
