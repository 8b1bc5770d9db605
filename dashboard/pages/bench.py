"""The adviser's bench: past seasons gone through again with numbers set otherwise."""

from __future__ import annotations

import streamlit as st

from dashboard import frame
from dashboard.parts.bench_ask import ask
from dashboard.parts.bench_run import ROLE, choose, show_progress, show_run
from dashboard.words import say
from riskrules.view.bench import bench_of

page = frame.begin("bench")
st.text(say("bench.about"))
with frame.troubles():
    runs = bench_of(page.desk).runs()
active = next((run for run in runs if run.active), None)
may = page.visitor.may(ROLE)
if active is not None:
    show_progress(page, active.id, may)
if may and not runs:
    results, question = st.container(), st.container()
elif may:
    results, question = st.tabs([say("bench.tab_results"), say("bench.tab_ask")])
else:
    results, question = st.container(), None
    st.caption(say("bench.only_adviser"))
if question is not None:
    with question, frame.troubles():
        ask(page, active)
with results, frame.troubles():
    chosen = choose(runs)
    if chosen is None:
        st.info(say("bench.none_yet"))
    else:
        show_run(page, chosen, may)
