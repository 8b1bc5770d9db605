"""A source that fell silent and a review that did not run are noticed."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from astral import Observer
from astral.sun import sunrise

from riskrules.farm import Farm, load_farm
from riskrules.logbook.intake import take_in
from riskrules.logbook.status import Status, status
from riskrules.logs.store import LogStore

from .farm import HEAD, make, moment, rows

DAWN = int(sunrise(Observer(40.0, 0.0), date(2026, 6, 3), tzinfo=UTC).timestamp())
"""Sunrise at the test farm, by astral itself. [s]"""


@pytest.fixture
def farm(tmp_path: Path) -> Farm:
    """Return the farm, with 49 hours read for the low beds and 48 for the high ones."""
    found = load_farm(make(tmp_path))
    (tmp_path / "in/low_1.csv").write_text(HEAD + rows(0, 49))
    (tmp_path / "in/high.csv").write_text(HEAD + rows(0, 48))
    list(take_in(found, LogStore(tmp_path / "store"), [tmp_path / "in"]))
    return found


def at(farm: Farm, now: int) -> Status:
    """Return the farm's status at some moment."""
    return status(farm, LogStore(farm.folder / "store"), now)


def states(found: Status) -> list[str]:
    """Return the state of each source."""
    return [s.state for s in found.sources]


def test_sources_are_fresh_up_to_the_age_that_the_farm_allows(farm: Farm) -> None:
    # The high beds' last reading is of hour 47 and may get 2 h old; the low beds' 48 and 6 h.
    assert states(at(farm, moment(49))) == ["fresh", "fresh"]
    assert states(at(farm, moment(49) + 1)) == ["fresh", "silent"]
    assert states(at(farm, moment(54))) == ["fresh", "silent"]
    assert states(at(farm, moment(54) + 1)) == ["silent", "silent"]
    assert "silent for 6.0 h" in at(farm, moment(54) + 1).sources[0].sentence


def test_a_source_of_which_nothing_was_read_is_no_fresh_one(tmp_path: Path) -> None:
    found = at(load_farm(make(tmp_path)), moment(10))
    assert states(found) == ["never", "never"] and found.alarm


def test_a_reading_of_tomorrow_is_a_wrong_clock(farm: Farm) -> None:
    assert states(at(farm, moment(20))) == ["ahead", "ahead"]


def test_the_review_of_the_morning_is_missed_four_hours_after_sunrise(farm: Farm) -> None:
    store = LogStore(farm.folder / "store")
    store.note_review(DAWN - 20 * 3600, date(2026, 6, 2))
    late = DAWN + 4 * 3600
    before, after = at(farm, late - 1), at(farm, late)
    assert before.review.day == date(2026, 6, 2) and before.review.state == "done"
    assert after.review.day == date(2026, 6, 3) and after.review.state == "missing"
    assert "no review since dawn of Wed 3 Jun" in after.review.sentence
    store.note_review(DAWN + 600, date(2026, 6, 3))
    assert at(farm, late).review.state == "done"


def test_a_review_of_the_evening_before_is_not_that_of_the_morning(farm: Farm) -> None:
    LogStore(farm.folder / "store").note_review(DAWN - 4 * 3600, date(2026, 6, 3))
    assert at(farm, DAWN + 5 * 3600).review.state == "missing"


def test_the_alarm_is_off_when_all_is_well(farm: Farm) -> None:
    LogStore(farm.folder / "store").note_review(DAWN, date(2026, 6, 3))
    now = moment(49)
    assert datetime.fromtimestamp(now, UTC).date() == date(2026, 6, 3)
    assert not at(farm, now).alarm
