"""A farm of one's own in three steps: place and clock, blocks, logs."""

from __future__ import annotations

import time
from html import escape
from pathlib import Path
from typing import Literal

import streamlit as st

from dashboard import frame
from dashboard.frame import plain
from dashboard.parts.plain_table import show_table
from dashboard.words import say
from riskrules.errors import FileProblems
from riskrules.logs.mapping import Placed
from riskrules.logs.propose import Proposal
from riskrules.view.first import (
    KINDS,
    LARGEST,
    BlockDraft,
    LogDraft,
    PlaceDraft,
    begin_farm,
    draft_problems,
    farms_folder,
    look_at,
    zones,
)
from riskrules.view.first_draft import Draft, Given, draft_of, drafts

UNITS: tuple[Literal["degC", "degF"], ...] = ("degF", "degC")
GROUNDS: tuple[Literal["plastic", "straw", "bare"] | None, ...] = (None, "plastic", "straw", "bare")
PLANTS: tuple[Literal["day_neutral", "june_bearing"] | None, ...] = (
    None,
    "day_neutral",
    "june_bearing",
)
TUNNELS: tuple[Literal["low_tunnel", "open"] | None, ...] = (None, "low_tunnel", "open")
COVERS = (None, True, False)
PLACED: tuple[Placed, ...] = ("under_cover", "outside", "in_bed")


NAME = "first_draft"
"""Key of the draft's name, in the address and for other pages and back in the session."""
AWAY = "first_away"
"""Session key of the draft that the next tap throws away."""
Agreed = tuple[int, str, str]
"""A log as it was agreed on: which block it is of, that block's name, and the mapping."""


@frame.for_roles("grower")
def make(
    draft: Draft, place: PlaceDraft, blocks: list[BlockDraft], agreed: list[Agreed]
) -> tuple[Path, int]:
    """Write the farm and open it; return its file and how many rows were read."""
    found = [draft.log(*log) for log in agreed]
    logs: list[LogDraft] = [log for log in found if log is not None]
    file, taken = begin_farm(farms_folder(), place, blocks, logs)
    frame.use_farm(file)
    draft.end()
    return file, sum(t.rows for t in taken)


@frame.for_roles("grower")
def keep(draft: Draft, place: PlaceDraft, blocks: list[BlockDraft]) -> None:
    """Keep what was typed."""
    draft.say(place, blocks, int(time.time()))


@frame.for_roles("grower")
def keep_log(draft: Draft, i: int, file: str, data: bytes) -> None:
    """Keep a log that was given."""
    draft.give(i, file, data)


@frame.for_roles("grower")
def keep_mapping(draft: Draft, i: int, given: Given, mapping: str) -> None:
    """Keep how a log is to be read."""
    draft.map(i, given, mapping)


@frame.for_roles("grower")
def leave_out(draft: Draft, i: int) -> None:
    """Leave a log out again."""
    draft.leave_out(i)


@frame.for_roles("grower")
def throw_away(draft: Draft) -> None:
    """Take a draft away that nobody wants."""
    draft.end()


def own_farm() -> None:
    """Draw the three steps. What was said is kept on disk; the address says where."""
    draft = draft_of(st.query_params.get("draft") or st.session_state.get(NAME, ""))
    with frame.troubles():
        said = draft.said
        if said is None:
            _others()
    st.subheader(say("first.step_place"))
    place = _place(said.place if said else None)
    st.subheader(say("first.step_blocks"))
    made = _blocks(said.blocks if said else ())
    with frame.troubles():
        keep(draft, place, made)
        _remember(draft)
    st.subheader(say("first.step_logs"))
    st.text(say("first.logs_about"))
    problems = draft_problems(place, made)
    agreed = []
    for i, block in enumerate(made):
        if block.name:
            mapping = _log(draft, i, block, problems)
            agreed += [] if mapping is None else [(i, block.name, mapping)]
    for problem in problems:
        st.caption(plain(say("first.missing", problem=problem)))
    st.text(say("first.where", folder=farms_folder()))
    if st.button(say("first.make"), type="primary", disabled=bool(problems), key="make"):
        with frame.troubles(), st.spinner(say("first.making")):
            file, rows = make(draft, place, made, agreed)
        _forget()
        st.session_state["begun"] = say("first.made", file=file, rows=rows)
        st.rerun()


def _remember(draft: Draft) -> None:
    """Let the address name the draft, once something of it is kept."""
    if draft.folder.is_dir():
        st.session_state[NAME] = draft.name
        if st.query_params.get("draft") != draft.name:
            st.query_params["draft"] = draft.name


def _forget() -> None:
    st.session_state.pop(NAME, None)
    st.query_params.pop("draft", None)


def _others() -> None:
    """Offer what was begun before and not made yet."""
    others = drafts()
    if others:
        st.text(say("first.begun_before"))
    for draft in others:
        found = draft.said
        if found is None:
            continue
        name = " ".join(found.place.farm.split()) or say("first.no_name")
        age = frame.age_words(int(time.time()) - found.begun)
        words = escape(say("first.go_on", farm=name, age=age))
        # A link, so that every field begins anew with what that draft says.
        st.html(f'<a class="rr-link" href="?draft={draft.name}" target="_self">{words}</a>')
        sure = st.session_state.get(AWAY) == draft.name
        words = say("first.throw_sure" if sure else "first.throw_away", farm=name)
        if not st.button(plain(words), key=f"away_{draft.name}"):
            continue
        if sure:
            throw_away(draft)
        st.session_state[AWAY] = "" if sure else draft.name
        st.rerun()


def _place(before: PlaceDraft | None) -> PlaceDraft:
    old = before or PlaceDraft("", None, None, "")
    name = st.text_input(say("first.farm"), old.farm, key="farm", max_chars=100)
    left, right = st.columns(2)
    latitude = left.number_input(
        say("first.latitude"), -90.0, 90.0, old.latitude, format="%.4f", key="latitude"
    )
    longitude = right.number_input(
        say("first.longitude"), -180.0, 180.0, old.longitude, format="%.4f", key="longitude"
    )
    left, right = st.columns(2)  # a row at a time: on a phone they stand in this order
    names = zones()
    at = names.index(old.zone) if old.zone in names else None
    zone = left.selectbox(say("first.zone"), names, at, key="zone",
                          placeholder=say("first.zone_choose"))  # fmt: skip
    units = right.radio(
        say("first.units"), UNITS, UNITS.index(old.temperature),
        format_func=lambda u: say(f"frame.units_{u}"), key="first_units",
    )  # fmt: skip
    return PlaceDraft(name, latitude, longitude, zone or "", units)


def _blocks(before: tuple[BlockDraft, ...]) -> list[BlockDraft]:
    count = int(st.number_input(
        say("first.how_many"), 1, 60, max(len(before), 1), key="how_many"
    ))  # fmt: skip
    old = [*before, *(BlockDraft("") for _ in range(count))][:count]
    return [_block(i, b) for i, b in enumerate(old)]


def _block(i: int, old: BlockDraft) -> BlockDraft:
    with st.container(border=True):
        words = st.text_input(
            say("first.block", n=i + 1), old.words, key=f"block_{i}", max_chars=40
        )
        left, right = st.columns(2)
        tunnel = left.selectbox(
            say("first.tunnel", n=i + 1), TUNNELS, TUNNELS.index(old.tunnel),
            format_func=lambda v: say(f"first.tunnel_{v}"), key=f"tunnel_{i}",
        )  # fmt: skip
        covers = right.selectbox(
            say("first.covers", n=i + 1), COVERS, COVERS.index(old.row_covers),
            format_func=lambda v: say(f"first.covers_{v}"), key=f"covers_{i}",
        )  # fmt: skip
        left, right = st.columns(2)
        ground = left.selectbox(
            say("first.ground", n=i + 1), GROUNDS, GROUNDS.index(old.ground),
            format_func=lambda v: say(f"first.ground_{v}"), key=f"ground_{i}",
        )  # fmt: skip
        plants = right.selectbox(
            say("first.plants", n=i + 1), PLANTS, PLANTS.index(old.plants),
            format_func=lambda v: say(f"first.plants_{v}"), key=f"plants_{i}",
        )  # fmt: skip
        placed = left.selectbox(
            say("first.placed", n=i + 1), PLACED, PLACED.index(old.placed),
            format_func=lambda v: say(f"first.placed_{v}"), key=f"placed_{i}",
        )  # fmt: skip
    return BlockDraft(words, tunnel, covers, ground, plants, placed)


def _log(draft: Draft, i: int, block: BlockDraft, problems: list[str]) -> str | None:
    """Ask for a block's log, show how it would be read, and return the mapping agreed on."""
    given = draft.given(i)
    if given is not None:
        size = f"{max(1, round(given.size / 1000)):,}"
        st.text(say("first.log_kept", block=block.words, file=given.file, size=size))
        if st.button(plain(say("first.log_out", block=block.words)), key=f"out_{i}"):
            leave_out(draft, i)
            st.rerun()
    _ask_log(draft, i, block, given is not None)
    if given is None:
        return None
    try:
        found = _proposal(str(draft.log_path(given)), given.file)
    except FileProblems as error:
        st.error(plain(say("first.log_wrong", block=block.words)))
        st.text("\n".join(p.message for p in error.problems[:20]))
        problems.append(say("first.log_needed", block=block.words))
        return None
    _show_proposal(block, found)
    mapping = st.text_area(
        say("first.mapping", block=block.words),
        found.text if given.mapping is None else given.mapping, height=220,
        key=f"mapping_{i}_{given.sha256[:16]}", max_chars=20_000,
    )  # fmt: skip
    if given.mapping is not None or mapping != found.text:
        with frame.troubles():
            keep_mapping(draft, i, given, mapping)
    return mapping


def _ask_log(draft: Draft, i: int, block: BlockDraft, again: bool) -> None:
    """Draw the box for a log; what is given is kept at once, and the box is empty again."""
    turn = int(st.session_state.get(f"turn_{i}", 0))
    label = say("first.log_again" if again else "first.log", block=block.words)
    new = st.file_uploader(
        label, [k[1:] for k in KINDS], key=f"log_{i}_{turn}",
        max_upload_size=LARGEST // 1_000_000,
    )  # fmt: skip
    if new is None:
        return
    try:
        keep_log(draft, i, new.name, new.getvalue())
    except FileProblems as error:
        st.error("\n".join(plain(p.message) for p in error.problems[:20]))
        return
    _remember(draft)
    st.session_state[f"turn_{i}"] = turn + 1
    st.rerun()


@st.cache_data(show_spinner=False, max_entries=8)
def _proposal(path: str, file: str) -> Proposal:
    """Look at a log that is kept; its path names its bytes by their hash."""
    return look_at(Path(path).read_bytes(), file)


def _show_proposal(block: BlockDraft, found: Proposal) -> None:
    if found.rows:
        head = [str(k).replace("_", " ") for k in found.rows[0]]
        rows = [[str(v) for v in row.values()] for row in found.rows[:5]]
        show_table(say("first.rows", block=block.words), head, rows)
    for doubt in found.doubts:
        st.warning(plain(doubt), icon=":material/help:")
