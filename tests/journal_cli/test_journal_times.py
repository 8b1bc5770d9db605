"""Times as people type them, on days when the clock is put forward and back, too."""

from __future__ import annotations

import pytest

from .keyboard import Keyboard

B = ("-b", "north_beds")


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("08:30", "2026-06-10 08:30"),
        ("8:30", "2026-06-10 08:30"),
        ("8.30", "2026-06-10 08:30"),
        ("now", "2026-06-10 09:45"),
        ("yesterday 18:30", "2026-06-09 18:30"),
        ("Today 6:05", "2026-06-10 06:05"),
        ("2026-06-01 18:30", "2026-06-01 18:30"),
        ("2026-06-01T18:30", "2026-06-01 18:30"),
        # 23:30 in UTC is 18:30 in Chicago, by summer time (UTC-5).
        ("2026-06-01T23:30Z", "2026-06-01 18:30"),
        ("2026-06-01T18:30-05:00", "2026-06-01 18:30"),
    ],
)
def test_a_time_means_what_people_mean(farm: Keyboard, typed: str, meant: str) -> None:
    farm.add("cover", "on", *B, "--at", typed)
    assert farm.local(farm.records()[0].time) == meant


@pytest.mark.parametrize(
    "typed",
    ["half past six", "25:00", "8:61", "2026-06-01", "yesterday", "", "1026-06-01T10:00"],
)
def test_what_is_no_time_is_refused(farm: Keyboard, typed: str) -> None:
    said = farm.refused("add", "cover", "on", *B, "--at", typed)
    assert said.startswith(f"--at is '{typed}'; expected a")


def test_a_time_that_came_twice_is_asked_about(farm: Keyboard) -> None:
    # In Chicago the clock is put back on 2026-11-01 at 02:00 to 01:00 (tzdata: first Sunday of
    # November since 2007).
    farm.at("2026-11-01T09:00")
    words = ("add", "cover", "on", *B, "--at", "01:30")
    for more in ((), ("--yes",)):
        said = farm.refused(*words, *more)
        assert "came twice" in said
        assert "'2026-11-01T01:30:00-05:00' or '2026-11-01T01:30:00-06:00'" in said
    farm.done(*words, answers=["maybe", "2"])
    farm.done("add", "sides", "up", *B, "--at", "01:30", answers=["1"])
    farm.done("add", "film", "on", *B, "--at", "2026-11-01T01:30:00-06:00")
    at = {r.kind: r.time for r in farm.records()}
    assert at["row_cover"] - at["sides"] == 3600 and at["film"] == at["row_cover"]


def test_a_time_that_the_clock_never_showed_is_refused(farm: Keyboard) -> None:
    # Put forward on 2026-03-08 at 02:00 to 03:00 (tzdata: second Sunday of March).
    farm.at("2026-03-08T09:00")
    said = farm.refused("add", "cover", "on", *B, "--at", "02:30", answers=["1"])
    assert "the clock never showed 2026-03-08 02:30 in America/Chicago" in said


def test_without_a_farm_file_the_zone_is_utc_and_said_or_as_named(farm: Keyboard) -> None:
    journal = farm.folder / "journal.db"
    del farm.environment["RISKRULES_FARM"]
    words = ("--journal", journal, "add")
    ran = farm.done("add", "note", "x", "--at", "2026-06-10 08:00", "--journal", journal)
    assert "times are in UTC" in ran.err
    farm.done("add", "note", "y", "--at", "08:00", "--journal", journal, "--zone", "Asia/Tokyo")
    # 09:45 in Chicago is 23:45 in Tokyo (UTC+9), the same day.
    assert sorted(farm.local(r.time) for r in farm.records("--all", "--journal", journal)) == [
        "2026-06-09 18:00", "2026-06-10 03:00",
    ]  # fmt: skip
    said = farm.refused("add", "note", "z", "--journal", journal, "--zone", "Nowhere/Else")
    assert "--zone is 'Nowhere/Else'" in said
    assert farm.run(*words, "note", "z").code == 2
