"""What every page begins with: the open farm, who looks, the units, and the common head."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import streamlit as st

from dashboard import look, who
from dashboard.who import for_roles as for_roles
from dashboard.words import language, say
from riskrules.door.people import Refused, Visitor
from riskrules.errors import FileProblems, RiskRulesError
from riskrules.farm import Farm
from riskrules.show import Style
from riskrules.view.age import age_of
from riskrules.view.chosen import remember, remembered
from riskrules.view.desk import Desk, open_desk

FARM, STORE, JOURNAL = "RISKRULES_FARM", "RISKRULES_STORE", "RISKRULES_JOURNAL"
DRAWN = "page_drawn"
"""Session key of the page that was drawn last."""
UNITS = {"degF": ("degF", "in"), "degC": ("degC", "mm")}
_chosen: dict[str, Path] = {}


@dataclass(frozen=True, slots=True)
class Page:
    """What a page works with. ``desk`` and all that follows from it need an open farm."""

    name: str
    maybe_desk: Desk | None
    visitor: Visitor

    @property
    def desk(self) -> Desk:
        """The open farm's desk, in the units chosen."""
        if self.maybe_desk is None:
            raise RiskRulesError(say("frame.no_farm"))
        return self.maybe_desk

    @property
    def farm(self) -> Farm:
        """The open farm."""
        return self.desk.farm

    @property
    def role(self) -> str:
        """The visitor's role; 'nobody' for somebody not known."""
        return self.visitor.role or "nobody"

    @property
    def units(self) -> str:
        """The unit of temperature that was chosen: 'degC' or 'degF'."""
        return self.style.temperature

    @property
    def style(self) -> Style:
        """How numbers and times are written for this person."""
        return self.desk.style

    @property
    def now(self) -> int:
        """What counts as now: the last measured row. [s since 1970 UTC]"""
        return self.desk.now

    @property
    def language(self) -> str:
        """The language that is spoken."""
        return language()


def begin(name: str, needs_farm: bool = True) -> Page:
    """Begin a page: check who is there, open the farm, and draw the head.

    Stops the page, with a sentence, where nobody known is there, or no farm is open.
    """
    _leave_old_way()
    st.html(look.css())
    st.title(say(f"{name}.title"))
    visitor = who.now()
    page = Page(name, None, visitor)
    _need(visitor, "reader")
    file = farm_file()
    if file is None:
        if needs_farm:
            _no_farm(visitor)
        return page
    with troubles():
        desk = _with_units(desk_of(file))
        page = Page(name, desk, visitor)
        if needs_farm:
            _head(desk)
    return page


def _leave_old_way() -> None:
    """Run a page by the list of pages, also for the first visitor after a start.

    Streamlit takes a folder named ``pages`` for its older kind of app until the list has run
    once, and would then draw its own list, of all pages.
    """
    from streamlit.runtime.pages_manager import PagesManager

    if getattr(PagesManager, "uses_pages_directory", None):
        PagesManager.uses_pages_directory = False
        st.rerun()


def need(*roles: str) -> None:
    """Stop the page with a refusal unless the visitor holds one of some roles."""
    _need(who.now(), *roles)


def _need(visitor: Visitor, *roles: str) -> None:
    if not visitor.may(*roles):
        words = ", ".join(say(f"role.{r}") for r in roles)
        st.error(say("frame.refused", roles=words, role=who.role_word(visitor)))
        st.stop()


@contextmanager
def troubles() -> Iterator[None]:
    """Show a trouble that we know as text, and stop the page, instead of a crash."""
    try:
        yield
    except Refused as error:
        st.error(plain(str(error)))
        st.stop()
    except FileProblems as error:
        st.error(say("frame.trouble"))
        st.text("\n".join(str(p) for p in error.problems[:40]))
        st.caption(say("frame.trouble_hint"))
        st.stop()
    except RiskRulesError as error:
        st.error(say("frame.trouble"))
        st.text(str(error))
        st.stop()


@contextmanager
def reading(page: str) -> Iterator[None]:
    """Say that the farm is being read, while a page is drawn for the first time in a session.

    It stands over the page, so that nothing moves when it goes.
    """
    slot = st.empty()
    if st.session_state.get(DRAWN) != page:
        slot.html(look.reading_html())
    try:
        yield
    finally:
        st.session_state[DRAWN] = page
        slot.empty()


def farm_file() -> Path | None:
    """Return the farm file that is open: chosen in here, or given at the start."""
    named = _chosen.get("farm") or os.environ.get(FARM) or remembered()
    return Path(named) if named else None


@for_roles("grower")
def use_farm(path: Path) -> None:
    """Open another farm, for everybody who looks at this server, and remember it."""
    open_desk(path)
    _chosen["farm"] = path
    remember(path)


def desk_of(file: Path) -> Desk:
    """Return the desk of a farm file, one for all sessions."""
    given = str(file) == os.environ.get(FARM)
    store, journal = (os.environ.get(STORE), os.environ.get(JOURNAL)) if given else (None, None)
    return _desk(str(file.absolute()), store, journal)


@st.cache_resource(show_spinner=False, max_entries=4)
def _desk(file: str, store: str | None, journal: str | None) -> Desk:
    return open_desk(Path(file), Path(store) if store else None, journal)


def _with_units(desk: Desk) -> Desk:
    """Draw the switch of units and return the desk that speaks them."""
    wanted = st.query_params.get("u") or st.session_state.get("units")
    wanted = wanted if wanted in UNITS else desk.farm.text.show.temperature
    names = list(UNITS)
    chosen = st.sidebar.radio(
        say("frame.units"),
        names,
        index=names.index(wanted),
        format_func=lambda u: say(f"frame.units_{u}"),
        key="units_choice",
    )
    st.session_state["units"] = chosen
    if chosen != desk.farm.text.show.temperature or "u" in st.query_params:
        st.query_params["u"] = chosen
    if chosen == desk.farm.text.show.temperature:
        return desk
    return desk.with_units(*UNITS[chosen])


def _head(desk: Desk) -> None:
    """Say which farm this is and how old what is known of it is."""
    age = int(time.time()) - desk.now
    moment = desk.style.moment(desk.now)
    st.caption(plain(say("frame.data_until", farm=desk.farm.text.farm, moment=moment)))
    if age > desk.farm.text.silent_after * 3600:
        st.warning(say("frame.old", age=age_words(age), moment=moment), icon=":material/hourglass:")


def age_words(seconds: int) -> str:
    """Return an age in words, such as '3 h'. [s]"""
    unit, n = age_of(seconds)
    return say(f"frame.{unit}", n=n)


def _no_farm(visitor: Visitor) -> None:
    st.info(say("frame.no_farm"))
    if visitor.may("grower") and (Path(__file__).parent / "pages" / "first.py").exists():
        with troubles():
            _link("pages/first.py", say("frame.begin_link"))
    st.stop()


def _link(page: str, label: str) -> None:
    """Link to a page, where the app that knows the pages runs."""
    try:
        st.page_link(page, label=label)
    except (KeyError, st.errors.StreamlitAPIException):  # a page run alone, in a test
        st.text(label)


def plain(text: str) -> str:
    r"""Return text that Markdown shows as it is: nothing in it is a link, HTML or a picture.

    Examples
    --------
    >>> print(plain("<b>*x*</b>"))
    \<b\>\*x\*\</b\>
    """
    return "".join(f"\\{c}" if c in "\\`*_{}[]()<>#+-.!|~$:&\"'^=" else c for c in text)
