"""The lanes of a block's loggers as a Plotly figure."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from riskrules.logs.report import ABSENT
from riskrules.view.loggers import DRAWN, Drawn, Lane, Piece
from riskrules.view.scale import colour

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

FILL: dict[Drawn, str] = {
    "good": colour(0.12), "doubted": colour(0.85), "filled": colour(0.5), "borrowed": colour(0.5),
    "missing": "#ffffff",
}  # fmt: skip
PATTERN: dict[Drawn, str] = {
    "good": "", "doubted": "", "filled": ".", "borrowed": "x", "missing": "/",
}  # fmt: skip
"""Each kind is told by its pattern too, not by colour alone."""
LINE = "#6b6368"
LANE_PX, MORE_PX = 46, 150


def figure(
    lanes: Sequence[Lane],
    zone: ZoneInfo,
    names: Mapping[str, str],
    label: Callable[[Lane], str],
    hover: Callable[[Lane, Piece], str],
) -> Figure:
    """Return the lanes over time, on the farm's clock.

    Parameters
    ----------
    lanes : sequence of Lane
    zone : ZoneInfo
        The farm's clock.
    names : mapping
        What each way of drawing is called in the legend.
    label, hover : callable
        The name of a lane, and what is said of a piece; both are shown as plain text.
    """
    import plotly.graph_objects as go

    made = go.Figure()
    rows = {id(lane): _plain(label(lane)) for lane in lanes}
    for drawn in DRAWN:
        some = [(lane, p) for lane in lanes for p in lane.pieces if p.drawn == drawn]
        starts = [_face(p.start, zone) for _, p in some]
        ends = [_face(p.end, zone) for _, p in some]
        made.add_trace(go.Bar(
            name=names[drawn], orientation="h", y=[rows[id(lane)] for lane, _ in some],
            base=starts, x=[(b - a).total_seconds() * 1000 for a, b in
                            zip(starts, ends, strict=True)],
            width=0.62 if drawn != "good" else 0.5, showlegend=True,
            marker={"color": FILL[drawn], "line": {"color": LINE, "width": 0.6},
                    "pattern": {"shape": PATTERN[drawn], "fgcolor": LINE, "bgcolor": FILL[drawn],
                                "size": 6}},
            hovertext=[_plain(hover(lane, p)) for lane, p in some], hoverinfo="text",
        ))  # fmt: skip
    made.update_layout(
        barmode="overlay", height=MORE_PX + LANE_PX * max(1, len(lanes)), dragmode="pan",
        margin={"l": 8, "r": 8, "t": 44, "b": 8}, plot_bgcolor="#ffffff", paper_bgcolor="#ffffff",
        font={"color": "#1d1a1c", "size": 14}, hovermode="closest",
        legend={"orientation": "h", "y": -0.02, "yanchor": "top", "x": 0},
        xaxis={"type": "date", "side": "top", "gridcolor": "#ddd6da", "automargin": True},
        yaxis={"autorange": "reversed", "automargin": True, "fixedrange": True},
    )  # fmt: skip
    return made


def _face(seconds: int, zone: ZoneInfo) -> datetime:
    return datetime.fromtimestamp(seconds, zone).replace(tzinfo=None)


def _plain(text: str) -> str:
    """Return text of which Plotly takes nothing for a tag; its <br> is ours."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace("\n", "<br>")


def said_of(lane: Lane) -> dict[str, int]:
    """Return the counts of a lane as it is drawn: of which kind how many steps.

    Examples
    --------
    >>> counts = dict.fromkeys(("passed", "not_evaluated", "suspect", "failed", "missing",
    ...                         "filled", "borrowed", "absent"), 1)
    >>> said_of(Lane("a", "a", "air_temperature", (), counts))
    {'good': 2, 'doubted': 1, 'filled': 1, 'borrowed': 1, 'missing': 3}
    """
    c = lane.counts
    return {
        "good": c["passed"] + c["not_evaluated"], "doubted": c["suspect"], "filled": c["filled"],
        "borrowed": c["borrowed"], "missing": c["missing"] + c["failed"] + c[ABSENT],
    }  # fmt: skip
