"""What the parts of 'In the rows' share: whose hand writes, what is open, and how it is kept."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import streamlit as st

from dashboard import frame
from dashboard.frame import Page, plain
from dashboard.parts.journal_offer import offer_journal
from dashboard.words import say
from riskrules.commands.journal_words import said
from riskrules.errors import RiskRulesError
from riskrules.farm import BlockText
from riskrules.journal.records import Record
from riskrules.journal.store import Journal
from riskrules.journal.symptoms import SymptomList, load_symptoms
from riskrules.logs.events import Event, read_events
from riskrules.view.desk import Desk
from riskrules.view.prints import events_print
from riskrules.view.rows_keep import MOST_ASKED, entry_time, from_address, keep, view_for, waiting
from riskrules.view.rows_records import Hand

WRITES = ("grower", "scout")
SAID, ASK = "rows_said", "ask"
STYLE = """<style>
[class*=st-key-big] button{min-height:4.2rem}
[class*=st-key-big] button p{font-size:1.15rem}
[class*=st-key-nav] button{min-height:3.4rem}
[class*=st-key-big] [data-testid=stButton]{min-width:9.5rem}
[data-testid=stButtonGroup] button{height:auto}
[data-testid=stButtonGroup] button p{white-space:normal;text-align:left}
</style>"""


@dataclass(frozen=True, slots=True)
class Room:
    """The block that is open, and who writes; ``at`` is a moment of the past, if one was chosen."""

    page: Page
    journal: Journal
    symptoms: SymptomList
    block: BlockText
    who: str
    at: int | None

    @property
    def hand(self) -> Hand:
        """Whose hand writes; asked at each tap, since a page may stand open for long."""
        clock = clock_now()
        return Hand(self.who, clock if self.at is None else self.at, clock)

    @property
    def looks_back(self) -> bool:
        """Whether what is written down was seen at a moment of the past."""
        return self.at is not None

    @property
    def name(self) -> str:
        """The block's name."""
        return self.block.block

    @property
    def desk(self) -> Desk:
        """The open farm."""
        return self.page.desk

    @property
    def ready(self) -> bool:
        """Whether it is known who writes."""
        return bool(self.who)

    def moment(self, seconds: int) -> str:
        """Return a time as people write it."""
        return self.page.style.moment(seconds)


def clock_now() -> int:
    """Return the time by this computer's clock. [s since 1970 UTC]"""
    return int(time.time())


def put(**values: str | None) -> None:
    """Keep where one is in the page's address, so that a reload loses nothing."""
    for name, value in values.items():
        if value:
            st.query_params[name] = value
        elif name in st.query_params:
            del st.query_params[name]


def choice(
    label: str,
    options: Sequence[str],
    name: str,
    word: Callable[[str], str] = str,
    hidden: bool = False,
) -> str:
    """Draw a choice whose answer stands in the page's address, and return it."""
    now = st.query_params.get(name, "")
    index = options.index(now) if now in options else 0
    key = f"rows_{name}"
    drawn: Any = st.radio if len(options) <= 6 else st.selectbox
    more: dict[str, Any] = {"horizontal": True} if drawn is st.radio else {}
    found = drawn(
        label, options, index=index, format_func=word, key=key,
        on_change=lambda: put(**{name: st.session_state[key]}),
        label_visibility="collapsed" if hidden else "visible", **more,
    )  # fmt: skip
    return str(found)


def enter(page: Page) -> Room | None:
    """Draw who writes, which block, and of which moment; None where there is no journal."""
    st.html(STYLE)
    desk = page.desk
    journal = desk.journal
    if journal is None:
        offer_journal(page)
        return None
    known = page.visitor.name or st.query_params.get("who", "")
    clock = clock_now()
    moment, back = entry_time(page.now, clock, _typed(page, st.query_params.get("at", "")))
    names = list(desk.blocks())
    named = st.query_params.get("block", "")
    shown = page.style.moment(moment) if back else say("rows.now")
    title = say("rows.hand", block=named if named in names else names[0],
                who=known or say("rows.nobody"), when=shown)  # fmt: skip
    with st.expander(plain(title), expanded=not (known and named), icon=":material/edit_location:"):
        block = choice(say("rows.block"), names, "block")
        who = _who(page, known)
        _when(page, moment, back)
    if back:
        st.caption(plain(say("rows.looks_back", moment=page.style.moment(moment))))
    text = next(b for b in desk.farm.text.blocks if b.block == block)
    return Room(page, journal, load_symptoms(), text, who, moment if back else None)


def _who(page: Page, known: str) -> str:
    """Draw who writes: as the server knows them, or as they say."""
    if page.visitor.name:
        st.text(say("rows.known", who=page.visitor.name))
        return page.visitor.name
    found = st.text_input(
        say("rows.who"), value=known, max_chars=80, key="rows_who",
        on_change=lambda: put(who=st.session_state["rows_who"].strip()),
    )  # fmt: skip
    return found.strip()


def _typed(page: Page, text: str) -> int | None:
    """Return the moment that stands in the address; None where it is none of 1970 to now."""
    try:
        found = int(datetime.fromisoformat(text).replace(tzinfo=page.farm.zone).timestamp())
    except (ValueError, OverflowError):
        return None
    return found if 0 < found <= clock_now() else None


def _when(page: Page, moment: int, back: bool) -> None:
    face = datetime.fromtimestamp(moment, page.farm.zone).replace(tzinfo=None, second=0)

    def set_time() -> None:
        chosen = st.session_state["rows_at"]
        put(at=chosen.isoformat(timespec="minutes") if chosen else None)

    st.datetime_input(
        say("rows.when"), value=face if back else None, key="rows_at", on_change=set_time,
        help=say("rows.when_help"),
    )  # fmt: skip


def file_events(desk: Desk) -> tuple[Event, ...]:
    """Return what the farm's events files say; those of the journal are read from it."""
    return _file_events(str(desk.farm_file), events_print(desk.farm, 0), desk)


@st.cache_resource(show_spinner=False, max_entries=4)
def _file_events(farm: str, stamp: str, _desk: Desk) -> tuple[Event, ...]:
    text = _desk.farm.text
    known = {b.block for b in text.blocks}
    zone = text.place.zone
    return tuple(
        e for n in text.events for e in read_events(_desk.farm.folder / n, zone, known)
    )  # fmt: skip


def told(kind: str, text: str) -> None:
    """Remember something to say when the page is drawn next."""
    st.session_state.setdefault(SAID, []).append((kind, text))


def show_told() -> None:
    """Say what came of the last tap."""
    for kind, text in st.session_state.pop(SAID, []):
        if kind == "wrong":
            st.error(plain(text), icon=":material/block:")
        else:
            st.toast(plain(text), icon=":material/check:")


def keep_items(
    room: Room, items: Sequence[Record | Mapping[str, Any]], done: str, sure: bool = False
) -> bool:
    """Keep records at once; say what is wrong, or ask what is doubtful. True where kept."""
    try:
        return _keep_items(room, items, done, sure)
    except RiskRulesError as error:
        told("wrong", str(error))
        return False


@frame.for_roles(*WRITES)
def _keep_items(
    room: Room, items: Sequence[Record | Mapping[str, Any]], done: str, sure: bool
) -> bool:
    if not room.hand.who:
        told("wrong", say("rows.name_first"))
        return False
    view = view_for(room.journal, room.desk.farm, room.hand.made)
    found = keep(room.journal, view, room.symptoms, items, sure, room.looks_back)
    for sentence in found.wrong:
        told("wrong", say("rows.refused", why=sentence))
    if found.asked:
        text = waiting(found.records)
        if len(text) > MOST_ASKED:
            told("wrong", say("rows.refused", why=" ".join(found.asked)))
        else:
            put(ask=text)
    if found.kept:
        told("ok", done)
    for one in found.kept:
        if one.clash or one.state == "differs":
            told("wrong", say("rows.clash" if one.clash else "rows.differs"))
    return bool(found.kept)


def ask(room: Room) -> None:
    """Ask about what waits for an answer; what waits stands in the page's address."""
    text = st.query_params.get(ASK, "")
    records = from_address(text, room.hand.who or "?", room.name)
    if not records:
        return
    view = view_for(room.journal, room.desk.farm, room.hand.made)
    found = keep(room.journal, view, room.symptoms, records, looks_back=room.looks_back,
                 only_look=True)  # fmt: skip
    with st.container(border=True):
        st.subheader(say("rows.asks"))
        for sentence in (*found.asked, *found.wrong):
            st.markdown(plain(sentence))
        lines(
            say("rows.asks_what", when=room.moment(r.time),
                what=said(r, room.page.style, room.symptoms)) for r in records
        )  # fmt: skip
        with st.container(horizontal=True, key="big_ask"):
            st.button(say("rows.yes"), type="primary", disabled=bool(found.wrong),
                      on_click=_answer, args=(room, records))  # fmt: skip
            st.button(say("rows.no"), on_click=lambda: put(ask=None))


def _answer(room: Room, records: Sequence[Record]) -> None:
    if keep_items(room, records, say("rows.kept"), sure=True):
        put(ask=None)


def lines(texts: Iterable[str]) -> None:
    """Draw lines of plain text as a list."""
    st.markdown("\n".join(f"- {plain(t)}" for t in texts))
