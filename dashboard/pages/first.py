"""The first start: one click opens the invented sample farm; or a farm of one's own."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from dashboard import frame
from dashboard.frame import plain
from dashboard.parts.first_steps import own_farm
from dashboard.words import say
from riskrules.view.first import begin_sample, farms_folder, sample_folder


@frame.for_roles("grower")
def open_sample() -> Path:
    """Copy the sample farm into the user's folder and open it."""
    file = begin_sample(farms_folder())
    frame.use_farm(file)
    return file


page = frame.begin("first", needs_farm=False)
frame.need("grower")
begun = st.session_state.pop("begun", None)
if begun:
    st.success(plain(begun))
    try:
        st.page_link("pages/dawn.py", label=say("first.go"))
    except (KeyError, st.errors.StreamlitAPIException):  # the page runs alone, in a test
        st.text(say("first.go"))
st.subheader(say("first.sample"))
st.text(say("first.sample_about"))
if sample_folder() is None:
    st.text(say("first.no_sample"))
elif st.button(say("first.open_sample"), type="primary", key="sample"):
    with frame.troubles(), st.spinner(say("first.making")):
        file = open_sample()
    st.session_state["begun"] = say("first.sample_open", file=file)
    st.rerun()
st.subheader(say("first.own"))
if begun:  # The fields of a farm that is made are not drawn: the next one begins with empty ones.
    st.button(say("first.another"), key="another")
else:
    own_farm()
