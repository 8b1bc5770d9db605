"""The region profile in use: its chain, its versions, and what differs between two."""

from __future__ import annotations

import streamlit as st

from dashboard import frame
from dashboard.parts.plain_table import show_table
from dashboard.words import say
from riskrules.packs.profile_history import difference_of
from riskrules.packs.regions import Change
from riskrules.view.region import Region


def show_chain(region: Region) -> None:
    """Say which profile is in use, and on which others it builds."""
    if not region.chain:
        st.text(say("thresholds.no_profile"))
        return
    names = [say("thresholds.link", title=k.text.title, version=k.version) for k in region.chain]
    st.text(say("thresholds.chain", chain=say("thresholds.of").join(names)))


def show_versions(page: frame.Page, region: Region) -> None:
    """Let two versions be chosen, and show what differs."""
    found = region.versions
    path = page.desk.profile
    if len(found) < 2 or path is None:
        return
    st.subheader(say("thresholds.versions"))
    labels = [
        say("thresholds.version", version=v.version, when=v.when, why=v.why)
        if v.why
        else say("thresholds.version_alone", version=v.version)
        for v in found
    ]
    n = range(len(found))
    left, right = st.columns(2)
    a = left.selectbox(
        say("thresholds.older"), n, len(found) - 2, format_func=labels.__getitem__, key="older"
    )
    b = right.selectbox(
        say("thresholds.newer"), n, len(found) - 1, format_func=labels.__getitem__, key="newer"
    )
    with frame.troubles():
        differs = difference_of(path, found[a].version, found[b].version)
    if not differs:
        st.text(say("thresholds.no_difference"))
        return
    head = [say(f"thresholds.head_{h}") for h in ("threshold", "before", "after")]
    rows = [[d.threshold, _said(d.before), _said(d.after)] for d in differs]
    show_table(say("thresholds.difference"), head, rows)


def _said(change: Change | None) -> str:
    if change is None:
        return say("thresholds.as_pack")
    unit = "" if change.unit == "1" else f" {change.unit}"
    return f"{change.value:g}{unit}: {change.reason} ({change.who}, {change.when})"
