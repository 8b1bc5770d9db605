"""A folder is followed: whole files are read once, half-written ones wait, broken ones are said."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import numpy as np
import pytest

from riskrules.errors import LogError
from riskrules.farm import load_farm
from riskrules.logbook.follow import Follower, follow
from riskrules.logbook.intake import Taken
from riskrules.logs.store import LogStore

from .farm import HEAD, make, moment, rows


@pytest.fixture
def follower(tmp_path: Path) -> Follower:
    """Return a follower of an empty folder."""
    farm = load_farm(make(tmp_path))
    return Follower(tmp_path / "in", farm, LogStore(tmp_path / "store"), [].append)


def ready(f: Follower, at: float) -> list[str]:
    """Return the names of files that are ready at some moment."""
    return [p.name for p in f.look(at)]


def take(f: Follower, path: Path) -> Taken:
    """Take in a file that one sensor has."""
    (taken,) = f.take(path)
    return taken


def test_a_file_is_ready_once_it_has_stood_still(follower: Follower) -> None:
    path = follower.folder / "low_1.csv"
    path.write_text(HEAD + rows(0, 5))
    assert ready(follower, 0.0) == []
    assert ready(follower, follower.settle - 0.1) == []
    assert ready(follower, follower.settle) == ["low_1.csv"]


def test_a_file_that_still_grows_waits_from_its_last_change(follower: Follower) -> None:
    path = follower.folder / "low_1.csv"
    path.write_text(HEAD + rows(0, 5))
    assert ready(follower, 0.0) == []
    path.write_text(HEAD + rows(0, 6))
    assert ready(follower, follower.settle) == []
    assert ready(follower, 2 * follower.settle) == ["low_1.csv"]


def test_a_file_whose_last_line_has_no_end_waits_longer(follower: Follower) -> None:
    path = follower.folder / "low_1.csv"
    path.write_text((HEAD + rows(0, 5)).rstrip("\n"))
    assert ready(follower, 0.0) == []
    assert ready(follower, follower.patience - 1) == []
    assert ready(follower, follower.patience) == ["low_1.csv"]


def test_what_was_read_is_not_read_again_until_it_changes(follower: Follower) -> None:
    path = follower.folder / "low_1.csv"
    path.write_text(HEAD + rows(0, 5))
    assert take(follower, path).state == "new"
    assert ready(follower, 100.0) == []
    path.write_text(HEAD + rows(0, 8))
    assert take(follower, path).state == "grown"
    found = follower.store.readings("low_beds", "low")
    assert found.time.tolist() == [moment(h) for h in range(8)]


def test_a_new_follower_goes_on_where_another_was_killed(follower: Follower) -> None:
    path = follower.folder / "low_1.csv"
    path.write_text(HEAD + rows(0, 5))
    follower.take(path)
    other = Follower(follower.folder, follower.farm, follower.store, [].append)
    assert take(other, path).state == "known"
    assert len(other.store.readings("low_beds", "low")) == 5


def test_a_broken_file_is_set_aside_with_its_report_and_read_when_it_was_mended(
    follower: Follower,
) -> None:
    said: list[str] = []
    follower.say = said.append
    path = follower.folder / "high.csv"
    path.write_text("nothing,of,use\n1,2,3\n")
    taken = take(follower, path)
    assert taken.state == "aside" and taken.problems
    assert "high.csv: set aside" in said[0] and "time" in said[0]
    assert [a.file for a in follower.store.asides()] == ["high.csv"]
    assert path.exists()
    path.write_text(HEAD + rows(0, 3))
    assert take(follower, path).state == "new"


def test_a_file_of_no_sensor_is_left_alone_and_said_once(follower: Follower) -> None:
    said: list[str] = []
    follower.say = said.append
    (follower.folder / "readme.csv").write_text("hello\n")
    assert take(follower, follower.folder / "readme.csv").state == "not ours"
    assert "left alone" in said[0]
    assert ready(follower, 1000.0) == []
    assert not follower.store.history()


def test_once_reads_all_that_is_there_and_counts(tmp_path: Path) -> None:
    farm = load_farm(make(tmp_path))
    for i in range(3):
        (tmp_path / f"in/low_{i}.csv").write_text(HEAD + rows(4 * i, 4))
    (tmp_path / "in/high.csv").write_bytes(b"\x00\x01broken")
    store = LogStore(tmp_path / "store")
    found = follow(tmp_path / "in", farm, store, once=True, say=[].append)
    assert found == {"new": 3, "aside": 1}
    assert len(store.readings("low_beds", "low")) == 12


def test_a_file_that_comes_while_following_is_read(tmp_path: Path) -> None:
    farm = load_farm(make(tmp_path))
    store, stop, said = LogStore(tmp_path / "store"), threading.Event(), []
    words = (tmp_path / "in", farm, store)
    thread = threading.Thread(target=follow, args=words, kwargs={"say": said.append, "stop": stop})
    thread.start()
    try:
        (tmp_path / "in/low_1.csv").write_text(HEAD + rows(0, 5))
        until = time.monotonic() + 60
        while len(said) < 2 and time.monotonic() < until:
            time.sleep(0.05)
    finally:
        stop.set()
        thread.join()
    assert "low_1.csv: read, 5 of 5 rows kept for low_beds low" in said
    assert np.array_equal(store.readings("low_beds", "low").time, [moment(h) for h in range(5)])


def test_a_folder_that_is_none_is_refused(tmp_path: Path) -> None:
    farm = load_farm(make(tmp_path))
    with pytest.raises(LogError, match="no such folder"):
        follow(tmp_path / "gone", farm, LogStore(tmp_path / "store"), once=True)


def test_the_store_may_lie_in_the_folder_that_is_followed(tmp_path: Path) -> None:
    farm = load_farm(make(tmp_path))
    (tmp_path / "in/low_1.csv").write_text(HEAD + rows(0, 4))
    store = LogStore(tmp_path / "in/store")
    assert follow(tmp_path / "in", farm, store, once=True, say=[].append) == {"new": 1}
    assert follow(tmp_path / "in", farm, store, once=True, say=[].append) == {"known": 1}


def test_a_log_that_two_blocks_share_is_stored_for_both(tmp_path: Path) -> None:
    path = make(tmp_path)
    text = path.read_text().replace('"in/low_*.csv", sensor: low', "in/high.csv, sensor: low")
    path.write_text(text)
    farm, store = load_farm(path), LogStore(tmp_path / "store")
    (tmp_path / "in/high.csv").write_text(HEAD + rows(0, 4))
    assert follow(tmp_path / "in", farm, store, once=True, say=[].append) == {"new": 2}
    assert len(store.readings("low_beds", "low")) == len(store.readings("high_beds", "high")) == 4
