"""The pages and who sees which; run at every turn of every session."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

import streamlit as st

from dashboard import frame, look, still, who
from dashboard.words import say
from riskrules.door.people import Visitor

HERE = Path(__file__).resolve().parent


@dataclass(frozen=True, slots=True)
class Entry:
    """A page in the list: its name, its part of the list, the role it needs, and its icon."""

    name: str
    part: str
    role: str
    icon: str

    @property
    def file(self) -> Path:
        """The file of the page."""
        return HERE / "pages" / f"{self.name}.py"


ENTRIES = (
    Entry("dawn", "today", "reader", ":material/wb_twilight:"),
    Entry("rows", "today", "scout", ":material/directions_walk:"),
    Entry("course", "today", "reader", ":material/timeline:"),
    Entry("loggers", "desk", "reader", ":material/sensors:"),
    Entry("thresholds", "desk", "reader", ":material/tune:"),
    Entry("bench", "desk", "reader", ":material/rule:"),
    Entry("models", "desk", "reader", ":material/show_chart:"),
    Entry("first", "farm", "grower", ":material/start:"),
    Entry("people", "farm", "grower", ":material/group:"),
)
"""All pages; one that is not there is left out."""


def run() -> None:
    """Draw the list of pages for this visitor, and run the page they are on."""
    st.set_page_config(
        page_title=say("app.name"), page_icon=":material/eco:", layout="wide",
        initial_sidebar_state="auto",
    )  # fmt: skip
    with frame.troubles():
        visitor = who.now()
    if visitor.role is None:
        st.navigation([st.Page(lambda: _outside(visitor), title=say("sign_in.title"))]).run()
        return
    parts = _pages(visitor)
    every = {page.url_path: page for pages in parts.values() for page in pages}
    begins = "dawn" if frame.farm_file() and "dawn" in every else "first"
    first = every.get(begins, next(iter(every.values())))
    # The page at the bare address has no other one: it only leads on to where one begins.
    start = st.Page(lambda: st.switch_page(first), title=say("app.name"), default=True)
    page = st.navigation([start, *every.values()], position="hidden")
    _list(parts)
    with frame.reading(page.url_path), frame.troubles():
        page.run()
    if visitor.way == "sign-in":
        st.sidebar.button(say("sign_in.out"), on_click=st.logout)
    still.keep()


def _pages(visitor: Visitor) -> dict[str, list[st.Page]]:
    """Return the pages of each part that the visitor may open."""
    parts: dict[str, list[st.Page]] = {}
    for e in (e for e in ENTRIES if e.file.exists() and visitor.may(e.role)):
        page = st.Page(e.file, title=say(f"{e.name}.title"), icon=e.icon, url_path=e.name)
        parts.setdefault(say(f"app.{e.part}"), []).append(page)
    return parts


def _list(parts: dict[str, list[st.Page]]) -> None:
    """Draw the list of pages beside them; Streamlit's own is no list to a screen reader."""
    for part, pages in parts.items():
        st.sidebar.caption(part)
        for page in pages:
            st.sidebar.page_link(page)


def _outside(visitor: Visitor) -> None:
    """Say how to come in, to somebody who is not known."""
    st.html(look.css())
    st.title(say("sign_in.title"))
    if visitor.way == "stranger":
        st.text(say("sign_in.elsewhere"))
        return
    st.text(say("sign_in.why"))
    if not _set_up():
        st.text(say("sign_in.not_set_up"))
    elif visitor.way == "unlisted":
        st.error(frame.plain(say("sign_in.not_listed", email=visitor.name)))
        st.button(say("sign_in.out"), on_click=st.logout)
    else:
        st.button(say("sign_in.button"), on_click=st.login, type="primary")


def _set_up() -> bool:
    """Return whether the server has the secrets of a sign-in service, and what asks it."""
    if find_spec("authlib") is None or not (find_spec("httpx") or find_spec("httpx2")):
        return False
    try:
        return "auth" in st.secrets
    except FileNotFoundError:
        return False
