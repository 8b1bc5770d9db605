"""A farm of one's own in three steps: place and clock, blocks, logs."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import streamlit as st

from dashboard import frame
from dashboard.frame import plain
from dashboard.parts.plain_table import show_table
from dashboard.words import say
from riskrules.logs.mapping import Placed
from riskrules.logs.propose import Proposal
from riskrules.view.first import (
    KINDS,
    BlockDraft,
    LogDraft,
    PlaceDraft,
    begin_farm,
    draft_of,
    draft_problems,
    draft_text,
    farms_folder,
    look_at,
    zones,
)

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


@frame.for_roles("grower")
def make(place: PlaceDraft, blocks: list[BlockDraft], logs: list[LogDraft]) -> tuple[Path, int]:
    """Write the farm and open it; return its file and how many rows were read."""
    file, taken = begin_farm(farms_folder(), place, blocks, logs)
    frame.use_farm(file)
    return file, sum(t.rows for t in taken)


def own_farm() -> None:
    """Draw the three steps. What was said stands in the address, so that a reload keeps it."""
    place, blocks = draft_of(st.query_params.get("draft", ""))
    st.subheader(say("first.step_place"))
    place = _place(place)
    st.subheader(say("first.step_blocks"))
    made = _blocks(blocks)
    st.query_params["draft"] = draft_text(place, made)
    st.subheader(say("first.step_logs"))
    st.text(say("first.logs_about"))
    logs = [log for b in made if b.name and (log := _log(b)) is not None]
    problems = draft_problems(place, made)
    for problem in problems:
        st.caption(plain(say("first.missing", problem=problem)))
    st.text(say("first.where", folder=farms_folder()))
    if st.button(say("first.make"), type="primary", disabled=bool(problems), key="make"):
        with frame.troubles(), st.spinner(say("first.making")):
            file, rows = make(place, made, logs)
        st.session_state["begun"] = say("first.made", file=file, rows=rows)
        st.query_params.clear()
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


def _log(block: BlockDraft) -> LogDraft | None:
    """Ask for a block's log, show how it would be read, and return it as agreed."""
    given = st.file_uploader(
        say("first.log", block=block.words), [k[1:] for k in KINDS], key=f"log_{block.name}"
    )
    if given is None:
        return None
    data = given.getvalue()
    with frame.troubles():
        found = look_at(data, given.name)
    _show_proposal(block, found)
    mapping = st.text_area(
        say("first.mapping", block=block.words), found.text, height=220,
        key=f"mapping_{block.name}_{given.file_id}", max_chars=20_000,
    )  # fmt: skip
    return LogDraft(block.name, given.name, data, mapping)


def _show_proposal(block: BlockDraft, found: Proposal) -> None:
    if found.rows:
        head = [str(k).replace("_", " ") for k in found.rows[0]]
        rows = [[str(v) for v in row.values()] for row in found.rows[:5]]
        show_table(say("first.rows", block=block.words), head, rows)
    for doubt in found.doubts:
        st.warning(plain(doubt), icon=":material/help:")
