"""'In the rows', taken along: the sheet to print, the form for a phone, and what comes back."""

from __future__ import annotations

from functools import partial
from typing import Any

import streamlit as st

from dashboard import frame
from dashboard.frame import plain
from dashboard.scout import WRITES, Room, lines
from dashboard.scout_walk import open_walk
from dashboard.words import say
from riskrules.errors import FileProblems, RiskRulesError
from riskrules.journal.phone import FILE_LIMIT
from riskrules.journal.records import Record
from riskrules.view.rows_keep import Outcome, view_for
from riskrules.view.rows_take import take_along, take_back_in

KINDS = {"pdf": "application/pdf", "html": "text/html", "phone": "text/html", "csv": "text/csv"}


def draw(room: Room) -> None:
    """Draw what can be taken along of the open walk, and the box for what comes back."""
    walk = open_walk(room)
    if walk is None:
        st.info(say("rows.along_none"))
    else:
        _along(room, walk)
    _back(room)


def _along(room: Room, walk: Record) -> None:
    st.subheader(say("rows.along"))
    st.markdown(say("rows.along_about", n=len(getattr(walk.body, "stops", ()))))
    stem = f"walk_{room.name}_{str(walk.id)[:8]}"
    for kind, mime in KINDS.items():
        name = f"{stem}_phone.html" if kind == "phone" else f"{stem}.{kind}"
        make = partial(_made, kind, room, walk)
        with st.container(key=f"big_along_{kind}"):
            st.download_button(say(f"rows.get_{kind}"), data=make, file_name=name, mime=mime,
                               key=f"get_{kind}", on_click="ignore")  # fmt: skip
        st.caption(say(f"rows.get_{kind}_about"))


def _made(kind: str, room: Room, walk: Record) -> bytes:
    farm = room.page.farm.text.farm
    return take_along(kind, farm, walk, room.symptoms, room.hand.who).data


def _back(room: Room) -> None:
    st.subheader(say("rows.back_title"))
    st.markdown(say("rows.back_about"))
    given = st.file_uploader(
        say("rows.back_file"), type=["json", "csv", "txt", "tsv"], key="rows_back",
        max_upload_size=FILE_LIMIT // 1_000_000, disabled=not room.ready,
    )  # fmt: skip
    if not room.ready:
        st.caption(say("rows.name_first"))
    if given is None:
        return
    sure = st.session_state.get("rows_back_sure") == given.file_id
    if not sure and not st.button(say("rows.back_take"), type="primary"):
        return
    try:
        found = _take(room, given.getvalue(), sure)
    except FileProblems as error:
        st.error(say("rows.back_wrong"))
        lines(_where(p) for p in error.problems[:40])
        return
    except RiskRulesError as error:
        st.error(plain(say("rows.refused", why=str(error))))
        return
    _told(found, given.file_id)


def _where(problem: Any) -> str:
    return say("rows.back_place", line=problem.line, column=problem.column, what=problem.message)


@frame.for_roles(*WRITES)
def _take(room: Room, data: bytes, sure: bool) -> Outcome:
    view = view_for(room.journal, room.desk.farm, room.hand.made)
    return take_back_in(data, room.journal, room.desk.farm, room.symptoms, view, sure)


def _told(found: Outcome, file_id: str) -> None:
    for sentence in found.wrong:
        st.error(plain(say("rows.refused", why=sentence)))
    if found.asked:
        st.warning(say("rows.asks"))
        lines(found.asked)
        st.button(say("rows.yes"), type="primary", key="rows_back_yes",
                  on_click=lambda: st.session_state.update(rows_back_sure=file_id))  # fmt: skip
    if found.kept:
        states = [k.state for k in found.kept]
        st.success(say("rows.back_kept", new=states.count("new"), known=states.count("known")))
        if "differs" in states:
            st.warning(say("rows.differs"))
