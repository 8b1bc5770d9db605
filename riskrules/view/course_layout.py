"""The layout of the picture of a course: axes, titles, the shade over what is to come."""

from __future__ import annotations

from typing import Any

from riskrules.view.course import Course
from riskrules.view.course_draw import FOOT_PX, INK, LANE_PX, LINE, PALE, TOP_PX, Clock, Lanes
from riskrules.view.drawn import Say


def layout_of(c: Course, lanes: Lanes, clock: Clock, say: Say) -> dict[str, Any]:
    """Return axes, lane titles, the shade over what is to come, and the line of 'now'."""
    layout: dict[str, Any] = {
        "height": lanes.height, "barmode": "overlay", "hovermode": "closest",
        "margin": {"l": 86, "r": 10, "t": TOP_PX, "b": FOOT_PX}, "plot_bgcolor": "#ffffff",
        "paper_bgcolor": "#ffffff", "font": {"color": INK, "size": 12}, "bargap": 0,
        "hoverlabel": {"align": "left", "bgcolor": "#ffffff", "font": {"color": INK}},
        "legend": {"orientation": "h", "yref": "container", "y": 0, "yanchor": "bottom", "x": 0,
                   "xanchor": "left"},
        "uirevision": f"{c.block} {c.start} {c.end}",
        "xaxis": _x_axis(c, clock),
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


def _x_axis(c: Course, clock: Clock) -> dict[str, Any]:
    ends = [clock.one(c.start), clock.one(c.end)]
    return {
        "type": "date",
        "range": ends,
        "side": "bottom",
        "anchor": "free",
        "position": 0,
        "showspikes": True,
        "spikemode": "across",
        "spikesnap": "cursor",
        "spikethickness": 1,
        "spikecolor": LINE,
        "gridcolor": PALE,
        "minallowed": ends[0],
        "maxallowed": ends[1],
    }


def _ahead(c: Course, clock: Clock) -> list[dict[str, Any]]:
    edge = clock.one(c.now)
    line = {"color": INK, "width": 1.5, "dash": "dash"}
    common = {"xref": "x", "yref": "paper", "y0": 0, "y1": 1}
    return [
        {"type": "rect", "x0": edge, "x1": clock.one(c.end), "fillcolor": "#e9e2ee",
         "opacity": 0.55, "line": {"width": 0}, "layer": "below", **common},
        {"type": "line", "x0": edge, "x1": edge, "line": line, **common},
    ]  # fmt: skip


def _title(name: str, lanes: Lanes, say: Say) -> dict[str, Any]:
    return {
        "text": f"<b>{say(f'course.lane_{name}')}</b>", "x": 0, "xref": "paper",
        "xanchor": "left", "y": lanes.domains[name][1], "yref": "paper", "yanchor": "bottom",
        "showarrow": False, "font": {"size": 13, "color": INK},
    }  # fmt: skip


def _y_axis(name: str, c: Course, lanes: Lanes, say: Say) -> dict[str, Any]:
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
