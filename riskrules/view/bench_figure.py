"""Scores, a sweep and a map of two thresholds as Plotly figures.

What is told by colour is told by shape, hatching or words too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from typing import TYPE_CHECKING, Any

from riskrules.view.bench_result import AxisWords, Bar, Mark
from riskrules.view.scale import colour, ink_on

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

INK, FAINT, GRID = "#1d1a1c", "#5d555a", "#e4dfe2"
DEEP, MIDDLE, PALE = colour(0.85), colour(0.5), colour(0.12)
HATCH = {"shape": "/", "fgcolor": FAINT, "size": 6}
BAR_PX, MORE_PX = 40, 90
Words = Mapping[str, str]


def score_figure(bars: Sequence[Bar], names: Words, words: Words) -> Figure:
    """Return scores as bars with their 95 % intervals; one that is no guide is hatched.

    Parameters
    ----------
    bars : sequence of Bar
    names : mapping
        What each kind of score is called.
    words : mapping
        ``x``, the title of the axis, and ``no_guide``, said of a hatched bar.
    """
    import plotly.graph_objects as go

    shown = [b for b in bars if b.value is not None]
    alone = len({b.of for b in shown}) == 1
    y = [escape(names[b.name]) + ("" if alone else f",<br>{escape(b.of)}") for b in shown]
    hover = [_bar_said(b, names, words) for b in shown]
    fig = go.Figure(go.Bar(
        orientation="h", y=y, x=[b.value for b in shown], hovertext=hover, hoverinfo="text",
        marker={"color": [PALE if b.said else MIDDLE for b in shown],
                "line": {"color": INK, "width": 0.8},
                "pattern": HATCH | {"shape": ["/" if b.said else "" for b in shown]}},
        error_x={"type": "data", "symmetric": False, "color": INK, "thickness": 2, "width": 7,
                 "array": [_over(b.high, b.value) for b in shown],
                 "arrayminus": [_over(b.value, b.low) for b in shown]},
    ))  # fmt: skip
    low = min([0.0, *(b.low for b in shown if b.low is not None)])
    fig.update_layout(
        **_layout(MORE_PX + BAR_PX * max(len(shown), 1)),
        xaxis=_axis(words["x"]) | {"range": [min(low, 0.0) - (0.02 if low < 0 else 0), 1.02]},
        yaxis={"autorange": "reversed", "automargin": True, "fixedrange": True},
    )  # fmt: skip
    return fig


def _bar_said(b: Bar, names: Words, words: Words) -> str:
    ends = "" if b.low is None or b.high is None else f" ({b.low:.2f} – {b.high:.2f})"
    more = f"<br>{escape(words['no_guide'])}: {escape(b.said)}" if b.said else ""
    return f"{escape(b.of)}, {escape(names[b.name])}: {b.value:.2f}{ends}{more}"


def _over(high: float | None, low: float | None) -> float:
    return 0.0 if high is None or low is None else max(high - low, 0.0)


def sweep_figure(marks: Sequence[Mark], words: Words) -> Figure:
    """Return detection against findings per block and season, a mark each value.

    The present value is a large diamond; a value that is no guide is hollow.

    Parameters
    ----------
    marks : sequence of Mark
        Of one threshold, in order of its values.
    words : mapping
        ``x``, ``y`` (titles of the axes), ``now`` (said of the present value), ``no_guide``.
    """
    import plotly.graph_objects as go

    shown = [m for m in marks if m.detection is not None]
    fig = go.Figure(go.Scatter(
        x=[m.alarms for m in shown], y=[m.detection for m in shown], mode="lines+markers+text",
        text=[_mark_word(m, words) for m in shown], textposition=_sides(shown),
        textfont={"color": INK, "size": 13}, cliponaxis=False,
        line={"color": FAINT, "width": 1, "dash": "dot"},
        marker={"size": [18 if m.present else 11 for m in shown],
                "symbol": [_symbol(m) for m in shown], "color": DEEP,
                "line": {"color": INK, "width": 1}},
        error_y={"type": "data", "symmetric": False, "color": MIDDLE, "thickness": 1.6, "width": 6,
                 "array": [_over(m.high, m.detection) for m in shown],
                 "arrayminus": [_over(m.detection, m.low) for m in shown]},
        hovertext=[_mark_said(m, words) for m in shown], hoverinfo="text",
    ))  # fmt: skip
    most = max((m.alarms for m in shown), default=1.0) or 1.0
    fig.update_layout(
        **_layout(430), xaxis=_axis(words["x"]) | {"range": [-0.06 * most, 1.18 * most]},
        yaxis=_axis(words["y"]) | {"range": [-0.05, 1.12], "tickvals": [0, 0.25, 0.5, 0.75, 1]},
    )  # fmt: skip
    return fig


def _symbol(m: Mark) -> str:
    return ("diamond" if m.present else "circle") + ("-open" if m.said else "")


def _sides(marks: Sequence[Mark]) -> list[str]:
    """Return where the words of each mark stand: neighbours on other sides."""
    return ["top right" if i % 2 == 0 else "bottom right" for i in range(len(marks))]


def _mark_word(m: Mark, words: Words) -> str:
    return escape(m.words) + (f" <b>{escape(words['now'])}</b>" if m.present else "")


def _mark_said(m: Mark, words: Words) -> str:
    ends = "" if m.low is None or m.high is None else f" ({m.low:.2f} – {m.high:.2f})"
    more = f"<br>{escape(words['no_guide'])}: {escape(m.said)}" if m.said else ""
    return (
        f"{_mark_word(m, words)}<br>{escape(words['y'])}: {m.detection:.2f}{ends}"
        f"<br>{escape(words['x'])}: {m.alarms:.3g}{more}"
    )


def map_figure(marks: Sequence[Mark], axes: Sequence[AxisWords], words: Words) -> Figure:
    """Return a map of two thresholds: detection by shade and number, findings in brackets.

    The present pair has a thick frame and says so; a pair of which nothing can be told is blank
    with a question mark.
    """
    import plotly.graph_objects as go

    xs, ys = (sorted({m.values[i] for m in marks}) for i in (0, 1))
    at = {m.values: m for m in marks}
    rows = [[at.get((x, y)) for x in xs] for y in ys]
    fig = go.Figure(go.Heatmap(
        x=list(range(len(xs))), y=list(range(len(ys))), xgap=2, ygap=2, zmin=0, zmax=1,
        z=[[None if m is None else m.detection for m in row] for row in rows],
        colorscale=[[i / 8, colour(i / 8)] for i in range(9)], showscale=False,
        hovertext=[["" if m is None else _cell_said(m, words) for m in row] for row in rows],
        hoverinfo="text",
    ))  # fmt: skip
    for k, row in enumerate(rows):
        for i, m in enumerate(row):
            if m is not None:
                fig.add_annotation(**_cell(i, k, m))
                if m.present:
                    fig.add_shape(**_frame(i, k))
    fig.update_layout(
        **_layout(max(260, 110 + 52 * len(ys))),
        xaxis=_map_axis(axes[0]), yaxis=_map_axis(axes[1]),
    )  # fmt: skip
    return fig


def _cell(i: int, k: int, m: Mark) -> dict[str, Any]:
    value = "?" if m.detection is None else f"{m.detection:.2f}"
    ink = INK if m.detection is None else ink_on(colour(m.detection))
    return {
        "x": i, "y": k, "showarrow": False, "text": f"{value}<br>({m.alarms:.2g})",
        "font": {"color": ink, "size": 12},
    }  # fmt: skip


def _frame(i: int, k: int) -> dict[str, Any]:
    return {
        "type": "rect", "x0": i - 0.5, "x1": i + 0.5, "y0": k - 0.5, "y1": k + 0.5,
        "line": {"color": INK, "width": 4},
    }  # fmt: skip


def _cell_said(m: Mark, words: Words) -> str:
    if m.detection is None:
        return f"{_mark_word(m, words)}<br>{escape(m.said)}"
    return _mark_said(m, words)


def _map_axis(a: AxisWords) -> dict[str, Any]:
    return {
        "title": {"text": escape(a.name)}, "tickvals": list(range(len(a.values))),
        "ticktext": [escape(v) for v in a.values], "automargin": True, "fixedrange": True,
        "showgrid": False, "zeroline": False,
    }  # fmt: skip


def _axis(title: str) -> dict[str, Any]:
    return {
        "title": {"text": escape(title)}, "gridcolor": GRID, "linecolor": "#8d858a",
        "zeroline": False, "automargin": True, "fixedrange": True,
    }  # fmt: skip


def _layout(height: int) -> dict[str, Any]:
    return {
        "template": "none", "height": height, "margin": {"l": 10, "r": 10, "t": 10, "b": 10},
        "font": {"color": INK, "size": 14}, "hovermode": "closest", "showlegend": False,
        "dragmode": False,
    }  # fmt: skip
