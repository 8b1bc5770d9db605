"""The course of a block as one Plotly figure: lanes under each other with one time axis."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from html import escape
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from riskrules.logs.readings import Ints
from riskrules.show import Style
from riskrules.view.course import STATES, Course, Curve, Done
from riskrules.view.course_lanes import QUALITIES, UNKNOWN, Stretch, Worst
from riskrules.view.drawn import Drawn, Say
from riskrules.view.reasons import seconds_of

INK, GREY, PALE, LINE = "#1d1a1c", "#5d555a", "#efe9e4", "#8d858a"
DASHES = {"inside": "solid", "outside": "dot", "soil": "longdash"}
COLOURS = {"inside": "#1d1a1c", "outside": "#6a4c93", "soil": "#8a6a2f"}
"""Each line differs by its dashes too, so that it is told without colour. (our own choice)"""
ROW_PX, GAP_PX, TOP_PX, FOOT_PX = 24, 34, 40, 140
LANE_PX = {"temperature": 190, "humidity": 110, "rain": 90}
POINT_ROWS = ("picks", "water", "seen", "work", "limits")
SHAPES = {"picks": "star", "water": "triangle-down", "seen": "diamond", "work": "square",
          "limits": "x"}  # fmt: skip
WRAP = 60
"""Letters in a line of what the pointer shows."""
LETTERS = 60
"""Letters as wide as the whole time axis on a small screen. (assumption)"""
MOST_SAID = 3
"""Sentences that one pointer shows; the rest is in the table. (assumption)"""


class _Lanes:
    """Where each lane of the figure is: its axis, and its rows from the top."""

    def __init__(self, c: Course) -> None:
        hazards = sorted({w.hazard for w in c.worst} | _open_hazards(c))
        quality = list(c.logged)
        self.rows: dict[str, list[str]] = {
            "found": [row for h in hazards for row in (h, f"{h}?")] or ["nothing"],
            "temperature": [], "humidity": [],
            "wetness": ["wet"], "rain": [], "states": list(STATES), "stages": ["stages"],
            "done": list(POINT_ROWS), "quality": quality,
        }  # fmt: skip
        self.names = list(self.rows)
        heights = [LANE_PX.get(n) or ROW_PX * len(self.rows[n]) for n in self.names]
        self.height = TOP_PX + sum(h + GAP_PX for h in heights) + FOOT_PX
        self.domains: dict[str, tuple[float, float]] = {}
        inner, y = self.height - TOP_PX - FOOT_PX, 0
        for name, high in zip(self.names, heights, strict=True):
            y += GAP_PX
            self.domains[name] = (max(1 - (y + high) / inner, 0), 1 - y / inner)
            y += high

    def axis(self, lane: str) -> str:
        """Return the short name of a lane's axis: 'y', 'y2', ..."""
        i = self.names.index(lane)
        return "y" if i == 0 else f"y{i + 1}"

    def place(self, lane: str, row: str) -> int:
        """Return the height at which a row of a lane is drawn."""
        rows = self.rows[lane]
        return len(rows) - 1 - rows.index(row)


def _open_hazards(c: Course) -> set[str]:
    return {c.hazards[r] for u in c.unknowns for r in u.rules if r in c.hazards}


def course_figure(
    c: Course, say: Say, looks: Mapping[str, Drawn], drag: bool = True
) -> go.Figure:
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
    lanes = _Lanes(c)
    clock = _Clock(c.style)
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
    layout = _layout(c, lanes, clock, say) | {"dragmode": "zoom" if drag else False}
    return go.Figure(data=traces, layout=layout)


class _Clock:
    """Turns times into numbers that Plotly shows as dates of the farm's clock."""

    def __init__(self, style: Style) -> None:
        self.zone = style.zone

    def many(self, seconds: Ints | Sequence[int]) -> np.ndarray[Any, np.dtype[np.float64]]:
        """Return milliseconds of the clock since 1970, as numbers."""
        index = pd.to_datetime(np.asarray(seconds, dtype=np.int64), unit="s", utc=True)
        local = index.tz_convert(self.zone).tz_localize(None).as_unit("ms")
        return np.asarray(local.asi8, dtype=np.float64)

    def one(self, seconds: int) -> float:
        """Return one time."""
        local = datetime.fromtimestamp(seconds, self.zone)
        return local.replace(tzinfo=UTC).timestamp() * 1000


def said(*parts: str) -> str:
    """Return lines for the pointer: wrapped, and with no mark that Plotly would obey.

    Examples
    --------
    >>> said("a <b>", "c")
    'a &lt;b&gt;<br>c'
    """
    lines = [escape(line, quote=False) for p in parts for line in textwrap.wrap(p, WRAP)]
    return "<br>".join(lines)


def _bars(
    spans: Sequence[tuple[int, int]],
    heights: Sequence[float],
    hover: Sequence[str],
    axis: str,
    clock: _Clock,
    **more: Any,
) -> go.Bar:
    """Return horizontal bars, one for each span."""
    first = clock.many([s for s, _ in spans])
    last = clock.many([e for _, e in spans])
    defaults = {"width": 0.86, "showlegend": False, "textposition": "inside",
                "insidetextanchor": "start", "textangle": 0, "constraintext": "none",
                "cliponaxis": True}  # fmt: skip
    return go.Bar(
        orientation="h", base=first, x=np.maximum(last - first, 0), y=list(heights), xaxis="x",
        yaxis=axis, hovertext=list(hover), hovertemplate="%{hovertext}<extra></extra>",
        **{**defaults, **more},
    )  # fmt: skip


def _found(
    c: Course, lanes: _Lanes, clock: _Clock, say: Say, looks: Mapping[str, Drawn]
) -> list[go.Bar]:
    """Draw the findings: one trace, the worst of each moment in its hazard's row."""
    if not c.worst:
        return []
    drawn = [looks[w.severity] for w in c.worst]
    text = [
        next((t for t in (f"{s.shape} {s.word}", s.shape) if _fits(t, w.start, w.end, c)), "")
        for w, s in zip(c.worst, drawn, strict=True)
    ]
    return [_bars(
        [(w.start, w.end) for w in c.worst],
        [lanes.place("found", w.hazard) for w in c.worst],
        [_worst_said(w, c.style, say, looks) for w in c.worst],
        lanes.axis("found"), clock, text=text,
        marker={"color": [s.fill for s in drawn], "line": {"color": INK, "width": 0.4}},
        textfont={"color": [s.ink for s in drawn], "size": 12},
        name=say("course.lane_found"),
    )]  # fmt: skip


def _fits(text: str, start: int, end: int, c: Course) -> bool:
    """Return whether a text has room in a bar of the whole span's picture."""
    return len(text) * (c.end - c.start) / LETTERS < end - start


def _worst_said(w: Worst, style: Style, say: Say, looks: Mapping[str, Drawn]) -> str:
    parts = [style.span(w.start, w.end)]
    for f in w.findings[:MOST_SAID]:
        parts.append(f"{looks[f.severity].shape} {looks[f.severity].word}: {f.sentence}")
    if len(w.findings) > MOST_SAID:
        parts.append(say("course.and_more", n=len(w.findings) - MOST_SAID))
    return said(*parts)


def _open(c: Course, lanes: _Lanes, clock: _Clock, say: Say) -> list[go.Bar]:
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
    return [_bars(spans, heights, hover, lanes.axis("found"), clock, marker=_hatched(),
                  name=say("severity.Unknown"))]  # fmt: skip


def _hatched() -> dict[str, Any]:
    return {
        "color": "#ffffff", "line": {"color": LINE, "width": 0.5},
        "pattern": {"shape": "/", "fgcolor": GREY, "bgcolor": "#ffffff", "size": 6,
                    "solidity": 0.25},
    }  # fmt: skip


def _curves(c: Course, lanes: _Lanes, clock: _Clock, say: Say) -> list[go.Scatter]:
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


def _critical(c: Course, lanes: _Lanes, clock: _Clock, say: Say) -> list[go.Scatter]:
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


def _wet(c: Course, lanes: _Lanes, clock: _Clock, say: Say) -> list[go.Bar]:
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
        marker = {"color": "#6f8290", "line": {"color": INK, "width": 0.4}} if sure else _hatched()
        found.append(_bars([(w.start, w.end) for w in some], [0] * len(some), hover,
                           lanes.axis("wetness"), clock, marker=marker,
                           name=say("course.lane_wetness")))  # fmt: skip
    return found


def _rain(c: Course, lanes: _Lanes, clock: _Clock, say: Say) -> list[go.Bar]:
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
        marker = _hatched() if bars.forecast else {"color": "#3f6479"}
        name = say("course.lane_rain")
        found.append(go.Bar(
            x=clock.many(bars.start) + bars.width * 500.0, y=np.round(bars.total * factor, 4),
            width=bars.width * 1000.0, xaxis="x", yaxis=lanes.axis("rain"), hovertext=hover,
            hovertemplate="%{hovertext}<extra></extra>", marker=marker, showlegend=False,
            name=say("course.forecast", name=name) if bars.forecast else name,
        ))  # fmt: skip
    return found


STATE_FILLS = {"on": "#6f8290", "down": "#6f8290", "laid": "#6f8290", "off": PALE, "up": PALE,
               "removed": PALE, "no tunnel": "#ffffff", "no row covers": "#ffffff"}  # fmt: skip
QUALITY_FILLS = dict(zip(QUALITIES, ("", "#a8743f", "#c9b58c", "#8fa3b0"), strict=True))


def _stretches(
    c: Course, some: Sequence[Stretch], lane: str, lanes: _Lanes, clock: _Clock, say: Say
) -> list[go.Bar]:
    """Draw stretches: hatched where nothing is known, with their word where there is room.

    Those of the log's quality are drawn wide enough to be seen; the pointer says how long they
    are.
    """
    found = []
    least = (c.end - c.start) // 300 if lane == "quality" else 0
    for hatched in (False, True):
        own = [s for s in some if (s.word in (UNKNOWN, "missing")) == hatched]
        if not own:
            continue
        hover = [said(c.style.span(s.start, s.end), _stretch_said(s, lane, say)) for s in own]
        fills = [STATE_FILLS.get(s.word) or QUALITY_FILLS.get(s.word) or PALE for s in own]
        marker = _hatched() if hatched else {"color": fills, "line": {"color": LINE, "width": 0.5}}
        text = [
            s.word if lane != "quality" and _fits(s.word, s.start, s.end, c) else "" for s in own
        ]
        found.append(_bars([(s.start, max(s.end, s.start + least)) for s in own],
                           [lanes.place(lane, s.row) for s in own], hover, lanes.axis(lane), clock,
                           marker=marker, text=text, textfont={"color": INK, "size": 10},
                           name=say(f"course.lane_{lane}")))  # fmt: skip
    return found


def _measured(c: Course, lanes: _Lanes, clock: _Clock, say: Say) -> list[go.Bar]:
    """Draw what lies under the quality of the log: measured, where nothing is drawn over it."""
    end = min(c.end, c.now)
    if end <= c.start:
        return []
    hover = [said(say("course.measured", row=say(f"course.row_{row}"))) for row in c.logged]
    return [_bars([(c.start, end)] * len(c.logged),
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


def _done(c: Course, lanes: _Lanes, clock: _Clock, say: Say) -> list[Any]:
    """Draw what was done and seen: a shape at each, and a bar where it took long."""
    found: list[Any] = []
    axis = lanes.axis("done")
    long = [d for d in c.done if d.end > d.start]
    if long:
        heights = [lanes.place("done", d.row) for d in long]
        found.append(_bars([(d.start, d.end) for d in long], heights,
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


def _layout(c: Course, lanes: _Lanes, clock: _Clock, say: Say) -> dict[str, Any]:
    """Return axes, lane titles, the shade over what is to come, and the line of 'now'."""
    layout: dict[str, Any] = {
        "height": lanes.height, "barmode": "overlay", "hovermode": "closest",
        "margin": {"l": 86, "r": 10, "t": TOP_PX, "b": FOOT_PX}, "plot_bgcolor": "#ffffff",
        "paper_bgcolor": "#ffffff", "font": {"color": INK, "size": 12}, "bargap": 0,
        "hoverlabel": {"align": "left", "bgcolor": "#ffffff", "font": {"color": INK}},
        "legend": {"orientation": "h", "yref": "container", "y": 0, "yanchor": "bottom", "x": 0,
                   "xanchor": "left"},
        "uirevision": f"{c.block} {c.start} {c.end}",
        "xaxis": {
            "type": "date", "range": [clock.one(c.start), clock.one(c.end)], "side": "bottom",
            "anchor": "free", "position": 0, "showspikes": True, "spikemode": "across",
            "spikesnap": "cursor", "spikethickness": 1, "spikecolor": LINE, "gridcolor": PALE,
            "minallowed": clock.one(c.start), "maxallowed": clock.one(c.end),
        },
        "annotations": [_title(name, lanes, say) for name in lanes.names],
        "shapes": [],
    }  # fmt: skip
    for name in lanes.names:
        layout[lanes.axis(name).replace("y", "yaxis")] = _y_axis(name, c, lanes, say)
    if c.start < c.now < c.end:
        layout["shapes"] = _ahead(c, clock)
        wide = c.end - c.now > (c.end - c.start) / 5
        layout["annotations"].append({
            "x": clock.one(c.now), "xref": "x", "y": 1, "yref": "paper", "yanchor": "top",
            "xanchor": "left" if wide else "right", "showarrow": False, "text": say("course.ahead"),
            "font": {"size": 11, "color": INK}, "bgcolor": "#ffffff",
        })  # fmt: skip
    return layout


def _ahead(c: Course, clock: _Clock) -> list[dict[str, Any]]:
    edge = clock.one(c.now)
    line = {"color": INK, "width": 1.5, "dash": "dash"}
    common = {"xref": "x", "yref": "paper", "y0": 0, "y1": 1}
    return [
        {"type": "rect", "x0": edge, "x1": clock.one(c.end), "fillcolor": "#e9e2ee",
         "opacity": 0.55, "line": {"width": 0}, "layer": "below", **common},
        {"type": "line", "x0": edge, "x1": edge, "line": line, **common},
    ]  # fmt: skip


def _title(name: str, lanes: _Lanes, say: Say) -> dict[str, Any]:
    return {
        "text": f"<b>{say(f'course.lane_{name}')}</b>", "x": 0, "xref": "paper",
        "xanchor": "left", "y": lanes.domains[name][1], "yref": "paper", "yanchor": "bottom",
        "showarrow": False, "font": {"size": 13, "color": INK},
    }  # fmt: skip


def _y_axis(name: str, c: Course, lanes: _Lanes, say: Say) -> dict[str, Any]:
    axis: dict[str, Any] = {"domain": list(lanes.domains[name]), "fixedrange": True,
                            "gridcolor": PALE, "zeroline": False, "anchor": "x"}  # fmt: skip
    if name in LANE_PX:
        units = {"temperature": c.style.unit("degC"), "humidity": " %", "rain": c.style.unit("mm")}
        axis |= {"ticksuffix": units[name], "nticks": 5}
        if name == "humidity":
            axis["range"] = [0, 104]
        if name == "rain":
            axis["rangemode"] = "tozero"
        return axis
    rows = lanes.rows[name]
    words = [_row_word(name, row, say) for row in rows]
    return axis | {
        "range": [-0.6, len(rows) - 0.4], "tickvals": [lanes.place(name, r) for r in rows],
        "ticktext": words, "tickfont": {"size": 10}, "showgrid": False,
    }  # fmt: skip


def _row_word(lane: str, row: str, say: Say) -> str:
    if lane == "found":
        return say("course.row_open") if row.endswith("?") else say(f"course.hazard_{row}")
    return say(f"course.row_{row}") if lane in ("states", "done", "quality") else ""
