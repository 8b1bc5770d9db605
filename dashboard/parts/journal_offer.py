"""Where a farm has no journal: the offer to make one with a tap, the same on every page."""

from __future__ import annotations

import streamlit as st

from dashboard import frame
from dashboard.frame import Page
from dashboard.words import say
from riskrules.view.journal_file import make_journal


def offer_journal(page: Page) -> None:
    """Say that nothing can be kept, and offer a journal to whoever may make one."""
    if not page.visitor.may("grower"):
        st.info(say("journal_offer.reader"))
        return
    st.info(say("journal_offer.none"))
    if st.button(say("journal_offer.make"), type="primary", key="make_journal"):
        _make(page)
        st.rerun(scope="app")


@frame.for_roles("grower")
def _make(page: Page) -> None:
    make_journal(page.desk.farm_file)
