"""The morning: what last night did, what to do, what is unknown; for a phone at dawn."""

from __future__ import annotations

import streamlit as st

from dashboard import frame
from dashboard.parts import dawn_parts as parts
from dashboard.words import say

page = frame.begin("dawn")
st.html(parts.CSS)
with frame.troubles():
    review = page.desk.review()


@st.fragment
def body() -> None:
    """Draw what marks change, so that a tap does not review the farm again."""
    with frame.troubles():
        parts.draw(page, review)


body()
st.caption(say("dawn.measured_by", evaluator=review.evaluator))
