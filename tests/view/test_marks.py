"""Marks of jobs and states confirmed: what is written into the journal, and what is not."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from uuid import uuid4

import pytest

from riskrules.errors import RiskRulesError
from riskrules.farm import load_farm
from riskrules.journal.events import events_of
from riskrules.journal.records import JobDone, Record, RowCover, TakenBack
from riskrules.journal.stale import stale
from riskrules.journal.store import Journal, open_journal
from riskrules.logs.events import Event
from riskrules.review import shipped_rulebook
from riskrules.view.journal_file import make_journal
from riskrules.view.marks import DAY_S, mark_job, marks_of, moment_of
from riskrules.view.same import asked_states, nothing_else, same_records

ROOT = Path(__file__).resolve().parents[2]
DAY = date(2026, 10, 20)
NOW = 1_792_494_000


@pytest.fixture
def journal(tmp_path):
    with open_journal(tmp_path / "j.db") as opened:
        yield opened


def tap(journal: Journal, what: str | None, made: int = NOW, day: date = DAY, who: str = "ann"):
    return mark_job(journal, "north", "scout_flowers", day, what, who, made, made, "rule@north")


def test_a_mark_is_kept_changed_and_taken_back(journal):
    assert [type(r.body) for r in tap(journal, "done")] == [JobDone]
    assert marks_of(journal, DAY).today[("north", "scout_flowers")].what == "done"
    assert tap(journal, "done", NOW + 1) == []
    changed = tap(journal, "put_off", NOW + 2)
    assert changed[0].replaces is not None and changed[0].why
    assert tap(journal, None, NOW + 3)[0].body == TakenBack()
    assert marks_of(journal, DAY).today == {}
    assert len(journal.since()) == 3, "nothing is erased"
    assert tap(journal, None, NOW + 4) == []


def test_two_people_who_mark_the_same(journal):
    """Both records stand until one of them is corrected; the later counts, one tap undoes both."""
    for who, what in (("ann", "done"), ("bob", "not_here")):
        tap(journal, what, NOW + (who == "bob"), who=who)
    assert marks_of(journal, DAY).today[("north", "scout_flowers")].who == "bob"
    tap(journal, None, NOW + 9)
    assert marks_of(journal, DAY).today == {}


def test_days_do_not_mix(journal):
    tap(journal, "put_off", NOW - DAY_S, date(2026, 10, 19))
    tap(journal, "not_here", NOW - 40 * DAY_S, date(2026, 9, 10))
    found = marks_of(journal, DAY)
    assert found.today == {}
    assert [m.what for m in found.earlier[("north", "scout_flowers")]] == ["put_off"]


def test_a_strange_mark_is_refused(journal):
    with pytest.raises(ValueError, match="expected one of done, put_off, not_here"):
        tap(journal, "perhaps")


def test_moment_is_the_clock_only_beside_the_data():
    assert moment_of(NOW, NOW + DAY_S) == NOW + DAY_S
    assert moment_of(NOW, NOW + DAY_S + 1) == NOW


def test_states_of_the_journal_are_asked_as_the_journal_asks(journal):
    """The same list as `riskrules.journal.stale` gives, where all was said in the journal."""
    shared = shipped_rulebook().shared
    farm = load_farm(ROOT / "sample_logs" / "farm.yaml")
    asked = asked_states(farm.text.blocks, (), (), NOW, shared)
    assert asked == ()
    old = NOW - 10 * DAY_S
    journal.add([Record(id=uuid4(), block="north_beds", time=old, body=RowCover(what="on"),
                        who="ann", made=old)])  # fmt: skip
    asked = asked_states(farm.text.blocks, events_of(journal), events_of(journal), NOW, shared)
    assert [a.stale for a in asked] == stale(journal, NOW, shared)
    assert [a.by_journal for a in asked] == [True]
    journal.add(same_records(asked, "ann", NOW, NOW))
    assert asked_states(farm.text.blocks, events_of(journal), events_of(journal), NOW, shared) == ()


def test_states_of_an_events_file_are_written_down(journal):
    shared = shipped_rulebook().shared
    farm = load_farm(ROOT / "sample_logs" / "farm.yaml")
    old = NOW - 300 * DAY_S
    events = [Event(old, "row_cover", "on", block="hill_beds"),
              Event(old, "stages", block="north_beds", stages=(60, 65)),
              Event(old, "sides", "down", block="north_beds")]  # fmt: skip
    asked = asked_states(farm.text.blocks, events, events_of(journal), NOW, shared)
    assert {(a.block, a.stale.state) for a in asked} == {
        ("north_beds", "stages"), ("north_beds", "sides"),
    }, "hill beds have no row covers"  # fmt: skip
    journal.add(same_records(asked, "ann", NOW, NOW))
    said = sorted((e.event, e.stages, e.time) for e in events_of(journal))
    assert said == [("sides", (), NOW), ("stages", (60, 65), NOW)]
    assert asked_states(farm.text.blocks, events_of(journal), events_of(journal), NOW, shared) == ()


def test_nothing_else_makes_the_journal_current(journal):
    journal.add([nothing_else("ann", NOW, NOW)])
    assert [e.event for e in events_of(journal)] == ["checked"]


def test_a_journal_is_made_and_named(tmp_path):
    farm = tmp_path / "farm.yaml"
    text = (ROOT / "sample_logs" / "farm.yaml").read_text()
    farm.write_text(text.rstrip("\n"))
    (tmp_path / "journal.db").write_text("somebody's file")
    made = make_journal(farm)
    assert (
        made.name == "journal_2.db" and (tmp_path / "journal.db").read_text() == "somebody's file"
    )
    assert farm.read_text() == text.rstrip("\n") + "\njournal: journal_2.db\n"
    assert load_farm(farm).text.journal == "journal_2.db"
    with pytest.raises(RiskRulesError, match="already"):
        make_journal(farm)


def test_a_farm_file_that_takes_no_line_stays_as_it_is(tmp_path):
    farm = tmp_path / "farm.yaml"
    text = ("{farm: f, place: {latitude: 1, longitude: 1, zone: UTC}, "
            "blocks: [{block: b, logs: [{file: a.csv}]}]}\n")  # fmt: skip
    farm.write_text(text)
    with pytest.raises(RiskRulesError, match="by hand"):
        make_journal(farm)
    assert farm.read_text() == text and [p.name for p in tmp_path.iterdir()] == ["farm.yaml"]
