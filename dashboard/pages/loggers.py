"""Loggers: what came of the logs, and a file that is dropped, understood and read in."""

import streamlit as st

from dashboard import frame, loggers_drop, loggers_report

page = frame.begin("loggers")
frame.need("reader")
with frame.troubles():
    loggers_drop.said()
    parts = [loggers_report.draw, loggers_drop.draw]
    if "file" in st.query_params:  # the file that is being understood goes first
        parts.reverse()
    for draw in parts:
        draw(page)
