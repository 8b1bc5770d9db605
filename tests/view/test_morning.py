"""The morning of the invented sample farm: what it says must be what a review says."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path
from uuid import uuid4

import pytest

from riskrules.findings.model import SEVERITIES
from riskrules.view.desk import Desk, open_desk
from riskrules.view.marks import Mark, Marks
from riskrules.view.morning import QUIET, JournalView, Morning, morning

ROOT = Path(__file__).resolve().parents[2]
FARM = ROOT / "sample_logs" / "farm.yaml"


@pytest.fixture(scope="module")
def desk() -> Desk:
    return open_desk(FARM)


@pytest.fixture(scope="module")
def said() -> dict:
    """What the command says, from a process of its own."""
    command = [sys.executable, "-m", "riskrules.cli", "review", "--farm", str(FARM), "--json",
               "--crew-hours", "3"]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, check=True)
    return json.loads(done.stdout)


def told(m: Morning) -> list[str]:
    return [f.sentence for n in m.nights for f in n.findings]


def test_sentences_are_those_of_the_command_in_its_order(desk, said):
    m = morning(desk.review())
    assert sorted(told(m)) == sorted(f["sentence"] for f in said["findings"])
    for night in m.nights:
        of_block = [f["sentence"] for f in said["findings"] if f["block"] == night.block]
        rest = [f.sentence for f in (*night.others, *night.ahead)]
        assert rest == [s for s in of_block if s in rest]
        if night.finding:
            past = [f for f in said["findings"] if f["block"] == night.block
                    and f["start"] <= said["now"]]  # fmt: skip
            worst = min(past, key=lambda f: SEVERITIES.index(f["severity"]))
            assert night.sentence == worst["sentence"] and night.severity == worst["severity"]


def test_jobs_are_those_of_the_command_fitted_as_it_fits_them(desk, said):
    """The plan is fitted here from a review without hours; the command fits with them."""
    m = morning(desk.review(), None, 3.0)
    mine = [
        (j.job, j.words, [(b.block, b.plan, b.hours, list(b.checks)) for b in j.blocks])
        for j in m.jobs
    ]
    theirs = [
        (
            j["job"],
            j["words"],
            [(b["block"], b["plan"], b["hours"], b["checks"]) for b in j["blocks"]],
        )
        for j in said["work"]["jobs"]
    ]
    assert mine == theirs
    assert m.planned_hours == said["work"]["planned_hours"] and m.undone


@pytest.mark.parametrize("hours", [None, 0.0, 1.0, 5.0, 100.0])
def test_any_hours_fit_as_in_a_review(desk, hours):
    theirs = desk.review(crew_hours=hours).work
    for base in (desk.review(), desk.review(crew_hours=2.0)):
        m = morning(base, None, hours)
        assert m.planned_hours == theirs.planned_hours
        plans = [[b.plan for b in j.blocks] for j in m.jobs]
        assert plans == [[b.plan for b in i.blocks] for i in theirs.items]


def test_unknown_is_never_quiet(desk):
    m = morning(desk.review())
    creek = next(n for n in m.nights if n.block == "creek_beds")
    assert creek.severity == "Unknown" and creek.unknowns
    order = (*SEVERITIES, QUIET)
    ranks = [order.index(n.severity) for n in m.nights]
    assert ranks == sorted(ranks)


def test_every_unknown_is_told_with_what_settles_it(desk, said):
    m = morning(desk.review())
    mine = sorted(u.sentence for g in m.unknowns for u in g.unknowns)
    assert mine == sorted(u["sentence"] for u in said["unknowns"])
    for group in m.unknowns:
        assert group.settle and {s for u in group.unknowns for s in u.settle} == set(group.settle)
    assert [g.ahead for g in m.unknowns] == sorted(g.ahead for g in m.unknowns)


def test_findings_ahead_alone_do_not_make_a_night_quiet_with_a_gap(desk):
    """North beds without last night's findings: the log must cover the night to be quiet."""
    r = desk.review()
    north = next(b for b in r.blocks if b.text.block == "north_beds")
    ahead = tuple(f for f in r.findings if f.start > north.state.now)
    state = replace(north.state, logged_until="2026-10-20T01:00:00-04:00")
    for block, severity in (
        (replace(north, unknowns=()), QUIET),
        (replace(north, unknowns=(), state=state), "Unknown"),
        (north, "Unknown"),
    ):
        m = morning(replace(r, blocks=(block,), findings=ahead))
        assert m.nights[0].ahead
        assert m.nights[0].severity == severity


def test_marks_change_who_gets_hours(desk):
    r = desk.review()
    free = morning(r, None, 1.0)
    job = free.jobs[0]
    first = job.blocks[0]
    mark = Mark(uuid4(), first.block, job.job, "not_here", date(2026, 10, 20), "ann", 0)
    seen = JournalView(True, Marks({(first.block, job.job): mark}, {}))
    m = morning(r, seen, 1.0)
    assert m.jobs[0].blocks[0].mark == mark
    hours = sum(b.hours for j in m.jobs for b in j.blocks if b.plan == "do" and not b.mark)
    assert m.planned_hours == pytest.approx(hours) and hours <= 1.0
    done = replace(mark, what="done")
    m = morning(r, JournalView(True, Marks({(first.block, job.job): done}, {})), 1.0)
    assert m.planned_hours >= first.hours


def test_block_filter_hides_no_numbers_of_the_plan(desk):
    m = morning(desk.review(), None, 3.0)
    only = m.only({"hill_beds"})
    assert (
        {n.block for n in only.nights}
        == {"hill_beds"}
        == {b.block for j in only.jobs for b in j.blocks}
    )
    assert only.planned_hours == m.planned_hours


def test_messy_logs_leave_no_block_quiet():
    m = morning(open_desk(ROOT / "sample_logs" / "messy" / "farm.yaml").review())
    assert m.nights and all(n.severity != QUIET for n in m.nights)
