"""A question to the bench, in four steps: in words, which seasons, what is tried, and go."""

from __future__ import annotations

import time
from collections.abc import Sequence
from datetime import datetime

import streamlit as st

from dashboard import frame
from dashboard.frame import plain
from dashboard.parts.bench_run import open_run, start
from dashboard.parts.plain_table import show_table
from dashboard.words import say
from riskrules.tuning.runs import Run
from riskrules.tuning.scores import FEWEST_SEEN
from riskrules.view.bench import (
    MOST_VALUES,
    SeasonHere,
    Varied,
    hazards_not_scored,
    months_at_hand,
    profiles_at_hand,
    question_of,
    seasons_at_hand,
    values_between,
    varied,
    work_of,
)
from riskrules.view.thresholds import exact, from_shown, to_shown

WAYS = ("one", "two", "profiles")
FIRST, SECOND = "gray_mold.humid_long", "gray_mold.flower_attention"
"""The numbers that are offered first; nothing rests on them."""
ENOUGH = 0.9
Tried = dict[str, object]


def ask(page: frame.Page, active: Run | None) -> None:
    """Draw the steps of a question, and begin its replay."""
    st.subheader(say("bench.step_question"))
    question = st.text_area(
        say("bench.question"), key="bench_question", max_chars=2000, height=80,
        placeholder=say("bench.question_hint"),
    )  # fmt: skip
    st.subheader(say("bench.step_seasons"))
    chosen = _seasons(page)
    if chosen is None:
        return
    asked, here = chosen
    st.subheader(say("bench.step_tried"))
    tried = _tried(page, sorted({s.season for s in here}))
    st.subheader(say("bench.step_run"))
    who = page.visitor.name or st.text_input(say("bench.who"), key="bench_who", max_chars=200)
    _go(page, active, here, {"question": question.strip(), "who": who.strip(), **asked, **tried})


def _seasons(page: frame.Page) -> tuple[Tried, list[SeasonHere]] | None:
    """Ask which seasons and blocks; None where there are none."""
    first, last = months_at_hand(page.desk)
    left, right = st.columns(2)
    months = list(range(1, 13))
    begin = left.selectbox(say("bench.month_first"), months, first - 1, format_func=_month,
                           key="bench_first")  # fmt: skip
    end = right.selectbox(say("bench.month_last"), months, last - 1, format_func=_month,
                          key="bench_last")  # fmt: skip
    every = seasons_at_hand(page.desk, (begin, end))
    if not every:
        st.info(say("bench.none_at_hand"))
        return None
    seasons = _some("bench.seasons", sorted({s.season for s in every}), f"seasons_{begin}_{end}")
    blocks = _some("bench.blocks", sorted({s.block for s in every}), "blocks")
    here = [s for s in every if (not seasons or s.season in seasons)
            and (not blocks or s.block in blocks)]  # fmt: skip
    if not here:
        st.info(say("bench.none_at_hand"))
        return None
    _at_hand(here)
    asked: Tried = {"months": (begin, end), "seasons": tuple(seasons), "blocks": tuple(blocks)}
    return asked, here


def _month(n: int) -> str:
    return say(f"bench.month_{n}")


def _some(label: str, names: list[str], key: str) -> list[str]:
    """Ask for some of a few names; none chosen means all."""
    return st.multiselect(say(label), names, key=f"bench_{key}", placeholder=say("bench.all"),
                          format_func=lambda n: n.replace("_", " "))  # fmt: skip


def _at_hand(here: Sequence[SeasonHere]) -> None:
    head = [say(f"bench.head_{h}") for h in ("season", "block", "share", "counts", "seen")]
    rows = [
        [s.season, s.block.replace("_", " "), f"{s.share:.0%}", str(s.counts), str(s.seen)]
        for s in here
    ]
    with st.expander(say("bench.at_hand"), expanded=len(here) <= 8):
        show_table(say("bench.at_hand"), head, rows)
    short = sum(s.share < ENOUGH for s in here)
    if short:
        st.caption(say("bench.short", n=short, of=len(here)))
    seen = sum(s.seen for s in here)
    if seen < FEWEST_SEEN:
        st.warning(say("bench.few_seen", n=seen, least=FEWEST_SEEN))
    if len({s.season for s in here}) == 1:
        st.warning(say("bench.one_season"))


def _tried(page: frame.Page, seasons: list[str]) -> Tried:
    """Ask what is tried: profiles, one number, or two."""
    way = st.radio(say("bench.way"), WAYS, format_func=lambda w: say(f"bench.way_{w}"),
                   key="bench_way")  # fmt: skip
    found = _profiles(page, seasons) if way == "profiles" else _numbers(page, way == "two", seasons)
    others = ", ".join(h.replace("_", " ") for h in hazards_not_scored())
    st.caption(say("bench.not_scored", hazards=others))
    return found


def _profiles(page: frame.Page, seasons: list[str]) -> Tried:
    every = {str(p.path): p for p in profiles_at_hand(page.desk)}
    if not every:
        st.info(say("bench.no_profiles"))
        return {}
    words = {
        key: say("bench.profile_own" if p.own else "bench.profile", title=p.title,
                 version=p.version, n=p.changes)
        for key, p in every.items()
    }  # fmt: skip
    chosen = st.multiselect(
        say("bench.profiles"), list(every), [k for k, p in every.items() if p.own][:1],
        format_func=words.__getitem__, key="bench_profiles", placeholder=say("bench.none"),
    )  # fmt: skip
    by = st.multiselect(say("bench.chosen_profile"), seasons, key="bench_by_profile",
                        placeholder=say("bench.none"))  # fmt: skip
    if by:
        st.warning(say("bench.chosen_warn", seasons=", ".join(by)))
    return {"profiles": tuple(chosen), "chosen_by": tuple(by)}


def _numbers(page: frame.Page, two: bool, seasons: list[str]) -> Tried:
    every = {v.words.key: v for v in varied(page.desk.book, page.style)}
    keys, vary = [], []
    for n, first in enumerate((FIRST, SECOND) if two else (FIRST,), 1):
        key = _number(every, n, first, two)
        keys.append(key)
        vary.append((key, _values(page, every[key], n, MOST_VALUES[int(two)])))
    if len({*keys}) < len(keys):
        st.error(say("bench.same_number"))
        return {}
    by = [h for h in every[keys[0]].hazards if all(h in every[k].hazards for k in keys)]
    hazard = st.selectbox(say("bench.hazard"), by, format_func=lambda h: h.replace("_", " "),
                          key=f"bench_hazard_{'_'.join(keys)}")  # fmt: skip
    apart: list[str] = []
    if len(seasons) > 1:
        apart = st.multiselect(say("bench.chosen_value"), seasons, key="bench_by_value",
                               placeholder=say("bench.none"))  # fmt: skip
        if len(apart) == len(seasons):
            st.warning(say("bench.chosen_warn", seasons=", ".join(apart)))
    if not hazard:
        return {}
    return {"vary": tuple(vary), "hazard": hazard, "chosen_by": tuple(apart)}


def _number(every: dict[str, Varied], n: int, first: str, two: bool) -> str:
    names = list(every)
    label = say("bench.number_n", n=n) if two else say("bench.number")
    words = {k: f"{v.words.name} ({k.partition('.')[0].replace('_', ' ')})"
             for k, v in every.items()}  # fmt: skip
    at = names.index(first) if first in names else 0
    return st.selectbox(label, names, at, format_func=words.__getitem__, key=f"bench_number_{n}")


def _values(page: frame.Page, v: Varied, n: int, most: int) -> tuple[float, ...]:
    """Ask for a range in the units chosen, and return the values in the pack's."""
    t, style = v.words, page.style
    st.text(f"{t.means}")
    st.caption(plain(say("bench.is_now", value=t.shown, range=t.shown_range, source=t.source,
                         tag=t.tag, origin=t.origin)))  # fmt: skip
    low, high = (to_shown(x, t.unit, style) for x in (t.least, t.most))
    unit = style.unit(t.unit).strip() or say("bench.plain")
    a, b, c = st.columns(3)
    key = f"{t.key}_{n}_{style.temperature}"
    given = [
        box.number_input(say(label, unit=unit), low, high, value, format="%.4g",
                         key=f"bench_{name}_{key}")
        for box, label, name, value in ((a, "bench.from", "from", low), (b, "bench.to", "to", high))
    ]  # fmt: skip
    many = int(c.number_input(say("bench.many"), 2, most, min(5, most), key=f"bench_many_{key}"))
    ends = [min(max(from_shown(x, t.unit, style), t.least), t.most) for x in given]
    values = values_between(*ends, many)
    said = ", ".join(exact(x, t.unit, style) for x in values)
    st.text(say("bench.values", values=said))
    return values


def _go(
    page: frame.Page, active: Run | None, here: Sequence[SeasonHere], asked: Tried
) -> None:  # fmt: skip
    vary, profiles = asked.get("vary", ()), asked.get("profiles", ())
    work = work_of(len(here), vary, len(profiles))  # type: ignore[arg-type]
    st.text(say("bench.work", n=len(here), work=work))
    if active is not None:
        st.caption(say("bench.busy"))
    if not st.button(say("bench.start"), type="primary", key="bench_start"):
        return
    if not (vary or profiles):
        st.error(say("bench.needs_profile"))
        return
    if not asked["who"]:
        st.error(say("bench.needs_who"))
        return
    today = datetime.fromtimestamp(time.time(), page.desk.farm.zone).date().isoformat()
    with frame.troubles(), st.spinner(say("bench.beginning")):
        run = start(page.desk, question_of(page.desk, when=today, **asked))
    open_run(run.id)
