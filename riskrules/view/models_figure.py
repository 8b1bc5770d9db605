"""A model's chart as a Plotly figure: curves where it was tested, the rest hatched."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

import plotly.graph_objects as go

from riskrules.science.printed import TableRow
from riskrules.view.models import Panel, Point
from riskrules.view.scale import colour

SYMBOLS = {"biology": "diamond", "arithmetic": "circle", "regression": "x-thin-open"}
"""The shape of a printed value, by what the comparison can show."""
BOUNDS = {"at least": "triangle-up", "at most": "triangle-down"}
"""The shape of a printed bound: the value is to lie on the side that it points to."""
INK, FAINT = "#1d1a1c", "#5d555a"
DASHES = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot")
HATCH = "rgba(93,85,90,0.55)"
Words = Mapping[str, str]
Hover = Callable[[TableRow], str]


def figure(panel: Panel, words: Words, hover: Hover) -> go.Figure:
    """Return the chart of a panel.

    Parameters
    ----------
    panel : Panel
    words : mapping
        Texts: ``x``, ``y`` (axis titles), ``not_tested``, and the names of the kinds of printed
        value (biology, arithmetic, regression).
    hover : callable
        What is said of a printed value, from its row.

    Returns
    -------
    plotly Figure
        Curves differ by colour and by dashes; printed values by shape.
    """
    fig = go.Figure()
    top = _top(panel)
    for span in _outside(panel):
        fig.add_trace(_hatched(span, top, words["not_tested"], not fig.data))
    for i, curve in enumerate(panel.curves):
        share = 0.35 + 0.6 * i / (len(panel.curves) - 1) if len(panel.curves) > 1 else 0.7
        y = [None if math.isnan(v) else v for v in curve.y]
        fig.add_trace(go.Scatter(
            x=curve.x, y=y, mode="lines", name=curve.label or words["y"], connectgaps=False,
            line={"color": colour(share), "dash": DASHES[i % len(DASHES)], "width": 2},
        ))  # fmt: skip
    for kind in SYMBOLS:
        points = [p for p in panel.points if p.row.kind == kind]
        if points:
            fig.add_trace(_points(kind, points, words, hover))
    fig.update_layout(**_layout(panel, words, top))
    return fig


def _outside(panel: Panel) -> list[tuple[float, float]]:
    """Return the spans of x that are shown and were not tested."""
    (lo, hi), (a, b) = panel.shown, panel.tested
    return [span for span in ((lo, a), (b, hi)) if span[1] > span[0]]


def _top(panel: Panel) -> tuple[float, float]:
    """Return the span of y that holds all curves and printed values."""
    values = [v for c in panel.curves for v in c.y if math.isfinite(v)]
    values += [p.row.printed for p in panel.points]
    low, high = min(values, default=0.0), max(values, default=1.0)
    pad = 0.05 * (high - low or 1.0)
    return (low if low == 0 else low - pad, high + pad)


def _hatched(span: tuple[float, float], y: tuple[float, float], name: str, first: bool) -> Any:
    (a, b), (low, high) = span, y
    return go.Scatter(
        x=[a, b, b, a], y=[low, low, high, high], mode="none", fill="toself", name=name,
        fillcolor="rgba(0,0,0,0)", hoverinfo="skip", legendgroup="outside", showlegend=first,
        fillpattern={"shape": "/", "fgcolor": HATCH, "bgcolor": "rgba(0,0,0,0)", "size": 7,
                     "solidity": 0.12},
    )  # fmt: skip


def _points(kind: str, points: list[Point], words: Words, hover: Hover) -> Any:
    said = [hover(p.row) for p in points]
    own = kind == "regression"
    shapes = [BOUNDS.get(p.row.side, SYMBOLS[kind]) for p in points]
    return go.Scatter(
        x=[p.x for p in points], y=[p.row.printed for p in points], mode="markers",
        name=words[kind], text=said, hovertemplate="%{text}<extra></extra>",
        visible="legendonly" if own else True,
        marker={"symbol": shapes, "size": 7 if own else 11, "color": INK,
                "line": {"color": "#ffffff" if not own else INK, "width": 1}},
    )  # fmt: skip


def _layout(panel: Panel, words: Words, top: tuple[float, float]) -> dict[str, Any]:
    axis = {"gridcolor": "#e4dfe2", "linecolor": "#8d858a", "zeroline": False}
    return {
        "template": "none", "height": 440, "margin": {"l": 60, "r": 10, "t": 10, "b": 50},
        "font": {"color": INK, "size": 14}, "hovermode": "closest",
        "xaxis": {**axis, "title": {"text": words["x"]}, "range": list(panel.shown)},
        "yaxis": {**axis, "title": {"text": words["y"]}, "range": list(top)},
        "legend": {"orientation": "h", "y": -0.27, "yanchor": "top"},
    }  # fmt: skip
