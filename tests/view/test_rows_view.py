"""The walk on the screen, what was seen before, and what a sighting does to the review."""

from __future__ import annotations

import pytest
from rows_help import ABOUT, HAND, NOW, cut_farm, fresh, walk_in

from riskrules.errors import FileProblems, RiskRulesError
from riskrules.journal.counts import estimate
from riskrules.journal.records import Block, Stop
from riskrules.journal.symptoms import load_symptoms
from riskrules.journal.walks import size_to_see
from riskrules.logs.events import Event
from riskrules.view import rows
from riskrules.view import rows_records as rr
from riskrules.view.desk import open_desk
from riskrules.view.rows_keep import keep, view_for
from riskrules.view.rows_take import take_along, take_back_in

KEY, OTHER = ("gray_mold", "ripe_fruit"), ("anthracnose", "ripe_fruit")
SYMPTOMS = load_symptoms()
NOW_SHOWN = NOW


@pytest.fixture
def journal(tmp_path):
    with fresh(tmp_path) as opened:
        yield opened


def count(journal, walk, stop, counts, key=KEY, hand=HAND):
    values = rr.counted(journal, walk, key, stop, counts, hand)
    record = rr.RECORD.validate_python(values)
    journal.add([record])


def test_a_stop_is_done_when_all_that_was_planned_is_counted(journal):
    walk = walk_in(journal)
    count(journal, walk, 1, (0, 10))
    seen = rows.shown(journal, walk, SYMPTOMS)
    assert [s.state for s in seen.stops[:2]] == ["begun", "open"] and seen.done == 0
    count(journal, walk, 1, (0, 10), OTHER)
    seen = rows.shown(journal, walk, SYMPTOMS, [("mites", "leaf"), ("nonsense", "leaf")])
    assert seen.stops[0].state == "done" and seen.done == 1
    assert seen.keys[-1] == ("mites", "leaf")
    assert seen.stops[0].state == "done"  # what was added later holds no stop open
    assert seen.at(99).number == 2 and seen.at(5).number == 5
    assert seen.total(OTHER).examined == 10 and seen.total(("mites", "leaf")) is None


def test_the_plan_says_why_so_many(journal):
    walk = rows.new_walk("a", ABOUT, 10, rows.Purpose("see", share=0.02), "random",
                         ("gray_mold",), HAND, 5)  # fmt: skip
    size = size_to_see(ABOUT, 10, 0.02)
    assert len(walk.body.stops) == size.stops and walk.note == size.words
    with pytest.raises(ValueError, match="beds of the block is not known"):
        rows.new_walk("a", Block(), 10, rows.Purpose(), "random", (), HAND, 5)


def test_open_walks_are_those_of_the_last_week(journal):
    walk = walk_in(journal)
    assert rows.open_walks(journal, "south_beds", NOW + 6 * 86_400) == [walk]
    assert rows.open_walks(journal, "south_beds", NOW + 8 * 86_400) == []
    assert rows.open_walks(journal, "north_beds", NOW) == []


def test_seen_before_has_intervals_and_leaves_this_walk_out(journal):
    old, new = walk_in(journal), walk_in(journal)
    for stop in range(1, 11):
        count(journal, old, stop, (stop % 2, 10))
    count(journal, new, 1, (9, 10))
    records = journal.records(kinds=("sighting",))
    event = Event(NOW - 86_400, "sighting", "ripe_fruit gray_mold", None, 3, 100, "south_beds")
    double = [rr.standing(journal, old)[KEY]]
    events = [event, *(e for e in map(_event, double) if e)]
    found = rows.seen_before(records, events, "south_beds", KEY, NOW, new.id, 1)
    assert [(s.time, s.estimate.affected) for s in found.seen] == [(NOW, 5), (NOW - 86_400, 3)]
    expected = estimate([Stop(stop=n, affected=n % 2, examined=10) for n in range(1, 11)])
    assert found.seen[0].estimate.high == expected.high
    beds = [n for n, bed, _ in old.body.stops if bed == 1]
    assert found.seen[0].in_bed == (sum(n % 2 for n in beds), 10 * len(beds))
    assert found.seen[1].stops == 0 and found.trend
    early = rows.seen_before(records, events, "south_beds", KEY, NOW - 86_400, None)
    assert early.counts == 1


def _event(record):
    from riskrules.journal.events import event_of

    return event_of(record)


def test_a_sighting_raises_a_finding_and_answers_one(tmp_path):
    """South beds on 20 June: gray mold symptoms are due and nobody looked; then somebody does."""
    desk = open_desk(cut_farm(tmp_path / "farm"))
    rules = {(f.rule, f.block) for f in desk.review().findings}
    assert ("gray_mold.symptoms_due_nobody_looked", "south_beds") in rules
    assert ("gray_mold.sighting_confirms", "south_beds") not in rules
    assert desk.now == NOW
    walk = walk_in(desk.journal)
    for stop in range(1, 11):
        values = rr.counted(desk.journal, walk, KEY, stop, (3, 10), HAND)
        view = view_for(desk.journal, desk.farm, HAND.made)
        assert keep(desk.journal, view, SYMPTOMS, [values]).kept
    after = {(f.rule, f.block) for f in desk.review().findings}
    assert ("gray_mold.sighting_confirms", "south_beds") in after
    assert ("gray_mold.symptoms_due_nobody_looked", "south_beds") not in after


def test_what_is_taken_along_and_comes_back_once(tmp_path):
    desk = open_desk(cut_farm(tmp_path / "farm"))
    walk = walk_in(desk.journal)
    kinds = {k: take_along(k, "Farm <b>", walk, SYMPTOMS, "Ann") for k in ("pdf", "html", "phone")}
    assert kinds["pdf"].data.startswith(b"%PDF") and b"<b>" not in kinds["html"].data[:4000]
    assert b"south_beds" in kinds["phone"].data
    table = take_along("csv", "Farm", walk, SYMPTOMS, "Ann").data.decode().splitlines()
    cells = table[1].split(",")
    cells[2:4], cells[9:11] = ["2026-06-20T22:00", "Ann"], ["2", "10"]
    data = "\n".join([table[0], ",".join(cells)]).encode()
    view = view_for(desk.journal, desk.farm, HAND.made)
    take = (desk.journal, desk.farm, SYMPTOMS, view, False)
    assert [k.state for k in take_back_in(data, *take).kept] == ["new"]
    assert [k.state for k in take_back_in(data, *take).kept] == ["known"]
    assert rr.standing(desk.journal, walk)[KEY].body.affected == 2
    with pytest.raises(FileProblems, match="affected is 'x'"):
        take_back_in(data.replace(b",2,10", b",x,10"), *take)
    with pytest.raises(RiskRulesError, match="damaged"):
        take_back_in(b'{"format": ', *take)
    assert len(desk.journal.since()) == 2
