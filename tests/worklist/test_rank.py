"""The work list: its order, its windows, and how it fits the crew's hours. All jobs invented."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from facts.hand import BOOK, DAY, HOUR, TUNNEL, at, event, facts, log
from hypothesis import given
from hypothesis import strategies as st

from riskrules.facts.table import Facts
from riskrules.findings.model import CERTAINTIES, SEVERITIES, Finding
from riskrules.review import shipped_jobs
from riskrules.show import Style
from riskrules.worklist.jobs import Job, JobBook
from riskrules.worklist.rank import BlockDay, WorkList, window, work_list

STYLE = Style(ZoneInfo("UTC"))
NOW = at("2026-06-10 08:00")
RISE, FALL = at("2026-06-10 04:30"), at("2026-06-10 19:30")


def job(name: str, span: str = "today", hours: float = 1, guards: Sequence[str] = ()) -> Job:
    return Job(name, "Invented.", frozenset(guards), span, hours, (), ())  # type: ignore[arg-type]


def book(*jobs: Job, **cautions: str) -> JobBook:
    return JobBook({j.name: j for j in jobs}, cautions)


def finding(block: str, *jobs: str, **more: Any) -> Finding:
    """Return an invented finding; only what the work list reads matters."""
    made = Finding(
        id=f"p.r@{block}", rule="p.r", title="", hazard="heat", block=block,
        start="", end="", severity="Minor", urgency="Immediate", certainty="Likely", sentence="",
        basis="measured", facts=(), thresholds=(), margins=(), jobs=jobs, cautions=(), sources=(),
    )  # fmt: skip
    return replace(made, **more)


def warm(events: Sequence[Any] = (), now: int = NOW) -> Facts:
    rows = 24
    own = log("2026-06-09 09:00", t=[18 + i % 5 for i in range(rows)], out=[17.0 + i % 5 for i in
              range(rows)])  # fmt: skip
    ahead = log("2026-06-10 09:00", forecast=14, out=[15.0 + i % 4 for i in range(14)])
    return facts([own, ahead], list(events), TUNNEL, now)


WARM = warm()


def day(block: str, stake: float = 1, found: Facts = WARM) -> BlockDay:
    return BlockDay(block, found, stake, RISE, FALL, RISE + DAY)


def listed(
    findings: Sequence[Finding], jobs: JobBook, days: Sequence[BlockDay] = (),
    now: int = NOW, own: dict[str, float] | None = None, crew: float | None = None,
) -> WorkList:  # fmt: skip
    known = {d.block: d for d in days} or {f.block: day(f.block) for f in findings}
    margin = BOOK.value("lift_margin")
    return work_list(findings, known, jobs, own or {}, STYLE, now, margin, crew)


def names(found: WorkList) -> list[str]:
    return [item.job.name for item in found.items]


# Order


def test_severity_comes_first_whatever_the_rest_says() -> None:
    jobs = book(job("a_small", "now"), job("b_great", "coming_weeks"))
    some = [
        finding("rich", "a_small", severity="Moderate", certainty="Observed"),
        finding("poor", "b_great", severity="Severe", certainty="Possible"),
    ]
    days = [day("rich", 5), day("poor", 0)]
    assert names(listed(some, jobs, days)) == ["b_great", "a_small"]


def test_of_one_severity_the_surer_comes_first() -> None:
    jobs = book(job("a_doubt", "now"), job("b_sure", "coming_weeks"))
    some = [
        finding("rich", "a_doubt", certainty="Possible"),
        finding("poor", "b_sure", certainty="Likely"),
    ]
    assert names(listed(some, jobs, [day("rich", 5), day("poor", 0)])) == ["b_sure", "a_doubt"]


def test_of_one_severity_and_certainty_the_window_that_shuts_first() -> None:
    jobs = book(job("a_long", "coming_weeks"), job("b_soon", "now"))
    some = [finding("rich", "a_long"), finding("poor", "b_soon")]
    assert names(listed(some, jobs, [day("rich", 5), day("poor", 0)])) == ["b_soon", "a_long"]


def test_with_all_else_equal_the_most_fruit_at_stake_comes_first() -> None:
    jobs = book(job("a_few"), job("b_many"))
    some = [finding("poor", "a_few"), finding("rich", "b_many")]
    assert names(listed(some, jobs, [day("rich", 5), day("poor", 1)])) == ["b_many", "a_few"]


def test_with_everything_equal_the_order_is_still_fixed() -> None:
    jobs = book(job("a"), job("b"))
    some = [finding("x", "b"), finding("x", "a")]
    assert names(listed(some, jobs)) == names(listed(some[::-1], jobs)) == ["a", "b"]


def test_blocks_of_a_job_follow_the_same_order() -> None:
    some = [
        finding("c", "j"), finding("b", "j", certainty="Observed"), finding("a", "j"),
        finding("d", "j", severity="Severe", certainty="Possible"),
    ]  # fmt: skip
    days = [day("a", 1), day("b", 0), day("c", 3), day("d", 0)]
    (item,) = listed(some, book(job("j")), days).items
    assert [b.block for b in item.blocks] == ["d", "b", "c", "a"]


def test_a_job_of_several_findings_counts_by_the_worst_and_the_surest_of_those() -> None:
    some = [
        finding("x", "j", id="1", severity="Minor", certainty="Observed"),
        finding("x", "j", id="2", severity="Severe", certainty="Possible"),
        finding("x", "j", id="3", severity="Severe", certainty="Likely"),
    ]
    (item,) = listed(some, book(job("j"))).items
    (block,) = item.blocks
    assert (block.severity, block.certainty) == ("Severe", "Likely")
    assert block.findings == ("1", "2", "3")


@given(st.permutations(range(8)), st.data())
def test_the_order_of_findings_changes_nothing(order: list[int], data: st.DataObject) -> None:
    jobs = book(*(job(f"j{i}", s) for i, s in enumerate(("now", "today", "at_sunset"))))
    some = [
        finding(
            data.draw(st.sampled_from("ab")), f"j{i % 3}", id=str(i),
            severity=data.draw(st.sampled_from(SEVERITIES)),
            certainty=data.draw(st.sampled_from(CERTAINTIES)),
        )
        for i in range(8)
    ]  # fmt: skip
    days = [day("a", 2), day("b", 1)]
    crew = data.draw(st.none() | st.integers(0, 6))
    one = listed(some, jobs, days, crew=crew)
    assert one == listed([some[i] for i in order], jobs, days, crew=crew)
    keys = [item.order for item in one.items]
    assert keys == sorted(keys)


def test_what_is_past_leads_to_no_job() -> None:
    some = [finding("x", "old", urgency="Past"), finding("x", "new", urgency="Future")]
    assert names(listed(some, book(job("old"), job("new")))) == ["new"]


def test_no_finding_gives_an_empty_list() -> None:
    assert listed([], book()) == WorkList((), None, 0.0, "0 h of work today.")


# Crew hours


def plans(found: WorkList) -> dict[str, list[str]]:
    return {item.job.name: [b.plan for b in item.blocks] for item in found.items}


THREE = book(job("a", hours=1.5), job("b_b", hours=1), job("c", hours=0.5))
NEEDED = [
    finding("x", "a", severity="Severe"), finding("x", "b_b", severity="Moderate"),
    finding("x", "c"),
]  # fmt: skip


def test_hours_go_to_jobs_in_order_and_what_does_not_fit_is_named() -> None:
    found = listed(NEEDED, THREE, crew=2)
    assert plans(found) == {"a": ["do"], "b_b": ["left undone"], "c": ["do"]}
    assert found.planned_hours == 2
    assert found.said == "2 of 2 h filled. Left undone: b b in x (1 h)."


@pytest.mark.parametrize(
    ("crew", "undone"),
    [(0, ["a", "b_b", "c"]), (0.4, ["a", "b_b", "c"]), (0.5, ["a", "b_b"]), (1, ["a", "c"]),
     (1.5, ["b_b", "c"]), (2.5, ["c"]), (3, []), (99, [])],
)  # fmt: skip
def test_nothing_is_dropped_however_few_the_hours(crew: float, undone: list[str]) -> None:
    found = listed(NEEDED, THREE, crew=crew)
    assert [name for name, (plan,) in plans(found).items() if plan == "left undone"] == undone
    assert found.planned_hours <= crew
    assert ("Left undone" in found.said) == bool(undone)


def test_enough_hours_are_said_to_be_enough() -> None:
    assert listed(NEEDED, THREE, crew=3).said == "3 h of work today; 3 h at hand are enough."


def test_without_crew_hours_all_is_to_be_done() -> None:
    found = listed(NEEDED, THREE)
    assert set(map(tuple, plans(found).values())) == {("do",)}
    assert found.said == "3 h of work today."


def test_a_job_may_fit_in_one_block_and_not_in_the_next() -> None:
    some = [finding("a", "j"), finding("b", "j"), finding("c", "j")]
    found = listed(some, book(job("j", hours=1)), crew=2)
    assert plans(found) == {"j": ["do", "do", "left undone"]}
    assert "Left undone: j in c (1 h)" in found.said


def test_a_growers_own_hours_replace_ours() -> None:
    found = listed(NEEDED, THREE, own={"a": 4})
    hours = {i.job.name: (i.blocks[0].hours, i.hours_from) for i in found.items}
    assert hours["a"] == (4, "your own figure")
    assert hours["c"] == (0.5, "common practice, no source")
    assert found.planned_hours == 5.5


def test_what_must_wait_or_comes_on_another_day_takes_none_of_todays_hours() -> None:
    jobs = book(job("stay", hours=5, guards=["cold"]), job("next", "dawn_until_dry", hours=5),
                job("c", hours=1))  # fmt: skip
    cold = warm()
    cold["cold_watch"].least["outside_now"][:] = -40
    some = [finding("x", "stay", severity="Severe"), finding("x", "next"), finding("x", "c")]
    evening = at("2026-06-10 15:00")
    found = listed(some, jobs, [day("x", 1, cold)], now=evening, crew=1)
    assert plans(found) == {"stay": ["must wait"], "next": ["later"], "c": ["do"]}
    assert (found.planned_hours, "Left undone" in found.said) == (1, False)


# Windows


def span(which: str, now: str, **more: Any) -> tuple[int, int]:
    moment = at(now)
    found = replace(day("x"), **more)
    return window(job("j", which), found, moment)


@pytest.mark.parametrize(
    ("which", "now", "start", "end"),
    [
        ("now", "2026-06-10 08:00", "2026-06-10 08:00", "2026-06-10 11:00"),
        ("now", "2026-06-10 23:00", "2026-06-10 23:00", "2026-06-11 02:00"),
        ("today", "2026-06-10 02:00", "2026-06-10 04:30", "2026-06-10 19:30"),
        ("today", "2026-06-10 08:00", "2026-06-10 08:00", "2026-06-10 19:30"),
        ("today", "2026-06-10 20:00", "2026-06-11 04:30", "2026-06-11 19:30"),
        ("dawn_until_dry", "2026-06-10 03:00", "2026-06-10 04:30", "2026-06-10 09:30"),
        ("dawn_until_dry", "2026-06-10 06:00", "2026-06-10 06:00", "2026-06-10 09:30"),
        ("dawn_until_dry", "2026-06-10 09:30", "2026-06-11 04:30", "2026-06-11 09:30"),
        ("dawn_until_dry", "2026-06-10 22:00", "2026-06-11 04:30", "2026-06-11 09:30"),
        ("before_heat", "2026-06-10 06:00", "2026-06-10 06:00", "2026-06-10 08:30"),
        ("before_heat", "2026-06-10 12:00", "2026-06-11 04:30", "2026-06-11 08:30"),
        ("at_sunset", "2026-06-10 08:00", "2026-06-10 18:30", "2026-06-10 20:00"),
        ("at_sunset", "2026-06-10 19:00", "2026-06-10 19:00", "2026-06-10 20:00"),
        ("at_sunset", "2026-06-10 21:00", "2026-06-11 18:30", "2026-06-11 20:00"),
        ("coming_weeks", "2026-06-10 08:00", "2026-06-10 08:00", "2026-07-08 08:00"),
    ],
)
def test_windows_follow_the_sun_and_now(which: str, now: str, start: str, end: str) -> None:
    """The lengths are ours: 5 h from dawn, 4 h before the heat, 3 h of now. [assumption]"""
    assert span(which, now) == (at(start), at(end))


PLANNED = warm([event("2026-06-11 07:00", "pick", "planned", end="2026-06-11 11:00")])


@pytest.mark.parametrize(
    ("which", "start", "end"),
    [
        ("before_next_pick", "2026-06-10 08:00", "2026-06-11 07:00"),
        ("at_next_pick", "2026-06-11 07:00", "2026-06-11 12:00"),
        ("after_next_pick", "2026-06-11 11:00", "2026-06-11 21:00"),
    ],
)
def test_windows_of_a_pick_follow_the_plan(which: str, start: str, end: str) -> None:
    assert span(which, "2026-06-10 08:00", facts=PLANNED) == (at(start), at(end))


def test_without_a_planned_pick_one_is_taken_to_come_in_two_days() -> None:
    assert span("before_next_pick", "2026-06-10 08:00") == (NOW, NOW + 2 * DAY)


WINDOWS = ("now", "today", "dawn_until_dry", "before_heat", "at_sunset", "before_next_pick",
           "at_next_pick", "after_next_pick", "coming_weeks")  # fmt: skip


@given(st.sampled_from(WINDOWS), st.integers(0, 24 * 60 - 1), st.sampled_from([WARM, PLANNED]))
def test_every_window_ends_after_it_starts_and_never_starts_in_the_past(
    which: str, minute: int, found: Facts
) -> None:
    now = at("2026-06-10 00:00") + 60 * minute
    start, end = window(job("j", which), day("x", 1, found), now)
    assert now <= start < end


def test_a_no_entry_time_moves_the_start_and_past_the_window_the_job_must_wait() -> None:
    jobs = book(job("j", "today", guards=["entry"]))
    for end, start, plan in (
        ("2026-06-10 12:00", "2026-06-10 12:00", "do"),
        ("2026-06-10 23:00", "2026-06-10 23:00", "must wait"),
    ):
        found = warm([event("2026-06-10 06:00", "no_entry", end=end)])
        (item,) = listed([finding("x", "j")], jobs, [day("x", 1, found)]).items
        (block,) = item.blocks
        assert (block.start, block.plan) == (at(start), plan)
        assert block.end >= block.start


# Cold, through the whole list

SHIPPED = shipped_jobs()
temperatures = st.integers(-60, 150).map(lambda tenth: tenth / 10)


@given(
    outside=st.none() | temperatures,
    ahead=st.none() | st.lists(temperatures, min_size=12, max_size=14),
    hour=st.integers(0, 23),
)
def test_no_shipped_job_that_opens_or_wets_is_done_now_in_air_that_is_too_cold(
    outside: float | None, ahead: list[float] | None, hour: int
) -> None:
    now = at("2026-04-20 00:00") + hour * HOUR
    first = f"2026-04-{19 if hour < 12 else 20} {(hour + 12) % 24:02}:00"
    rows: dict[str, Any] = {"t": [9.0 + 0.1 * (i % 5) for i in range(13)]}
    if outside is not None:
        rows["out"] = [outside + 0.1 * (12 - i) for i in range(13)]
    sources = [log(first, **rows)]
    if ahead is not None:
        later = log(first, forecast=len(ahead), out=ahead)
        later.time += 13 * HOUR
        sources.append(later)
    found = facts(sources, [event("2026-04-18 12:00", "stages", stages=(65,))], TUNNEL, now)
    critical = found["cold_watch"].fact(0).quantities["critical_temperature"].most
    names_of = [n for n, j in SHIPPED.jobs.items() if "cold" in j.guards]
    rise, fall = at("2026-04-20 05:15"), at("2026-04-20 18:45")
    block = BlockDay("x", found, 1, rise, fall, rise + DAY)
    for item in listed([finding("x", *names_of)], SHIPPED, [block], now=now).items:
        (each,) = item.blocks
        cold = outside is None or outside < critical
        if cold:
            assert each.guard.ready != "ready"
            assert "thermometer" in " ".join(each.guard.words)
            assert each.plan != "do" or each.start > now
        if each.plan == "do" and ahead is not None and (each.start - now) // HOUR < 12:
            hours = (each.start - now) // HOUR
            assert ahead[hours] >= critical
