"""'In the rows', the walk: planned, gone stop by stop, and what it says in the end."""

from __future__ import annotations

from datetime import datetime
from typing import cast

import streamlit as st

from dashboard.frame import plain
from dashboard.scout import Room, choice, file_events, keep_items, put, told
from dashboard.scout_stop import draw_stop
from dashboard.words import say
from riskrules.journal.records import Block, Record
from riskrules.journal.walks import Pattern
from riskrules.view.rows import (
    PER_STOP,
    Purpose,
    WalkShown,
    new_walk,
    open_walks,
    seed_of,
    shown,
    size_of,
)
from riskrules.view.rows_quick import values_of
from riskrules.view.rows_records import Key

PLAN, OVER = "new", "end"


def draw(room: Room) -> None:
    """Draw the walk that is open, or the form to plan one."""
    walk = open_walk(room)
    if walk is None:
        _plan(room)
        return
    seen = shown(room.journal, walk, room.symptoms, added())
    _progress(room, seen)
    stop = st.query_params.get("stop", "")
    if stop == OVER:
        _over(room, seen)
    else:
        number = seen.at(int(stop) if stop.isdecimal() and len(stop) < 6 else 0).number
        _nav(seen, number, "top")
        draw_stop(room, seen, seen.at(number), file_events(room.desk))
        _nav(seen, number, "end")
    with st.expander(say("rows.plan_another"), icon=":material/add_location_alt:"):
        st.button(say("rows.plan_new"), on_click=lambda: put(walk=PLAN, stop=None))


def open_walk(room: Room) -> Record | None:
    """Return the walk that the page's address names, or the newest that may be gone on with."""
    named = st.query_params.get("walk", "")
    if named == PLAN:
        return None
    walks = open_walks(room.journal, room.name, room.hand.time)
    return next((w for w in walks if named and str(w.id).startswith(named)),
                walks[0] if walks else None)  # fmt: skip


def added() -> list[Key]:
    """Return the symptoms that the page's address adds to the walk."""
    found = [text.partition("/") for text in st.query_params.get("also", "").split(",") if text]
    return [(symptom, part) for symptom, _, part in found[:20]]


def _progress(room: Room, seen: WalkShown) -> None:
    total = len(seen.stops)
    st.progress(seen.done / total, text=say("rows.progress", done=seen.done, all=total))
    if seen.walk.note:
        with st.expander(say("rows.why_so_many"), icon=":material/calculate:"):
            st.markdown(plain(seen.walk.note))
            st.caption(say("rows.planned_by", who=plain(seen.walk.who),
                           when=plain(room.moment(seen.walk.time))))  # fmt: skip


def _nav(seen: WalkShown, number: int, where: str) -> None:
    last = len(seen.stops)
    before = str(number - 1) if number > 1 else None
    after = str(number + 1) if number < last else OVER
    with st.container(horizontal=True, key=f"nav_{where}"):
        st.button(say("rows.back"), key=f"back_{where}", disabled=before is None,
                  on_click=lambda: put(stop=before), icon=":material/arrow_back:")  # fmt: skip
        st.button(say("rows.next" if after != OVER else "rows.to_end"), key=f"next_{where}",
                  on_click=lambda: put(stop=after), icon=":material/arrow_forward:",
                  type="primary")  # fmt: skip


def _over(room: Room, seen: WalkShown) -> None:
    st.subheader(say("rows.sum_title"))
    for key in seen.keys:
        total = seen.total(key)
        title = f"{room.symptoms.title(key[0])}, {room.symptoms.part_title(key[1]).lower()}"
        st.markdown(f"**{plain(title)}**")
        st.markdown(plain(total.words) if total else say("rows.sum_nothing"))
    left = [s.number for s in seen.stops if s.state != "done"]
    if left:
        st.info(say("rows.sum_open", stops=", ".join(map(str, left))))
        st.button(say("rows.go_on", stop=left[0]), type="primary",
                  on_click=lambda: put(stop=str(left[0])))  # fmt: skip
    else:
        st.success(say("rows.sum_done"), icon=":material/check:")
    st.caption(say("rows.sum_kept"))
    last = max((r.end or r.time for r in seen.counts.values()), default=0)
    if last > room.page.now:
        st.caption(plain(say("rows.sum_ahead", moment=room.moment(room.page.now))))


def _about(room: Room) -> Block:
    return room.journal.blocks().get(room.name, Block())


def _plan(room: Room) -> None:
    st.subheader(say("rows.plan_title"))
    about = _about(room)
    if about.beds is None or about.bed_length is None:
        _beds(room, about)
        return
    purpose = _purpose()
    left, right = st.columns(2)
    with left:
        per_stop = int(st.number_input(say("rows.per_stop"), 1, 1000, PER_STOP, key="rows_per"))
    names = list(room.symptoms.symptoms)
    with right:
        looks = st.multiselect(
            say("rows.look_for"), names, default=["gray_mold"], key="rows_looks",
            format_func=room.symptoms.title,
        )  # fmt: skip
    pattern = cast(Pattern, choice(
        say("rows.pattern"), ["random", "zigzag", "all_beds"], "way",
        lambda p: say(f"rows.pattern_{p}"),
    ))  # fmt: skip
    try:
        size = size_of(about, per_stop, purpose)
    except ValueError as error:
        st.error(plain(str(error)))
        return
    if size:
        st.markdown(plain(size.words))
    with st.container(key="big_plan"):
        st.button(
            say("rows.plan"), type="primary", disabled=not (room.ready and looks),
            on_click=_planned, args=(room, about, per_stop, purpose, pattern, tuple(looks)),
        )  # fmt: skip
    if not room.ready:
        st.caption(say("rows.name_first"))


def _purpose() -> Purpose:
    kind = choice(say("rows.purpose"), ["see", "know", "stops"], "aim",
                  lambda k: say(f"rows.purpose_{k}"))  # fmt: skip
    if kind == "see":
        share = st.select_slider(say("rows.see_share"), [1, 2, 5, 10], 2, key="rows_see",
                                 format_func=lambda p: f"{p} %")  # fmt: skip
        return Purpose("see", share=share / 100)
    if kind == "know":
        left, right = st.columns(2)
        about = left.number_input(say("rows.about_share"), 1, 99, 10, key="rows_about")
        within = right.number_input(say("rows.within"), 1, 50, 5, key="rows_within")
        return Purpose("know", share=about / 100, within=within / 100)
    stops = st.number_input(say("rows.how_many_stops"), 1, 1000, 20, key="rows_stops")
    return Purpose("stops", stops=int(stops))


def _planned(
    room: Room, about: Block, per_stop: int, purpose: Purpose, pattern: Pattern,
    looks: tuple[str, ...],
) -> None:  # fmt: skip
    day = f"{datetime.fromtimestamp(room.hand.time, room.page.farm.zone):%Y-%m-%d}"
    try:
        walk = new_walk(room.name, about, per_stop, purpose, pattern, looks, room.hand,
                        seed_of(room.name, day))  # fmt: skip
    except ValueError as error:
        told("wrong", say("rows.refused", why=str(error)))
        return
    if keep_items(room, [walk], say("rows.planned")):
        put(walk=str(walk.id)[:13], stop="1", also=None)


def _beds(room: Room, about: Block) -> None:
    """Ask what a plan of stops needs: how many beds, how long, how many plants."""
    st.markdown(say("rows.beds_why"))
    with st.form("rows_beds"):
        beds = st.number_input(say("rows.beds"), 1, 10_000, about.beds or 4, step=1)
        length = st.number_input(say("rows.bed_length"), 1.0, 10_000.0, about.bed_length or 50.0)
        plants = st.number_input(say("rows.plants"), 0, 1_000_000, about.plants_per_bed or 0,
                                 step=1, help=say("rows.plants_help"))  # fmt: skip
        sent = st.form_submit_button(say("rows.keep"), type="primary", disabled=not room.ready)
    if not room.ready:
        st.caption(say("rows.name_first"))
    if sent:
        body = about.model_dump() | {"beds": int(beds), "bed_length": float(length),
                                     "plants_per_bed": int(plants) or None}  # fmt: skip
        if keep_items(room, [values_of(room.name, body, room.hand)], say("rows.kept")):
            st.rerun()
