"""The pieces of the morning page; what they show is made by `riskrules.view.morning`."""

from __future__ import annotations

import time
from datetime import date
from functools import partial

import streamlit as st

from dashboard import frame, look
from dashboard.frame import Page
from dashboard.parts.dawn_html import (
    asked_html,
    block_html,
    job_html,
    lines,
    night_html,
    unknowns_html,
)
from dashboard.parts.journal_offer import offer_journal
from dashboard.who import role_word
from dashboard.words import language, say
from riskrules.errors import RiskRulesError
from riskrules.review import Review
from riskrules.view.marks import MARKS, mark_job, moment_of
from riskrules.view.morning import JobBlock, JournalView, Morning, MorningJob, day_of, morning
from riskrules.view.morning_html import morning_html
from riskrules.view.morning_pdf import morning_pdf
from riskrules.view.morning_text import care_lines, fit_said, later_lines
from riskrules.view.same import Asked, asked_states, nothing_else, same_records

CSS = f"""<style>
.rr-dawn{{max-width:52rem}}
.rr-dawn,.rr-dawn p{{font-size:1.12rem;line-height:1.45;color:{look.INK}}}
.rr-dawn h2{{font-size:1.35rem;margin:1.2rem 0 .4rem}} .rr-dawn h3{{font-size:1.15rem;margin:0}}
.rr-dawn p{{margin:.25rem 0}} .rr-dawn .fine{{font-size:.95rem;color:{look.FAINT}}}
.rr-dawn .point{{padding-left:.9rem;border-left:3px solid {look.LINE}}}
.rr-card{{border-top:2px solid {look.LINE};padding:.7rem 0 .3rem}}
.rr-dawn details{{margin:.3rem 0}} .rr-dawn details details{{margin-left:.7rem}}
.rr-dawn summary{{min-height:2.75rem;display:flex;align-items:center;cursor:pointer;
font-weight:600;text-decoration:underline}}
.rr-dawn a{{color:{look.PLUM};display:inline-block;min-height:2.75rem;line-height:2.75rem}}
[class*="st-key-mark_"]{{max-width:30rem}}
[class*="st-key-mark_"] button{{min-height:3rem;font-size:1.05rem}}
</style>"""
MAY_MARK = ("grower", "scout")
SAID = "dawn_said"
"""Session key of what the last tap has to say."""


def draw(page: Page) -> None:
    """Draw the morning, with what the journal says of it at this moment."""
    _say_last()
    clock = int(time.time())
    now = page.desk.as_of(clock)
    review = page.desk.review(as_of=None if now == page.now else now)
    whole = _morning(page, review, clock)
    m = _filtered(whole)
    may = page.visitor.may(*MAY_MARK)
    later = list(later_lines(m, say))
    if later:
        st.html(lines(later))
    st.html(f'<div class="rr-dawn"><h2>{say("dawn.last_night")}</h2></div>')
    for night in m.nights:
        st.html(night_html(night, m.style, page.units))
    if not whole.journal:
        offer_journal(page)
    _asked(page, m, may)
    _jobs(page, m, whole, may)
    st.html(unknowns_html(m))
    if may and whole.journal:
        st.button(say("dawn.nothing_else"), help=say("dawn.nothing_else_help"),
                  on_click=partial(_nothing_else, page), key="nothing_else")  # fmt: skip
    _save(m)
    st.caption(say("dawn.measured_by", evaluator=m.evaluator))


def _say_last() -> None:
    said = st.session_state.pop(SAID, None)
    if said:
        (st.error if said[0] == "error" else st.success)(frame.plain(said[1]))


def _morning(page: Page, review: Review, clock: int) -> Morning:
    desk = page.desk
    noted = desk.noted
    time_ = moment_of(review.now, clock)
    said = noted.events if noted else ()
    asked = asked_states(desk.farm.text.blocks, desk.events, said, time_, review.book.shared)
    events = desk.happened(review.window[0], clock)
    view = JournalView(noted is not None, desk.marks(day_of(review)), asked, events, desk.now)
    return morning(review, view, _hours())


def _hours() -> float | None:
    """Return the hours at hand: as typed in now, or as the address says."""
    if "crew" not in st.session_state:
        try:
            given = float(st.query_params.get("h", ""))
            st.session_state["crew"] = given if 0 <= given <= 500 else None
        except ValueError:
            st.session_state["crew"] = None
    found = st.session_state["crew"]
    return None if found is None else float(found)


def _filtered(m: Morning) -> Morning:
    """Draw the choice of blocks, which the address keeps."""
    if len(m.blocks) < 2:
        return m
    if "blocks" not in st.session_state:
        st.session_state["blocks"] = [b for b in st.query_params.get_all("b") if b in m.blocks]
    chosen = st.pills(say("dawn.pick_blocks"), m.blocks, selection_mode="multi", key="blocks")
    if chosen != st.query_params.get_all("b"):
        st.query_params["b"] = chosen
    return m.only(chosen) if chosen else m


def _asked(page: Page, m: Morning, may: bool) -> None:
    """Draw the states gone stale, and a button a block that confirms them all."""
    if not m.asked:
        return
    st.html(asked_html(m.asked))
    if not (may and m.journal):
        return
    names = sorted({a.block for a in m.asked})
    for block in names:
        own = [a for a in m.asked if a.block == block]
        label = frame.plain(say("dawn.same", block=block))
        if st.button(label, key=f"same_{block}"):
            _confirm(page, own)
    if len(names) > 1 and st.button(say("dawn.same_all"), key="same_all"):
        _confirm(page, list(m.asked))


def _confirm(page: Page, asked: list[Asked]) -> None:
    """Keep that states are the same, and review the farm with it."""
    _keep_same(page, asked)
    st.session_state[SAID] = ("said", say("dawn.same_kept", n=len(asked)))
    st.rerun(scope="app")


@frame.for_roles(*MAY_MARK)
def _keep_same(page: Page, asked: list[Asked]) -> None:
    journal = page.desk.journal
    if journal is not None:
        clock = int(time.time())
        journal.add(same_records(asked, _who(page), moment_of(page.now, clock), clock))


def _nothing_else(page: Page) -> None:
    with _told():
        _keep_nothing_else(page)
        st.session_state[SAID] = ("said", say("dawn.nothing_else_kept"))


@frame.for_roles(*MAY_MARK)
def _keep_nothing_else(page: Page) -> None:
    journal = page.desk.journal
    if journal is not None:
        clock = int(time.time())
        journal.add([nothing_else(_who(page), moment_of(page.now, clock), clock)])


class _told:  # noqa: N801
    """Let a callback say its trouble on the page instead of crashing it."""

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> bool:
        if isinstance(error, RiskRulesError):
            st.session_state[SAID] = ("error", str(error))
            return True
        return False


def _jobs(page: Page, m: Morning, whole: Morning, may: bool) -> None:
    st.html(f'<div class="rr-dawn"><h2>{say("dawn.today")}</h2></div>')
    st.number_input(say("dawn.crew"), min_value=0.0, max_value=500.0, step=1.0, format="%g",
                    key="crew", help=say("dawn.crew_help"), on_change=_keep_hours)  # fmt: skip
    st.markdown(frame.plain(fit_said(whole, say)))
    numbers = {j.job: i for i, j in enumerate(whole.jobs, 1)}
    for job in m.jobs:
        st.html(job_html(numbers[job.job], job))
        for b in job.blocks:
            _block(page, m, job, b, may)
    care = list(care_lines(whole, say))
    if m.jobs and care:
        st.html(lines(care))


def _keep_hours() -> None:
    found = st.session_state["crew"]
    if found is None:
        st.query_params.pop("h", None)
    else:
        st.query_params["h"] = f"{found:g}"


def _block(page: Page, m: Morning, job: MorningJob, b: JobBlock, may: bool) -> None:
    """Draw one block of a job, with the three marks; what is chosen is what the journal keeps."""
    st.html(block_html(b, m.style))
    if not (may and m.journal):
        return
    key = f"mark_{job.job}_{b.block}"
    st.session_state[key] = b.mark.what if b.mark else None
    st.segmented_control(
        frame.plain(say("dawn.marks", job=job.words, block=b.block)),
        MARKS,
        format_func=lambda what: say(f"dawn.mark_{what}"),
        key=key,
        label_visibility="collapsed",
        width="stretch",
        on_change=_on_mark,
        args=(page, key, job.job, b, m.day),
    )


def _on_mark(page: Page, key: str, job: str, b: JobBlock, day: date) -> None:
    with _told():
        _keep_mark(page, st.session_state[key], job, b, day)


@frame.for_roles(*MAY_MARK)
def _keep_mark(page: Page, what: str | None, job: str, b: JobBlock, day: date) -> None:
    """Keep a mark in the journal at once, or take it back by a correction."""
    noted = page.desk.noted
    if noted is not None:
        clock = int(time.time())
        mark_job(noted.journal, b.block, job, day, what, _who(page), moment_of(page.now, clock),
                 clock, b.findings[0] if b.findings else "",
                 standing=noted.standing(b.block, job, day))  # fmt: skip


def _who(page: Page) -> str:
    return page.visitor.name or role_word(page.visitor)


def _save(m: Morning) -> None:
    """Draw the two buttons that save the page; the files are made when they are asked for."""
    st.html(f'<div class="rr-dawn"><h2>{say("dawn.save")}</h2></div>')
    st.caption(say("dawn.save_how"))
    name = f"morning_{m.day.isoformat()}"
    tongue = language()
    st.download_button(
        say("dawn.save_html"),
        lambda: morning_html(m, say, look.SEVERITY, tongue),
        file_name=f"{name}.html",
        mime="text/html",
        on_click="ignore",
    )
    st.download_button(
        say("dawn.save_pdf"),
        lambda: morning_pdf(m, say),
        file_name=f"{name}.pdf",
        mime="application/pdf",
        on_click="ignore",
    )
