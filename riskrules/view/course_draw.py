"""What the picture of a course is drawn with: its lanes, its clock, and bars."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from datetime import UTC, datetime
from html import escape
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from riskrules.logs.readings import Ints
from riskrules.show import Style
from riskrules.view.course import STATES, Course

INK, GREY, PALE, LINE = "#1d1a1c", "#5d555a", "#efe9e4", "#8d858a"
ROW_PX, GAP_PX, TOP_PX, FOOT_PX = 24, 34, 40, 140
LANE_PX = {"temperature": 190, "humidity": 110, "rain": 90}
POINT_ROWS = ("picks", "water", "seen", "work", "limits")
WRAP = 60
"""Letters in a line of what the pointer shows."""
LETTERS = 60
"""Letters as wide as the whole time axis on a small screen. (assumption)"""


class Lanes:
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


class Clock:
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


def bars_of(
    spans: Sequence[tuple[int, int]],
    heights: Sequence[float],
    hover: Sequence[str],
    axis: str,
    clock: Clock,
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


def hatched() -> dict[str, Any]:
    """Return the marker of what is not known."""
    return {
        "color": "#ffffff", "line": {"color": LINE, "width": 0.5},
        "pattern": {"shape": "/", "fgcolor": GREY, "bgcolor": "#ffffff", "size": 6,
                    "solidity": 0.25},
    }  # fmt: skip


def fits(text: str, start: int, end: int, c: Course) -> bool:
    """Return whether a text has room in a bar of the whole span's picture."""
    return len(text) * (c.end - c.start) / LETTERS < end - start
