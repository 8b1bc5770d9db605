"""'In the rows', what is written down with one tap: covers, water, picks, stages, work, limits."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import streamlit as st

from dashboard.frame import plain
from dashboard.scout import Room, keep_items
from dashboard.scout_stop import photo_box
from dashboard.words import say
from riskrules.commands.journal_words import said
from riskrules.journal.records import Record
from riskrules.journal.stale import SAID, Stale, stale
from riskrules.view.rows_quick import (
    WATER,
    Holding,
    holding,
    last_written,
    one_taps,
    stage_words,
    values_of,
    water_body,
)
from riskrules.view.rows_records import back

SHOWN = ("row_cover", "sides", "film", "straw", "stages")


def draw(room: Room) -> None:
    """Draw what can be written down, what nobody confirmed for long, and what was written."""
    if not room.ready:
        st.warning(say("rows.name_first"))
    _stale(room)
    held = holding(room.desk.events, room.name, room.hand.time)
    _covers(room, held)
    _stages(room, held)
    _pick(room)
    _water(room)
    _work(room)
    _limit(room)
    _note(room)
    _written(room)


def _keep(room: Room, body: dict[str, Any], end: int | None = None, start: int | None = None,
          note: str = "") -> bool:  # fmt: skip
    values = values_of(room.name, body, room.hand, end, note, start)
    return keep_items(room, [values], say("rows.kept"))


def _tap(
    room: Room, body: dict[str, Any], end: int | None = None, start: int | None = None
) -> None:  # fmt: skip
    _keep(room, body, end, start)


def _stale(room: Room) -> None:
    found = [s for s in stale(room.journal, room.hand.time, room.desk.book.shared, room.name)]
    for one in found:
        with st.container(border=True):
            st.markdown(plain(one.question))
            with st.container(horizontal=True, key=f"big_stale_{one.state}"):
                st.button(say("rows.still"), key=f"still_{one.state}", disabled=not room.ready,
                          on_click=_same, args=(room, one), type="primary")  # fmt: skip
            st.caption(say("rows.not_still"))


def _same(room: Room, one: Stale) -> None:
    same = one.same(room.hand.who, room.hand.time)
    record = same.model_copy(update={"made": room.hand.made, "came_by": "dashboard"})
    keep_items(room, [record], say("rows.kept"))


def _covers(room: Room, held: dict[str, Holding]) -> None:
    st.subheader(say("rows.covers"))
    for state in SHOWN[:4]:
        if state in held:
            words = SAID[state, held[state].what]
            st.markdown(plain(say("rows.holds", what=words, when=room.moment(held[state].since))))
    with st.container(horizontal=True, key="big_covers"):
        for name, body in one_taps(room.block, "covers"):
            st.button(say(f"rows.do_{name}"), key=f"do_{name}", disabled=not room.ready,
                      on_click=_tap, args=(room, dict(body)))  # fmt: skip


def _stages(room: Room, held: dict[str, Holding]) -> None:
    st.subheader(say("rows.stages"))
    words = stage_words()
    if "stages" in held:
        codes = ", ".join(held["stages"].what.split())
        st.markdown(plain(say("rows.stages_held", codes=codes,
                              when=room.moment(held["stages"].since))))  # fmt: skip
    chosen = st.pills(
        say("rows.stages_now"), list(words), selection_mode="multi", key="rows_stages",
        format_func=lambda code: f"{code} {words[code]}",
    )  # fmt: skip
    with st.container(key="big_stages"):
        st.button(say("rows.stages_keep"), disabled=not (room.ready and chosen),
                  on_click=_keep_stages, args=(room,))  # fmt: skip


def _keep_stages(room: Room) -> None:
    codes = sorted(st.session_state.get("rows_stages") or [])
    if _keep(room, {"kind": "stages", "codes": codes}):
        st.session_state["rows_stages"] = []


def _pick(room: Room) -> None:
    st.subheader(say("rows.pick"))
    kilos = st.number_input(say("rows.kilos"), min_value=0.0, value=None, step=1.0,
                            key="rows_kilos")  # fmt: skip
    with st.container(key="big_pick"):
        st.button(
            say("rows.picked"), disabled=not room.ready, on_click=_tap,
            args=(room, {"kind": "pick", "state": "done", "weight_kg": kilos}),
        )  # fmt: skip


def _water(room: Room) -> None:
    st.subheader(say("rows.water"))
    way = st.radio(say("rows.water_how"), WATER, key="rows_water", horizontal=True,
                   format_func=lambda w: say(f"rows.water_{w}"))  # fmt: skip
    hours = st.number_input(say("rows.water_hours"), 0.0, 100.0, 1.0, 0.25, key="rows_hours")
    with st.container(key="big_water"):
        end = room.hand.time if hours else None
        start = room.hand.time - int(hours * 3600)
        st.button(say("rows.watered"), disabled=not room.ready, on_click=_tap,
                  args=(room, water_body(way), end, start))  # fmt: skip


def _work(room: Room) -> None:
    st.subheader(say("rows.work"))
    with st.container(horizontal=True, key="big_work"):
        for name, body in one_taps(room.block, "work"):
            st.button(say(f"rows.do_{name}"), key=f"do_{name}", disabled=not room.ready,
                      on_click=_tap, args=(room, dict(body)))  # fmt: skip


def _limit(room: Room) -> None:
    with st.expander(say("rows.limit"), icon=":material/block:"):
        st.caption(say("rows.limit_about"))
        what = st.radio(say("rows.limit_what"), ("entry", "pick"), key="rows_limit",
                        horizontal=True, format_func=lambda w: say(f"rows.limit_{w}"))  # fmt: skip
        by = st.radio(say("rows.limit_by"), ("label", "rule"), key="rows_limit_by",
                      horizontal=True, format_func=lambda w: say(f"rows.by_{w}"))  # fmt: skip
        now = datetime.fromtimestamp(room.hand.time, room.page.farm.zone)
        face = (now + timedelta(days=1)).replace(tzinfo=None, minute=0, second=0, microsecond=0)
        until = st.datetime_input(say("rows.limit_until"), value=face, key="rows_until")
        end = int(until.replace(tzinfo=room.page.farm.zone).timestamp()) if until else None
        body = {"kind": "limit", "what": what, "set_by": by}
        st.button(say("rows.keep"), key="keep_limit", disabled=not (room.ready and end),
                  on_click=_tap, args=(room, body, end))  # fmt: skip


def _note(room: Room) -> None:
    with st.expander(say("rows.free_note"), icon=":material/edit_note:"):
        st.text_area(say("rows.free_words"), key="rows_free", max_chars=3500, height=90)
        st.button(say("rows.keep"), key="keep_free", disabled=not room.ready,
                  on_click=_keep_note, args=(room,))  # fmt: skip
        photo_box(room, "free", lambda known: _photo_note(room, known))


def _keep_note(room: Room) -> None:
    words = str(st.session_state.get("rows_free") or "").strip()
    if words and _keep(room, {"kind": "note", "text": words}):
        st.session_state["rows_free"] = ""


def _photo_note(room: Room, known: str) -> None:
    words = str(st.session_state.get("rows_free") or "").strip() or say("rows.just_photo")
    _keep(room, {"kind": "note", "text": words, "photos": [known]})


def _written(room: Room) -> None:
    found = last_written(room.journal.records(room.name), room.name)
    st.subheader(say("rows.written"))
    if not found:
        st.caption(say("rows.written_none"))
    for record in found:
        with st.container(horizontal=True, vertical_alignment="center", key=f"w_{record.id}"):
            st.markdown(plain(say(
                "rows.written_line", when=room.moment(record.time), who=record.who,
                what=said(record, room.page.style, room.symptoms),
            )))  # fmt: skip
            st.button(say("rows.take_back"), key=f"back_{record.id}", disabled=not room.ready,
                      on_click=_back, args=(room, record))  # fmt: skip


def _back(room: Room, record: Record) -> None:
    hand = room.hand
    keep_items(room, [back(record, hand, say("rows.taken_why"))], say("rows.taken_back"))
