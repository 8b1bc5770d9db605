"""The course of a block: no peak lost, no hole drawn over, every finding where it holds."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from dashboard.look import SEVERITY  # noqa: E402
from dashboard.words import say  # noqa: E402
from riskrules.facts.state import DAY_S  # noqa: E402
from riskrules.findings.model import SEVERITIES  # noqa: E402
from riskrules.logs.events import Event  # noqa: E402
from riskrules.view.course import course  # noqa: E402
from riskrules.view.course_draw import said  # noqa: E402
from riskrules.view.course_figure import course_figure  # noqa: E402
from riskrules.view.course_lanes import (  # noqa: E402
    quality_stretches,
    state_stretches,
    worst_stretches,
)
from riskrules.view.course_table import course_tables  # noqa: E402
from riskrules.view.desk import open_desk  # noqa: E402
from riskrules.view.reasons import seconds_of  # noqa: E402
from riskrules.view.thin import bar_width, sums, thin  # noqa: E402

VALUES = st.lists(st.one_of(st.floats(-40, 60), st.just(float("nan"))), min_size=1, max_size=400)


@settings(max_examples=80, deadline=None)
@given(VALUES, st.integers(1, 40))
def test_thinning_keeps_the_ends_of_each_bin(values, bins):
    value = np.array(values)
    time = np.arange(len(value), dtype=np.int64) * 900
    end = int(time[-1])
    t, v = thin(time, value, 0, end, bins, 900)
    there = np.isfinite(v)
    if not np.isfinite(value).any():
        assert len(t) == 0
        return
    read = set(zip(time.tolist(), value.tolist(), strict=True))
    assert set(zip(t[there].tolist(), v[there].tolist(), strict=True)) <= read
    assert (np.diff(t) >= 0).all()
    width = max(end / bins, 1.0)
    good = np.isfinite(value)
    for b in np.unique((time[good] / width).astype(int)):
        of_bin = value[good][(time[good] / width).astype(int) == b]
        drawn = v[there][(t[there] / width).astype(int) == b]
        assert (drawn.min(), drawn.max()) == (of_bin.min(), of_bin.max())
    if good.sum() > 2 * bins:
        assert there.sum() <= 2 * (bins + 1)


def test_a_hole_breaks_the_line():
    time = np.concatenate([np.arange(100), np.arange(300, 400)]).astype(np.int64) * 900
    for bins in (20, 500):
        t, v = thin(time, np.ones(200), 0, int(time[-1]), bins, 900)
        holes = t[np.isnan(v)]
        assert len(holes) == 1 and 99 * 900 < holes[0] < 300 * 900


def test_sums_of_rain_lose_nothing_and_say_what_is_missing():
    time = np.arange(1, 49, dtype=np.int64) * 3600
    value = np.full(48, 0.5)
    value[10] = np.nan
    start, total, peak, missing = sums(time, value, 0, 48 * 3600, 24 * 3600)
    assert start.tolist() == [0, 24 * 3600]
    assert total.tolist() == [11.5, 12.0] and peak.tolist() == [0.5, 0.5]
    assert missing.tolist() == [1, 0]
    _, none, _, n = sums(time, np.full(48, np.nan), 0, 48 * 3600, 24 * 3600)
    assert np.isnan(none).all() and n.tolist() == [24, 24], "no reading is not no rain"


@pytest.mark.parametrize(("days", "hours"), [(2, 1), (10, 1), (30, 3), (200, 24), (3000, 168)])
def test_bars_stay_few(days, hours):
    assert bar_width(0, days * DAY_S) == hours * 3600


@pytest.fixture(scope="module")
def desk():
    return open_desk(ROOT / "sample_logs" / "farm.yaml")


def made(desk, block="north_beds", first=None, last=None):
    review = desk.review(first, last)
    return course(review, block, desk.readings(block), desk.events, *review.window)


def test_stale_states_are_unknown(desk):
    shared = desk.book.shared
    limit = int(shared["cover_stale"].value * DAY_S)
    events = [Event(1000, "row_cover", "on"), Event(1000 + 3 * limit, "row_cover", "off")]
    found = state_stretches(events, "row_cover", 0, 1000 + 3 * limit + 50, shared)
    assert [(s.start, s.end, s.word) for s in found] == [
        (0, 1000, "unknown"), (1000, 1000 + limit, "on"),
        (1000 + limit, 1000 + 3 * limit, "unknown"),
        (1000 + 3 * limit, 1000 + 3 * limit + 50, "off"),
    ]  # fmt: skip
    assert [s.word for s in state_stretches([], "sides", 0, 9, shared)] == ["unknown"]
    assert [s.word for s in state_stretches([], "sides", 0, 9, shared, "no tunnel")] == [
        "no tunnel"
    ]


def test_state_lane_agrees_with_the_facts(desk):
    """Covered hours of nights by the facts against the lane: drawn from the same records."""
    c = made(desk, first=date(2026, 10, 13), last=date(2026, 10, 20))
    facts = next(b for b in desk.review().blocks if b.text.block == "north_beds").facts
    for night in facts["night"]:
        lo, hi = night.start[0], night.end[1]
        if lo < c.start or hi > c.now:
            continue
        on = sum(max(0, min(s.end, hi) - max(s.start, lo)) for s in c.states
                 if s.row == "row_cover" and s.word == "on")  # fmt: skip
        assert on / 3600 == pytest.approx(night.quantities["cover_hours"].most, abs=0.3)


def test_quality_of_messy_logs():
    desk = open_desk(ROOT / "sample_logs" / "messy" / "farm.yaml")
    words = set()
    for block in desk.blocks():
        c = made(desk, block, date(2026, 6, 14), date(2026, 6, 16))
        words |= {s.word for s in c.quality}
        assert all(c.start <= s.start < s.end <= min(c.end, c.now) for s in c.quality)
    assert {"missing", "doubted", "filled"} <= words


def test_what_no_source_measures_is_missing_all_along(desk):
    found = quality_stretches(None, "relative_humidity", 0, 100, 0, "humidity")
    assert [(s.start, s.end, s.word) for s in found] == [(0, 100, "missing")]


def test_worst_stretches_hide_no_finding(desk):
    c = made(desk, first=date(2026, 7, 1), last=date(2026, 7, 20))
    shown = {f.id for w in c.worst for f in w.findings}
    assert shown == {f.id for f in c.findings}
    for w in c.worst:
        ranks = [SEVERITIES.index(f.severity) for f in w.findings]
        assert ranks == sorted(ranks)
        for f in w.findings:
            assert seconds_of(f.start) <= w.start
            assert w.end <= max(seconds_of(f.end), seconds_of(f.start) + 900)
    assert worst_stretches((), 0, 10) == []


def test_figure_says_the_sentence_and_sets_the_forecast_apart(desk):
    c = made(desk)
    figure = course_figure(c, say, SEVERITY)
    text = " ".join(t for trace in figure.data for t in (trace.hovertext or ()))
    flat = text.replace("<br>", " ")
    for f in c.findings:
        assert said(f.sentence).replace("<br>", " ") in flat
    dashed = [t for t in figure.data if t.type == "scatter" and t.line.dash == "dash"]
    assert dashed and all(min(t.x) >= _clock(c, c.now) for t in dashed)
    shade = [s for s in figure.layout.shapes if s.type == "rect"]
    assert len(shade) == 1 and shade[0].x0 == _clock(c, c.now)
    axes = {t.xaxis for t in figure.data}
    assert axes == {"x"}, "one time axis, so that zoom is shared"
    hatched = [t for t in figure.data if t.type == "bar" and t.marker.pattern.shape == "/"]
    assert hatched


def _clock(c, seconds):
    from datetime import UTC, datetime

    local = datetime.fromtimestamp(seconds, c.style.zone).replace(tzinfo=UTC)
    return local.timestamp() * 1000


def test_hover_obeys_no_marks_of_people(desk):
    c = made(desk)
    bad = replace(c, done=(replace(c.done[0], word="<a href='x'>y</a>"),))
    text = course_figure(bad, say, SEVERITY).to_json()
    assert "<a href" not in text


def test_a_season_at_15_minutes_is_small_enough(desk):
    """Aim: under 1 MB to send for 19 000 rows; the peak of the log is in what is drawn."""
    c = made(desk, first=date(2026, 4, 2), last=date(2026, 10, 20))
    inside = next(k for k in c.curves if (k.lane, k.name) == ("temperature", "inside"))
    rows = desk.readings("north_beds")[0]
    own = rows.values["air_temperature"][(rows.time >= c.start) & ~rows.forecast]
    assert np.nanmax(inside.value) == np.nanmax(own) and np.nanmin(inside.value) == np.nanmin(own)
    assert inside.rows > 19_000 and len(inside.time) < 1_600 and c.thinned
    figure = course_figure(c, say, SEVERITY).to_json()
    assert len(figure) < 1_000_000
    assert json.loads(figure)["layout"]["xaxis"]["type"] == "date"


def test_tables_hold_all_that_is_drawn(desk):
    c = made(desk)
    tables = course_tables(c, say)
    shown = [row[say("course.t_sentence")] for row in tables["course.t_findings"]]
    assert sorted(shown) == sorted(f.sentence for f in c.findings)
    assert len(tables["course.t_unknowns"]) == len(c.unknowns)
    assert len(tables["course.t_done"]) == len(c.done)
    assert len(tables["course.t_days"]) == 4
    assert "forecast" in str(tables["course.t_days"][-2])
