"""The answer of the bench: what would change, what it costs, how it fits what scouts saw."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from dashboard import frame
from dashboard.frame import plain
from dashboard.parts.plain_table import show_table
from dashboard.words import say
from riskrules.tuning.asked import SHIPPED
from riskrules.tuning.record import WHATS, Record
from riskrules.tuning.runs import Run
from riskrules.tuning.scores import Estimate, Score
from riskrules.tuning.summary import Summary
from riskrules.tuning.sweep import Sweep, name_of
from riskrules.view import bench_result as view
from riskrules.view.bench_figure import map_figure, score_figure, sweep_figure

MOST_ROWS = 60
"""Rows of a table that the page shows; the record has more. (assumption)"""
CONFIG = {"displayModeBar": False, "responsive": True}
KINDS = ("detection", "false alarms", "success", "skill", "brier")


def show_record(page: frame.Page, run: Run) -> None:
    """Draw the answer of a replay, and offer the record."""
    record = view.record_at(run.data)
    st.download_button(
        say("bench.record"), run.record.read_bytes(), f"record_{run.id}.html", "text/html",
        key=f"record_{run.id}", on_click="ignore",
    )  # fmt: skip
    st.caption(say("bench.record_how"))
    for i, sweep in enumerate(record.sweeps):
        _sweep(page, run, record, sweep, i)
    titles = view.titles_of(page.desk.book)
    _changes(page, run, record, titles)
    for remark in record.remarks:
        st.info(plain(remark))
    for hazard in dict.fromkeys(s.hazard for s in record.scores):
        _scores(run, record.scores, hazard)
    _data(record)
    st.caption(say("bench.looking_back"))
    with st.expander(say("bench.again")):
        st.code(record.command, language=None, wrap_lines=True)
        st.text("\n".join(f"{name}: {version}" for name, version in record.versions.items()))


def _table(caption: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    show_table(caption, [say(f"bench.head_{h}") for h in heads], rows[:MOST_ROWS])
    if len(rows) > MOST_ROWS:
        st.caption(say("bench.first_rows", n=MOST_ROWS, of=len(rows)))


def _sweep(page: frame.Page, run: Run, record: Record, sweep: Sweep, i: int) -> None:
    """Draw a sweep: what it says, the chart or map, where each present value comes from."""
    st.subheader(say("bench.sweep" if len(sweep.axes) == 1 else "bench.map"))
    (st.success if sweep.tells else st.warning)(plain(sweep.said))
    for apart in record.apart[i : i + 1]:
        st.markdown(f"**{say('bench.apart')}.** {plain(apart.said)}")
    marks, axes = view.marks(sweep, page.style), view.axes(sweep, page.style)
    words = {"x": say("bench.x_alarms"), "y": say("bench.y_detection"), "now": say("bench.now"),
             "no_guide": say("bench.no_guide")}  # fmt: skip
    told = [m for m in marks if m.detection is not None]
    if not told:
        st.text(say("bench.nothing_drawn"))
    else:
        one = len(sweep.axes) == 1
        fig = sweep_figure(marks, words) if one else map_figure(marks, axes, words)
        alt = "; ".join(f"{m.words}: {m.detection:.2f}, {m.alarms:.2g}" for m in told)
        st.plotly_chart(fig, key=f"sweep_{run.id}_{i}", config=CONFIG, theme=None,
                        alt=say("bench.sweep_alt", words=alt))  # fmt: skip
        st.caption(say("bench.sweep_how" if one else "bench.map_how"))
    for a in axes:
        st.markdown(plain(say("bench.axis", name=a.name, present=a.present, source=a.source,
                              tag=a.tag, origin=a.origin)))  # fmt: skip
    with st.expander(say("bench.settings")):
        heads = ("setting", "foreseen", "false", "skill", "alarms", "hours")
        rows = [
            [m.words + (f" ({say('bench.now')})" if m.present else ""),
             *(_number(row.score.estimate(k)) for k in ("detection", "false alarms", "skill")),
             f"{m.alarms:.3g}", f"{m.hours:.1f}"]
            for m, row in zip(marks, sweep.rows, strict=True)
        ]  # fmt: skip
        _table(say("bench.settings"), heads, rows)


def _number(e: Estimate) -> str:
    if e.value is None:
        return e.said or say("bench.score_none")
    ends = "" if e.low is None or e.high is None else f" ({_span(e.low, e.high)})"
    return f"{e.value:.2f}{ends}"


def _span(low: float | None, high: float | None) -> str:
    if low is None or high is None:
        return say("bench.score_none")
    return say("bench.span", low=f"{low:.2f}", high=f"{high:.2f}")


def _changes(page: frame.Page, run: Run, record: Record, titles: dict[str, str]) -> None:
    """Draw what would change under one profile or setting, and what it would cost."""
    every: dict[str, tuple[Summary, str, str]] = {}
    for p in record.profiles:
        if p.name != record.summary.base:
            every[p.name] = (record.summary, p.name, say("bench.base_shipped"))
    for sweep, summary in zip(record.sweeps, record.swept, strict=False):
        base = view.setting(sweep.axes, [a.present for a in sweep.axes], page.style)
        for row in sweep.rows:
            if not row.present:
                words = view.setting(sweep.axes, row.values, page.style)
                every[words] = (summary, name_of(sweep.axes, row.values), base)
    if not every:
        return
    st.subheader(say("bench.changes"))
    chosen = st.selectbox(say("bench.setting"), list(every), key=f"setting_{run.id}")
    summary, name, base = every[chosen]
    st.caption(plain(say("bench.against", base=base)))
    counts = {w: summary.changed(name, w) for w in WHATS}
    more = round(summary.hours_of(name) - summary.hours_of(summary.base), 1)
    word = say("bench.fewer" if more < 0 else "bench.more")
    said = {f"{what}": n for what, n in counts.items()}
    st.text(say("bench.total", hours=f"{abs(more):g}", more=word, **said))
    rows = [
        [c.month, c.title, *(str(c.counts[w]) for w in WHATS),
         ", ".join(f"{block.replace('_', ' ')} ({n})" for block, n in c.blocks)]
        for c in view.changed(summary, name, titles)
    ]  # fmt: skip
    if rows:
        _table(say("bench.changes_table"), ("month", "rule", *WHATS, "blocks"), rows)
    else:
        st.text(say("bench.no_change"))
    _jobs(view.jobs(summary, name, page.desk.jobs), summary.base != SHIPPED)


def _jobs(costs: Sequence[view.JobCost], some: bool) -> None:
    """Draw the jobs whose hours change, and say what the others come to."""
    if not costs:
        return
    rows = [
        [c.words, *(say("bench.hours", n=f"{h:g}") for h in (c.before, c.after)), _more(c.more),
         c.source]
        for c in costs if c.more
    ]  # fmt: skip
    if rows:
        _table(say("bench.jobs"), ("job", "before", "after", "more", "hours_from"), rows)
    same = [c for c in costs if not c.more]
    if same:
        hours = round(sum(c.after for c in same), 1)
        st.caption(say("bench.jobs_same", n=len(same), hours=f"{hours:g}"))
    if some:
        st.caption(say("bench.jobs_hazard"))


def _more(hours: float) -> str:
    said = round(hours, 1)
    return say("bench.hours", n=f"{said:+g}" if said else "0")


def _scores(run: Run, scores: Sequence[Score], hazard: str) -> None:
    """Draw the scores for a hazard, what is to be said of them first."""
    name = hazard.replace("_", " ")
    st.subheader(plain(say("bench.scores", hazard=name)))
    several = len({s.profile for s in scores}) > 1
    lines = [
        say("bench.note_of", note=note, of=", ".join(of)) if several else note
        for note, of in view.notes(scores, hazard)
    ]
    if lines:
        st.warning("\n".join(f"- {plain(words[:1].upper() + words[1:])}" for words in lines))
    latency = next((s.latency for s in scores if s.hazard == hazard), None)
    if latency is not None:
        st.caption(plain(say("bench.latency", least=f"{latency.least:g}",
                             most=f"{latency.most:g}", source=latency.source,
                             tag=latency.tag)))  # fmt: skip
    bars = view.bars(scores, hazard)
    told = [b for b in bars if b.value is not None]
    if not told:
        st.text(say("bench.nothing_drawn"))
        return
    names = {k: say(f"bench.score_{k}") for k in KINDS}
    words = {"x": say("bench.x_score"), "no_guide": say("bench.no_guide")}
    alt = "; ".join(f"{b.of}, {names[b.name]}: {b.value:.2f}" for b in told)
    st.plotly_chart(score_figure(bars, names, words), key=f"scores_{run.id}_{hazard}",
                    config=CONFIG, theme=None, alt=say("bench.scores_alt", words=alt))  # fmt: skip
    st.caption(say("bench.scores_how"))
    with st.expander(say("bench.scores_table")):
        heads = ("profile", "score", "value", "interval", "open", "cases", "note")
        rows = [
            [b.of, names[b.name], say("bench.score_none") if b.value is None else f"{b.value:.2f}",
             _span(b.low, b.high), _span(b.least, b.most), str(b.cases), b.said]
            for b in bars
        ]  # fmt: skip
        _table(say("bench.scores", hazard=name), heads, rows)


def _data(record: Record) -> None:
    """Draw what the data cover, what is missing, and why something could not be told."""
    st.subheader(say("bench.data"))
    covers = record.summary.covers
    st.text(say(
        "bench.covered", n=len(covers), blocks=len({c.block for c in covers}),
        seasons=len({c.season for c in covers}), counts=sum(c.sightings for c in covers),
        looked=sum(1 for c in covers if c.sightings),
    ))  # fmt: skip
    short = view.short(record)
    if short:
        rows = [[c.season, c.block.replace("_", " "), f"{c.share:.0%}"] for c in short]
        with st.expander(say("bench.short_of", n=len(short), of=len(covers))):
            _table(say("bench.missing"), ("season", "block", "share"), rows)
    else:
        st.text(say("bench.no_missing"))
    causes = view.unknown(record)
    if causes:
        with st.expander(say("bench.open_n", n=sum(n for _, n in causes), most=causes[0][0])):
            _table(say("bench.unknown"), ("cause", "times"), [[c, str(n)] for c, n in causes])
    else:
        st.text(say("bench.no_unknown"))
