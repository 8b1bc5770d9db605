"""The pieces of the page of a block's course; what they show is made by `riskrules.view`."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from html import escape
from typing import Any

import streamlit as st

from dashboard import look
from dashboard.frame import Page, plain
from dashboard.who import request_headers
from dashboard.words import language, say
from riskrules.view.course import BINS, Course, course
from riskrules.view.course_figure import course_figure
from riskrules.view.course_table import course_tables
from riskrules.view.desk import Desk

SPANS = ("2", "7", "30", "0", "own")
"""Days back from now; 0 is the whole log, 'own' two dates."""
CONFIG = {"displaylogo": False, "scrollZoom": False, "responsive": True,
          "modeBarButtonsToRemove": ["lasso2d", "select2d"]}  # fmt: skip


def draw(page: Page) -> None:
    """Draw the choices, and the course of the block and span chosen."""
    desk = page.desk
    block = _block(desk)
    first, last = _days(desk)
    table = _view() == "table"
    drag = "Mobi" not in request_headers().get("User-Agent", "")
    key = (str(desk.farm_file), desk.fingerprint(), block, first, last, language(), drag)
    figure, tables, about = _made(key, desk)
    st.caption(plain(about["resolution"]))
    if about["shift"]:
        st.caption(say("course.shift"))
    if table:
        _tables(tables)
    else:
        st.plotly_chart(figure, theme=None, config=CONFIG, key=f"course_{block}_{first}_{last}",
                        alt=about["alt"])  # fmt: skip
        st.caption(say("course.drag" if drag else "course.tap"))
    style = f"color:{look.PLUM};line-height:2.75rem"
    st.html(f'<a style="{style}" href="dawn?u={page.units}" target="_self">'
            f'{escape(say("course.back"))}</a>')  # fmt: skip


def _block(desk: Desk) -> str:
    names = list(desk.blocks())
    asked = st.query_params.get("block")
    if "course_block" not in st.session_state:
        st.session_state["course_block"] = asked if asked in names else names[0]
    chosen = st.selectbox(say("course.block"), names, key="course_block")
    if chosen != asked:
        st.query_params["block"] = chosen
    return str(chosen)


def _days(desk: Desk) -> tuple[date, date]:
    """Draw the choice of a span, and return its first and last day by the farm's clock."""
    today = datetime.fromtimestamp(desk.now, desk.style.zone).date()
    asked = st.query_params.get("span", "7")
    if "course_span" not in st.session_state:
        st.session_state["course_span"] = asked if asked in SPANS else "7"
    span = st.radio(
        say("course.span"), SPANS, format_func=lambda s: say(f"course.span_{s}"),
        key="course_span", horizontal=True,
    )  # fmt: skip
    if span != asked:
        st.query_params["span"] = str(span)
    begins = _begins(desk)
    if span == "own":
        return _own_days(begins, today)
    first = begins if span == "0" else today - timedelta(days=int(span or 7))
    return max(first, begins), today


def _begins(desk: Desk) -> date:
    """Return the day of the first row of all logs."""
    times = [int(r.time[0]) for b in desk.logs for r in b.sources if len(r.time)]
    return datetime.fromtimestamp(min(times), desk.style.zone).date()


def _own_days(begins: date, today: date) -> tuple[date, date]:
    week = max(begins, today - timedelta(days=7))
    left, right = st.columns(2)
    given = (_date("from", week, begins, today), _date("to", today, begins, today))
    first = left.date_input(say("course.first"), given[0], begins, today)
    last = right.date_input(say("course.last"), given[1], begins, today)
    first, last = min(first, last), max(first, last)
    st.query_params["from"], st.query_params["to"] = first.isoformat(), last.isoformat()
    return first, last


def _date(name: str, default: date, least: date, most: date) -> date:
    try:
        found = date.fromisoformat(st.query_params.get(name, ""))
    except ValueError:
        return default
    return min(max(found, least), most)


def _view() -> str:
    asked = st.query_params.get("view", "picture")
    if "course_view" not in st.session_state:
        st.session_state["course_view"] = asked if asked in ("picture", "table") else "picture"
    chosen = st.radio(
        say("course.view"), ("picture", "table"), format_func=lambda v: say(f"course.as_{v}"),
        key="course_view", horizontal=True,
    )  # fmt: skip
    if chosen != asked:
        st.query_params["view"] = chosen
    return str(chosen)


@st.cache_data(show_spinner=False, max_entries=40)
def _made(key: tuple[Any, ...], _desk: Desk) -> tuple[Any, dict[str, Any], dict[str, Any]]:
    """Return the figure, the tables and what there is to say of them, made once for a key."""
    block, first, last = key[2], key[3], key[4]
    review = _desk.review_of(block, first, last)
    c = course(review, block, _desk.readings(block), _desk.events, *review.window)
    about = {"resolution": _resolution(c), "shift": _shift(c), "alt": _alt(c)}
    return course_figure(c, say, look.SEVERITY, key[-1]), course_tables(c, say), about


def _resolution(c: Course) -> str:
    if not c.thinned:
        return say("course.whole")
    return say("course.thinned", long=_long((c.end - c.start) / BINS))


def _long(seconds: float) -> str:
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"


def _shift(c: Course) -> bool:
    ends = [datetime.fromtimestamp(t, c.style.zone).utcoffset() for t in (c.start, c.end)]
    return ends[0] != ends[1]


def _alt(c: Course) -> str:
    return say("course.alt", block=c.block, start=c.style.moment(c.start),
               end=c.style.moment(c.end), findings=len(c.findings),
               unknowns=len(c.unknowns))  # fmt: skip


def _tables(tables: dict[str, Any]) -> None:
    """Draw tables as real ones, which screen readers read; never as pictures of tables."""
    for title, rows in tables.items():
        st.subheader(say(title))
        if rows:
            st.table([{plain(k): plain(v) for k, v in row.items()} for row in rows],
                     hide_index=True)  # fmt: skip
        else:
            st.text(say("course.t_nothing"))
