"""The replays of the bench: begun, watched, stopped, listed and opened."""

from __future__ import annotations

from html import escape

import streamlit as st

from dashboard import frame
from dashboard.frame import plain
from dashboard.parts.bench_result import show_record
from dashboard.words import say
from riskrules.tuning.runs import Part, Question, Run
from riskrules.view.bench import bench_of
from riskrules.view.desk import Desk

ROLE = "adviser"
EVERY_S = 1.0
ENDED = {"stopped": "is_stopped", "broken off": "is_broken", "failed": "is_failed",
         "waiting": "is_waiting"}  # fmt: skip


@frame.for_roles(ROLE)
def start(desk: Desk, question: Question) -> Run:
    """Begin a replay in a process of its own; only an adviser may."""
    return bench_of(desk).start(question)


@frame.for_roles(ROLE)
def go_on(desk: Desk, name: str) -> Run:
    """Let a replay go on; only an adviser may."""
    return bench_of(desk).go_on(name)


@frame.for_roles(ROLE)
def stop(desk: Desk, name: str) -> None:
    """Stop a replay; only an adviser may."""
    bench_of(desk).stop(name)


def open_run(name: str) -> None:
    """Show a replay from the next turn on."""
    st.query_params["run"] = name
    st.session_state.pop("bench_run", None)
    st.rerun()


def question_word(run: Run) -> str:
    """Return the question of a replay, or that none was written down."""
    return run.question.question or say("bench.no_question")


def state_word(run: Run) -> str:
    """Return what people call the state of a replay."""
    return say(f"bench.state_{run.state.split()[0]}")


def show_progress(page: frame.Page, name: str, may: bool) -> None:
    """Draw how far a replay is, again every second, and the whole page once it ended."""

    @st.fragment(run_every=EVERY_S)
    def watched() -> None:
        with frame.troubles():
            run = bench_of(page.desk).find(name)
        if run is None or not run.active:
            st.rerun()
            return
        _progress(page, run, may)

    watched()


def _progress(page: frame.Page, run: Run, may: bool) -> None:
    with st.container(border=True):
        st.markdown(f"**{plain(say('bench.progress_title', question=question_word(run)))}**")
        for part in run.progress.parts:
            _part(part)
        if not run.progress.parts:
            st.text(say("bench.beginning"))
        if run.state == "stopping":
            st.text(say("bench.stopping"))
        elif may and st.button(say("bench.stop"), key="bench_stop"):
            with frame.troubles():
                stop(page.desk, run.id)
            st.rerun()


def _part(part: Part) -> None:
    words = part_words(part)
    bar = (
        f'<progress style="width:100%;accent-color:#511f48" max="{max(part.total, 1)}" '
        f'value="{part.ready}" aria-label="{escape(words)}"></progress>'
    )
    st.html(f'<div class="rr-said">{escape(words)}</div>{bar}')


def part_words(part: Part) -> str:
    """Return how far a part is."""
    words = [say(f"bench.part_{part.name}", ready=part.ready, total=part.total)]
    if part.kept:
        words.append(say("bench.kept", n=part.kept))
    if part.failed:
        words.append(say("bench.failed_n", n=part.failed))
    if part.ready < part.total and part.left_s is not None:
        n = max(round(part.left_s), 1)
        time = say("bench.seconds", n=n) if n < 90 else say("bench.minutes", n=round(n / 60))
        words.append(say("bench.left", time=time))
    return "; ".join(words)


def choose(runs: list[Run]) -> Run | None:
    """Let one of the replays be chosen; the address of the page remembers it."""
    if not runs:
        return None
    every = {run.id: run for run in runs}
    wanted = st.query_params.get("run")
    chosen = st.selectbox(
        say("bench.runs"), list(every), list(every).index(wanted) if wanted in every else 0,
        format_func=lambda name: _run_word(every[name]), key="bench_run",
    )  # fmt: skip
    if chosen != wanted and (wanted is not None or chosen != runs[0].id):
        st.query_params["run"] = chosen
    return every.get(chosen)


def _run_word(run: Run) -> str:
    question = question_word(run)
    short = question if len(question) <= 80 else f"{question[:77]}..."
    return say("bench.run", id=run.id.replace("_", " · "), question=short, state=state_word(run))


def show_run(page: frame.Page, run: Run, may: bool) -> None:
    """Draw a replay: its answer, or how it ended without one."""
    who = run.question.who or say("bench.someone")
    st.subheader(plain(question_word(run)))
    st.caption(plain(say("bench.asked_by", who=who, when=run.question.when)))
    if run.state == "done":
        show_record(page, run)
        return
    if run.active:
        st.text(say("bench.state_working"))
        return
    st.warning(say(f"bench.{ENDED[run.state]}"))
    if run.progress.said:
        st.text(run.progress.said)
    if may and st.button(say("bench.go_on"), key=f"go_on_{run.id}"):
        with frame.troubles():
            go_on(page.desk, run.id)
        open_run(run.id)
