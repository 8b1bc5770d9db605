"""The desk says what the library says, once, and again when something changed."""

import os
import shutil
import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import date, datetime, timedelta
from pathlib import Path
from uuid import uuid4

import pytest

from riskrules.errors import RiskRulesError
from riskrules.journal.records import (
    Checked,
    Note,
    Pick,
    Record,
    RowCover,
    Sighting,
    Stages,
    TakenBack,
)
from riskrules.report import dumps
from riskrules.review import review
from riskrules.shipped import rulepacks_folder
from riskrules.sources import gather
from riskrules.view.desk import LATER_S, open_desk
from riskrules.view.kept import Kept
from riskrules.view.marks import mark_job, marks_of


@pytest.fixture
def farm(tmp_path, sample_logs):
    for path in sample_logs.iterdir():
        if path.suffix in (".csv", ".yaml"):
            shutil.copy(path, tmp_path / path.name)
    file = tmp_path / "farm.yaml"
    file.write_text(file.read_text() + "journal: journal.db\n")
    return file


def test_it_is_the_review_of_the_library(farm):
    desk = open_desk(farm)
    assert desk.journal is not None  # made, as the farm file names it
    gathered = gather((), farm)
    ours = review(gathered.farm, gathered.blocks, gathered.events, crew_hours=3.0)
    assert dumps(desk.review(crew_hours=3.0)) == dumps(ours)
    assert desk.now == ours.now


def test_the_same_is_kept_and_what_changed_is_not(farm):
    desk = open_desk(farm)
    first = desk.review()
    assert desk.review() is first
    when, body = desk.now - 3600, Pick(weight_kg=20)
    record = Record(
        id=uuid4(), block="north_beds", time=when, who="a test", made=when, body=body
    )  # fmt: skip
    desk.journal.add([record])
    second = desk.review()
    assert second is not first and desk.review() is second
    assert [e for e in desk.events if e.event == "pick" and e.time == record.time]
    events = farm.parent / "events.csv"
    events.write_text(events.read_text().rsplit("\n", 2)[0] + "\n")
    assert desk.review() is not second
    log = farm.parent / "north_beds.csv"
    log.write_text("\n".join(log.read_text().split("\n")[:-100]) + "\n")
    before = desk.report()
    os.utime(log, (1, 1))
    assert desk.report() is not before


def test_units_are_of_the_one_who_looks(farm):
    desk = open_desk(farm)
    other = desk.with_units("degC", "mm")
    assert (desk.style.temperature, other.style.temperature) == ("degF", "degC")
    assert desk.review().style == desk.style and other.review().style == other.style
    assert desk.review().now == other.review().now


def test_readings_are_judged(farm):
    desk = open_desk(farm)
    rows = desk.readings("north_beds")[0]
    assert len(rows) and rows.sensor
    with pytest.raises(RiskRulesError, match="no log of a block"):
        desk.readings("../north_beds")


def test_records_of_a_foreign_block_are_refused(farm):
    desk = open_desk(farm)
    desk.journal.add([Record(id=uuid4(), block="elsewhere", time=1_790_000_000, who="a test",
                             made=1_790_000_000, body=Pick(weight_kg=20))])  # fmt: skip
    with pytest.raises(RiskRulesError, match="records of elsewhere"):
        desk.review()


def test_a_store_that_is_not_made_yet_is_none(farm):
    farm.write_text(farm.read_text() + "store: stored\n")
    assert open_desk(farm).store is None


def test_a_broken_farm_file_is_an_error_at_once(tmp_path):
    file = tmp_path / "farm.yaml"
    file.write_text("farm: 1\n")
    with pytest.raises(RiskRulesError, match=r"farm\.yaml"):
        open_desk(file)


def test_many_ask_at_once_and_it_is_made_once():
    kept, made, start = Kept(2), [], threading.Barrier(8)

    def ask(_):
        start.wait(5)
        return kept.get("a", lambda: made.append(1) or len(made))

    with ThreadPoolExecutor(8) as pool:
        assert list(pool.map(ask, range(8))) == [1] * 8
    for key in "bcd":
        kept.get(key, lambda: 0)
    assert len(kept) == 2


def test_an_error_is_not_kept():
    kept = Kept(2)
    with pytest.raises(ValueError, match="no"):
        kept.get("a", lambda: int("no"))
    assert kept.get("a", lambda: 7) == 7


def test_reviews_of_many_sessions_at_once_are_alike(farm):
    desk = open_desk(farm)
    with ThreadPoolExecutor(4) as pool:
        found = list(pool.map(lambda _: dumps(desk.review()), range(4)))
    assert len(set(found)) == 1 and isinstance(desk.farm_file, Path)


def noted(desk, body, time, block="north_beds"):
    """Write something down, as a page does."""
    record = Record(id=uuid4(), block=block, time=time, who="a test", made=time, body=body)
    desk.journal.add([record])
    return record


def test_what_no_rule_reads_makes_no_review_anew(farm):
    """A mark, its change, a note: the same review. Else a tap would wait for the whole farm."""
    desk = open_desk(farm)
    before = desk.review()
    day = date(2026, 10, 20)
    for what in ("done", "put_off", None, "not_here"):
        mark_job(desk.journal, "north_beds", "scout_flowers", day, what, "ann", desk.now, desk.now)
        assert desk.review() is before
        assert desk.marks(day) == marks_of(desk.journal, day)
    noted(desk, Note(text="the gate was open"), desk.now)
    assert desk.review() is before


@pytest.mark.parametrize(
    "body",
    [
        Sighting(symptom="gray_mold", part="flower", affected=9, examined=10),
        RowCover(what="off"),
        Stages(codes=(60, 65)),
        Checked(),
        Checked(same=("sides",)),
    ],
    ids=["a sighting", "a cover", "stages", "nothing else was done", "a confirmation"],
)
def test_what_rules_read_makes_the_review_anew(farm, body):
    desk = open_desk(farm)
    before = desk.review()
    noted(desk, body, desk.now - 60)
    assert desk.review() is not before
    ours = review(desk.farm, desk.logs, desk.events)
    assert dumps(desk.review()) == dumps(ours)


def test_what_is_taken_back_brings_the_earlier_review_back(farm):
    desk = open_desk(farm)
    before = desk.review()
    made = noted(desk, Pick(weight_kg=20), desk.now - 3600)
    assert desk.review() is not before
    back = TakenBack()
    desk.journal.add([Record(id=uuid4(), block="north_beds", time=made.time, who="a test",
                             made=made.time, body=back, replaces=made.id, why="x")])  # fmt: skip
    assert desk.review() is before


def test_limits_of_the_farm_that_changed_judge_anew(farm):
    """The file of limits that the farm names: its readings are judged by it as it is now."""
    limits = farm.parent / "limits.yaml"
    shipped = (rulepacks_folder() / "limits.yaml").read_text()
    limits.write_text(shipped)
    farm.write_text(farm.read_text() + "limits: limits.yaml\n")
    desk = open_desk(farm)
    first, ready, report = desk.review(), desk.ready(), desk.report()
    assert desk.review() is first and desk.ready() is ready and desk.report() is report
    narrow = shipped
    for was, top in (("[-40, 60]", 60), ("[-35, 48]", 48), ("[-30, 55]", 55)):  # of air
        assert was in shipped
        narrow = narrow.replace(was, was.replace(f" {top}]", " 5]"))
    limits.write_text(narrow)
    assert desk.review() is not first and desk.ready() is not ready
    assert desk.report() is not report
    warm = [r.values["air_temperature"] for b in desk.ready() for r in b.own]
    assert all(not (v > 5).any() for v in warm) and any((v <= 5).any() for v in warm)


def test_now_follows_what_is_written_down_but_not_far(farm):
    desk = open_desk(farm)
    row = desk.now
    assert desk.as_of(row + 9000) == row, "nothing was noted since"
    assert desk.happened(row, row + 9000) == ()
    noted(desk, RowCover(what="off"), row + 600)
    noted(desk, Checked(), row + LATER_S + 60)
    noted(desk, Pick(state="planned"), row + 1200)
    assert desk.as_of(row + 599) == row, "it lies ahead of the clock"
    assert desk.as_of(row + 600) == desk.as_of(row + 90_000) == row + 600
    assert [e.event for e in desk.happened(row, row + 90_000)] == ["row_cover", "checked"]


@pytest.mark.parametrize("sample", ["farm.yaml", "messy/farm.yaml"])
def test_a_block_reviewed_alone_says_the_same(sample_logs, sample):
    """With lenders, and the farm's 'now' also where the block's own log ends earlier."""
    desk = open_desk(sample_logs / sample)
    last = datetime.fromtimestamp(desk.now, desk.style.zone).date()
    first = last - timedelta(days=3)
    whole = desk.review(first, last)
    for each in whole.blocks:
        alone = desk.review_of(each.text.block, first, last)
        mine = next(b for b in alone.blocks if b.text.block == each.text.block)
        assert (alone.now, alone.window) == (whole.now, whole.window)
        assert mine.state == each.state
        assert mine.findings == each.findings and mine.unknowns == each.unknowns
    with pytest.raises(RiskRulesError, match="no log of a block"):
        desk.review_of("elsewhere")
