"""The morning of the invented sample farm: what it says must be what a review says."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path
from uuid import uuid4

import pytest

from riskrules.findings.model import SEVERITIES
from riskrules.journal.records import Record, RowCover
from riskrules.view.desk import Desk, open_desk
from riskrules.view.marks import Mark, Marks
from riskrules.view.morning import QUIET, JournalView, Morning, morning
from riskrules.view.morning_text import morning_lines

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


@pytest.fixture
def at_seven(tmp_path) -> Desk:
    """The sample farm with a journal: the last row of its logs is of 07:00."""
    for path in (ROOT / "sample_logs").iterdir():
        if path.suffix in (".csv", ".yaml"):
            shutil.copy(path, tmp_path / path.name)
    file = tmp_path / "farm.yaml"
    file.write_text(file.read_text(encoding="utf-8") + "journal: journal.db\n", encoding="utf-8")
    return open_desk(file)


def seen_at(desk: Desk, clock: int) -> Morning:
    """What the page makes of a desk at a clock's time."""
    review = desk.review(as_of=desk.as_of(clock))
    events = desk.happened(review.window[0], clock)
    return morning(review, JournalView(True, events=events, row=desk.now))


def cover_off(desk: Desk, time: int) -> None:
    desk.journal.add([Record(id=uuid4(), block="north_beds", time=time, made=time, who="ann",
                             body=RowCover(what="off"))])  # fmt: skip


def lift_noted(m: Morning, block: str) -> str | None:
    """What the job of lifting the cover says of a block that was noted."""
    found = [b for j in m.jobs if j.job == "lift_row_cover" for b in j.blocks if b.block == block]
    return found[0].noted.word if found[0].noted else None


def test_a_cover_taken_off_after_the_last_row_is_off(at_seven):
    """The grower notes at 07:10 that covers came off; the last row is of 07:00."""
    row, clock = at_seven.now, at_seven.now + 720
    before = seen_at(at_seven, clock)
    assert before.later == () and before.now == row and lift_noted(before, "north_beds") is None
    cover_off(at_seven, row + 600)
    after = seen_at(at_seven, clock)
    assert (after.now, after.row) == (row + 600, row)
    assert [(e.block, e.word, e.counted) for e in after.later] == [
        ("north_beds", "row cover off", True)
    ]
    assert lift_noted(after, "north_beds") == "row cover off"
    assert lift_noted(after, "south_beds") is None
    text = [x.text for x in morning_lines(after, lambda key, **values: f"{key} {values}")]
    assert len([x for x in text if x.startswith("dawn.job_noted")]) == 1
    north = next(b for b in at_seven.review(as_of=after.now).blocks if b.text.block == "north_beds")
    spell = list(north.facts["cover_spell"])[-1]
    assert spell.end == (row + 600, row + 600), "on at 18:30 of the evening before, off at 07:10"
    assert spell.quantities["hours"].least == pytest.approx(12 + 40 / 60, abs=1e-3)


def test_a_cover_put_on_again_is_not_off(at_seven):
    cover_off(at_seven, at_seven.now - 1200)
    at_seven.journal.add([Record(id=uuid4(), block="north_beds", time=at_seven.now - 600, made=0,
                                 who="ann", body=RowCover(what="on"))])  # fmt: skip
    m = seen_at(at_seven, at_seven.now + 60)
    assert m.later == () and lift_noted(m, "north_beds") is None


def test_what_the_air_did_since_the_last_row_is_unknown(at_seven):
    """Ten minutes without readings are a hole like any other, and no block is quieter for it."""
    before = seen_at(at_seven, at_seven.now + 720)
    cover_off(at_seven, at_seven.now + 600)
    after = seen_at(at_seven, at_seven.now + 720)
    style = at_seven.style
    hole = style.span(at_seven.now, at_seven.now + 600)
    facts = at_seven.review(as_of=after.now).blocks[0].facts["log_gap"]
    assert any(f.start[0] == at_seven.now and f.end[1] == after.now for f in facts)
    assert any(hole in u.sentence or hole in " ".join(u.causes)
               for g in after.unknowns for u in g.unknowns)  # fmt: skip
    ranks = {n.block: n.severity for n in before.nights}
    for night in after.nights:
        assert night.severity != QUIET or ranks[night.block] == QUIET
    assert sorted(f.id for n in after.nights if n.finding for f in (n.finding,)) == sorted(
        f.id for n in before.nights if n.finding for f in (n.finding,)
    ), "what the night did stays what it did"


def test_what_was_noted_long_after_the_last_row_is_told_and_waits(at_seven):
    row = at_seven.now
    cover_off(at_seven, row + 5 * 3600)
    m = seen_at(at_seven, row + 6 * 3600)
    assert m.now == row and lift_noted(m, "north_beds") == "row cover off"
    assert [(e.time, e.counted) for e in m.later] == [(row + 5 * 3600, False)]
    lines = [line.text for line in morning_lines(m, lambda key, **values: f"{key} {values}")]
    assert any("dawn.later_waits" in x for x in lines)
    assert any("dawn.later_line_waits" in x and "row cover off" in x for x in lines)
    assert not any("dawn.later_counted" in x for x in lines)


def test_only_some_blocks_keep_what_was_noted_for_them(at_seven):
    cover_off(at_seven, at_seven.now + 60)
    m = seen_at(at_seven, at_seven.now + 120)
    assert m.only({"north_beds"}).later == m.later and m.only({"hill_beds"}).later == ()
