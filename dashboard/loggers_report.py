"""'Loggers': how old the data are, what came of each value, troubles, and files set aside."""

from __future__ import annotations

import time
from collections.abc import Sequence

import streamlit as st

from dashboard.frame import Page, plain
from dashboard.loggers_table import table
from dashboard.scout import choice
from dashboard.words import has, say
from riskrules.journal.counts import percent
from riskrules.logs.report import LogReport, TroubleRows
from riskrules.view.age import age_of
from riskrules.view.loggers import DRAWN, Age, Lane, Piece, ages, lanes, sums, troubles_of
from riskrules.view.loggers_figure import figure, said_of

OUT = "_outside"
WHOLE_FARM = "outside"
"""In the page's address: the loggers of the air outside, which no block can be named like."""


def clock_now() -> int:
    """Return the time by this computer's clock. [s since 1970 UTC]"""
    return int(time.time())


def variable(name: str) -> str:
    """Return what people call a variable."""
    bare = name.removesuffix(OUT)
    words = say(f"variable.{bare}") if has(f"variable.{bare}") else bare.replace("_", " ")
    return say("variable.outside", name=words) if name.endswith(OUT) else words


def block_word(block: str) -> str:
    """Return what people call a block; '' is the air outside."""
    return block or say("loggers.outside")


def draw(page: Page) -> None:
    """Draw the log report."""
    desk = page.desk
    _ages(page, ages(desk.farm, desk.logs, clock_now()))
    report = desk.report()
    _sums(report)
    blocks = [b.block for b in sums(report)]
    if not blocks:
        return
    names = {b or WHOLE_FARM + ".": b for b in blocks}
    chosen = names[choice(say("loggers.block"), list(names), "lb", lambda b: block_word(names[b]))]
    _lanes(page, chosen, lanes(report, chosen))
    _troubles(page, troubles_of(report, chosen))
    _files(report, chosen)
    _aside(page, report)


def _ages(page: Page, found: Sequence[Age]) -> None:
    st.subheader(say("loggers.ages"))
    late = [a for a in found if a.state in ("silent", "never", "ahead")]
    if late:
        st.warning(say("loggers.some_silent", n=len(late), all=len(found)),
                   icon=":material/sensors_off:")  # fmt: skip
    else:
        st.markdown(say("loggers.quiet_all"))
    head = [say(f"loggers.age_col_{k}") for k in ("what", "state", "last")]
    rows = [
        (f"{block_word(a.block)}, {a.sensor}", _age_words(a),
         page.style.moment(a.last) if a.last else "–")
        for a in found
    ]  # fmt: skip
    table(say("loggers.ages"), head, rows)


def _age_words(a: Age) -> str:
    if a.age_s is None or a.state in ("never", "ahead", "forecast"):
        return say(f"loggers.age_{a.state}")
    unit, n = age_of(a.age_s)
    return say(f"loggers.age_{a.state}", age=say(f"frame.{unit}", n=n), allowed=f"{a.allowed_h:g}")


def share(value: float) -> str:
    """Return a share in words that never call a little nothing.

    Examples
    --------
    >>> share(0.0001), share(1.0), share(0.99999), share(0.0)
    ('under 0.1 %', '100 %', 'over 99.9 %', '0 %')
    """
    return percent(value, 0 if value in (0.0, 1.0) else 1)


def _sums(report: LogReport) -> None:
    st.subheader(say("loggers.sum_title"))
    head = [
        say(f"loggers.sum_{k}") for k in ("block", "good", "doubted", "made", "missing", "rows")
    ]
    rows = [
        (block_word(b.block), *map(share, (b.good, b.doubted, b.made, b.missing)), f"{b.rows:,}")
        for b in sums(report)
    ]
    table(say("loggers.sum_title"), head, rows)


def lane_word(lane: Lane, alone: bool = False) -> str:
    """Return the name of a lane; without its sensor where that is ``alone`` in the block."""
    if alone and not lane.forecast:
        return variable(lane.variable)
    key = "loggers.lane_forecast" if lane.forecast else "loggers.lane"
    return say(key, variable=variable(lane.variable), sensor=lane.sensor)


def lane_sentence(lane: Lane) -> str:
    """Return a lane's counts as a sentence."""
    counts = {k: f"{n:,}" for k, n in said_of(lane).items()}
    return say("loggers.lane_words", lane=lane_word(lane), **counts)


def _lanes(page: Page, block: str, some: Sequence[Lane]) -> None:
    st.subheader(say("loggers.lanes"))
    if not some:
        st.info(say("loggers.lanes_none"))
        return

    def hover(lane: Lane, piece: Piece) -> str:
        values = {"lane": lane_word(lane), "state": say(f"loggers.state_{piece.state}"),
                  "span": page.style.span(piece.start, piece.end)}  # fmt: skip
        if piece.rows is None:
            return say("loggers.hover", **values)
        return say("loggers.hover_rows", n=f"{piece.rows:,}", **values)

    names: dict[str, str] = {d: say(f"loggers.drawn_{d}") for d in DRAWN}
    alone = len({lane.sensor for lane in some}) == 1
    drawn = figure(some, page.farm.zone, names, lambda x: lane_word(x, alone), hover)
    words = " ".join(lane_sentence(lane) for lane in some)
    st.plotly_chart(
        drawn, key=f"lanes_{block}", theme=None,
        config={"displayModeBar": False, "scrollZoom": True},
        alt=say("loggers.lanes_alt", block=block_word(block), words=words),
    )  # fmt: skip
    st.caption(say("loggers.lanes_how"))
    with st.expander(say("loggers.in_words")):
        st.markdown("\n".join(f"- {plain(lane_sentence(lane))}" for lane in some))


def _troubles(page: Page, some: Sequence[TroubleRows]) -> None:
    st.subheader(say("loggers.troubles"))
    if not some:
        st.markdown(say("loggers.troubles_none"))
    for t in some:
        key = "loggers.trouble" if t.variable else "loggers.trouble_rows"
        title = say(key, words=t.words, n=f"{t.count:,}", variable=variable(t.variable),
                    sensor=t.sensor)  # fmt: skip
        with st.container(border=True):
            st.markdown(f"**{plain(title[:1].upper() + title[1:])}**")
            if t.first is not None and t.last is not None:
                st.caption(plain(say("loggers.trouble_span", first=page.style.moment(t.first),
                                     last=page.style.moment(t.last))))  # fmt: skip
            e = t.example
            key = "loggers.trouble_example" if e.line else "loggers.trouble_example_no_line"
            st.markdown(plain(say(key, file=e.file, line=e.line, says=e.says)))
            if e.row:
                st.code(e.row, language=None, wrap_lines=True)


def _files(report: LogReport, block: str) -> None:
    with st.expander(say("loggers.files")):
        names = ("name", "sensor", "read", "use", "refused", "repeated", "replaced")
        rows = [
            (f.file, f.sensor, *(f"{n:,}" for n in (f.read, f.in_use, f.refused, f.repeated,
                                                    f.replaced)))
            for f in report.files if f.block == block
        ]  # fmt: skip
        table(say("loggers.files"), [say(f"loggers.file_{n}") for n in names], rows)


def _aside(page: Page, report: LogReport) -> None:
    st.subheader(say("loggers.aside"))
    store = page.desk.store
    asides = store.asides() if store is not None else ()
    if not asides and not report.aside:
        st.markdown(say("loggers.aside_none"))
        return
    st.caption(say("loggers.aside_about"))
    for a in asides:
        if a.resolved:
            st.markdown(plain(say("loggers.aside_resolved", file=a.file)))
            continue
        st.markdown(plain(say("loggers.aside_when", file=a.file,
                              when=page.style.moment(a.read_at))))  # fmt: skip
        st.text("\n".join(str(p) for p in a.problems[:12]))
    if not asides:
        st.text("\n".join(str(p) for p in report.aside[:40]))
