"""An adviser's change of a threshold: tried on the season shown, then saved with a reason."""

from __future__ import annotations

from datetime import date, datetime

import streamlit as st

from dashboard import frame
from dashboard.parts.plain_table import show_table
from dashboard.words import say
from riskrules.packs.profile_history import Version
from riskrules.packs.regions import Change
from riskrules.show import Style
from riskrules.view.desk import Desk
from riskrules.view.first_look import FATES, Comparison, first_look, season_of
from riskrules.view.region import Region, save_threshold, undo_threshold
from riskrules.view.thresholds import ThresholdWords, from_shown, to_shown

ROLE = "adviser"


@frame.for_roles(ROLE)
def save(desk: Desk, change: Change, seen: str | None) -> str:
    """Save a change; only an adviser may."""
    return save_threshold(desk, change, seen)


@frame.for_roles(ROLE)
def undo(desk: Desk, threshold: str, note: Version, seen: str | None) -> str:
    """Take a change back; only an adviser may."""
    return undo_threshold(desk, threshold, note, seen)


@frame.for_roles(ROLE)
def try_out(desk: Desk, change: Change, first: date, last: date) -> Comparison:
    """Try a change on some days; nothing is saved."""
    return first_look(desk, [change], first, last)


def today(desk: Desk) -> str:
    """Return the day it is on the farm's clock."""
    return datetime.now(desk.farm.zone).date().isoformat()


def edit(page: frame.Page, t: ThresholdWords, region: Region) -> None:
    """Draw the form of a change, its first look, and what became of it."""
    st.subheader(say("thresholds.edit"))
    desk, style = page.desk, page.style
    value = _value(t, style)
    reason = st.text_input(say("thresholds.reason"), key=f"reason_{t.key}", max_chars=2000)
    evidence = st.text_input(say("thresholds.evidence"), key=f"evidence_{t.key}", max_chars=2000)
    named = page.visitor.name or ""
    who = named or st.text_input(say("thresholds.who"), key="who", max_chars=200)
    change = Change(
        threshold=t.key, value=value, unit=t.unit, reason=reason.strip(), who=who.strip(),
        when=today(desk), evidence=evidence.strip(),
    )  # fmt: skip
    _look(desk, change)
    if st.button(say("thresholds.save"), type="primary", key="save"):
        _save(desk, change, region)


def _value(t: ThresholdWords, style: Style) -> float:
    """Ask for the new value, in the unit that people chose, and return it in the pack's."""
    low, high, now = (to_shown(v, t.unit, style) for v in (t.least, t.most, t.value))
    shown = st.number_input(
        say("thresholds.new", unit=style.unit(t.unit).strip() or say("thresholds.no_unit")),
        min_value=low, max_value=high, value=now, step=_step(low, high), format="%.4g",
        key=f"value_{t.key}_{style.temperature}",
    )  # fmt: skip
    if shown == now:
        return t.value
    return min(max(from_shown(shown, t.unit, style), t.least), t.most)


def _step(low: float, high: float) -> float:
    """Return a handy step for a range: 1, 0.1 or 0.01."""
    return 1.0 if high - low >= 20 else 0.1 if high - low >= 2 else 0.01


def _look(desk: Desk, change: Change) -> None:
    """Ask for the days, and show what the change would do to them."""
    first, last = season_of(desk)
    left, right = st.columns(2)
    start = left.date_input(say("thresholds.from"), first, first, last, key="look_from")
    end = right.date_input(say("thresholds.to"), last, first, last, key="look_to")
    if not st.button(say("thresholds.first_look"), key="look"):
        return
    if start > end:
        st.error(say("thresholds.days_wrong"))
        return
    with frame.troubles(), st.spinner(say("thresholds.looking")):
        tried = change.model_copy(update={"reason": change.reason or "-", "who": change.who or "-"})
        found = try_out(desk, tried, start, end)
    show_comparison(found)


def show_comparison(found: Comparison) -> None:
    """Draw what came, went, moved or can no longer be told."""
    said = {f"{fate}": found.total(fate) for fate in FATES}
    st.text(say("thresholds.looked", stayed=found.stayed, **said))
    if found.unknown_before != found.unknown_after:
        st.text(say("thresholds.unknowns", before=found.unknown_before, after=found.unknown_after))
    counts = found.counts()
    if not counts:
        st.text(say("thresholds.same"))
        return
    head = [say(f"thresholds.head_{h}") for h in ("block", "month", "rule", *FATES)]
    rows = [
        [block.replace("_", " "), month, title, *(str(n[fate] or "") for fate in FATES)]
        for (block, month, _, title), n in counts.items()
    ]
    show_table(say("thresholds.looked_table"), head, rows)
    st.caption(say("thresholds.not_saved"))


def _save(desk: Desk, change: Change, region: Region) -> None:
    missing = [k for k in ("reason", "who") if not getattr(change, k)]
    if missing:
        st.error(" ".join(say(f"thresholds.needs_{k}") for k in missing))
        return
    with frame.troubles():
        version = save(desk, change, region.version)
    st.session_state["threshold_saved"] = say("thresholds.saved", version=version)
    st.rerun()


def changes_made(page: frame.Page, region: Region, may: bool) -> None:
    """List what the farm's own profile sets, each with a way back for an adviser."""
    for key, c in region.own.items():
        value = f"{c.value:g} {c.unit}" if c.unit != "1" else f"{c.value:g}"
        said = say("thresholds.change", name=key, value=value, who=c.who, when=c.when)
        st.markdown(f"**{frame.plain(said)}**")
        st.text(c.reason + (f" ({c.evidence})" if c.evidence else ""))
        if may and region.versions:
            _way_back(page, key, region)


def _way_back(page: frame.Page, key: str, region: Region) -> None:
    with st.popover(frame.plain(say("thresholds.back", name=key))):
        why = st.text_input(say("thresholds.reason"), key=f"why_{key}", max_chars=2000).strip()
        who = page.visitor.name or st.text_input(
            say("thresholds.who"), key=f"who_{key}", max_chars=200
        )
        if st.button(say("thresholds.back_do"), key=f"back_{key}"):
            if not why or not who.strip():
                st.error(say("thresholds.needs_reason"))
                return
            note = Version("", today(page.desk), who.strip(), key, why)
            with frame.troubles():
                version = undo(page.desk, key, note, region.version)
            st.session_state["threshold_saved"] = say("thresholds.saved", version=version)
            st.rerun()
