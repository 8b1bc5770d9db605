"""The morning: what last night did, what to do, what is unknown; for a phone at dawn."""

from __future__ import annotations

import streamlit as st

from dashboard import frame
from dashboard.parts import dawn_parts as parts

page = frame.begin("dawn")
st.html(parts.CSS)


@st.fragment
def body() -> None:
    """Draw all that a tap can change; the farm is reviewed again only where that matters."""
    with frame.troubles():
        parts.draw(page)


body()
