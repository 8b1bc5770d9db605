"""The desk says what the library says, once, and again when something changed."""

import os
import shutil
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from uuid import uuid4

import pytest

from riskrules.errors import RiskRulesError
from riskrules.journal.records import Pick, Record
from riskrules.report import dumps
from riskrules.review import review
from riskrules.sources import gather
from riskrules.view.desk import open_desk
from riskrules.view.kept import Kept


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
