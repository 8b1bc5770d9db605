"""Rules as sentences and thresholds with their sources; a region profile edited by an adviser."""

from __future__ import annotations

import streamlit as st

from dashboard import frame
from dashboard.parts.threshold_edit import changes_made, edit
from dashboard.parts.threshold_versions import show_chain, show_versions
from dashboard.parts.threshold_words import show_rule, show_threshold, title_of
from dashboard.words import say
from riskrules.view.region import region_of
from riskrules.view.thresholds import PackWords, packs_in_words


def choose(key: str, label: str, names: list[str], words: dict[str, str]) -> str:
    """Let one of some names be chosen; the address of the page remembers it."""
    wanted = st.query_params.get(key)
    at = names.index(wanted) if wanted in names else 0
    chosen = st.selectbox(label, names, at, format_func=words.__getitem__, key=f"choose_{key}")
    if at or chosen != names[0]:
        st.query_params[key] = chosen
    return chosen


def show_pack(pack: PackWords) -> None:
    """Draw the rules of a pack."""
    if pack.about:
        st.text(pack.about)
    if not pack.rules:
        st.text(say("thresholds.shared_about"))
    for rule in pack.rules:
        show_rule(rule)


page = frame.begin("thresholds")
st.text(say("thresholds.about"))
with frame.troubles():
    region = region_of(page.desk)
    packs = {p.name: p for p in packs_in_words(page.desk.book, page.style)}
saved = st.session_state.pop("threshold_saved", None)
if saved:
    st.success(frame.plain(saved))
show_chain(region)
titles = {name: title_of(p) for name, p in packs.items()}
pack = packs[choose("pack", say("thresholds.pack"), list(packs), titles)]
numbers, rules = st.tabs([say("thresholds.tab_numbers"), say("thresholds.tab_rules")])
with numbers:
    every = {t.key: t for t in pack.thresholds}
    names = {k: t.name for k, t in every.items()}
    chosen = every[choose("threshold", say("thresholds.threshold"), list(every), names)]
    show_threshold(chosen)
    may = page.visitor.may("adviser")
    if may:
        edit(page, chosen, region)
    else:
        st.caption(say("thresholds.only_adviser"))
    if region.own:
        st.subheader(say("thresholds.own"))
        changes_made(page, region, may)
    show_versions(page, region)
with rules:
    show_pack(pack)
