"""What nobody confirmed for long is asked about, when rules stop to take it for sure."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from riskrules.facts.cells import Cells
from riskrules.facts.derive import Place
from riskrules.facts.stages import ALL
from riskrules.facts.state import Setup, stage_columns, state_truths
from riskrules.journal.events import events_of
from riskrules.journal.hints import suggest
from riskrules.journal.records import (
    Block,
    Checked,
    Film,
    Record,
    RowCover,
    Sides,
    Stages,
    Straw,
)
from riskrules.journal.stale import stale
from riskrules.journal.store import Journal, open_journal
from riskrules.logs.readings import Readings
from riskrules.review import shipped_rulebook

from .small_records import at, made

DAY = 86_400
NOON = at("2026-06-10 12:00")
SHARED = shipped_rulebook().shared
CASES = [  # a state, the threshold it goes by, and the truth that rules see [d]
    (RowCover(what="on"), "cover_stale", "covered"),
    (RowCover(what="off"), "open_stale", "covered"),
    (Sides(what="down"), "cover_stale", "shut"),
    (Sides(what="up"), "open_stale", "shut"),
    (Film(what="on"), "film_stale", "filmed"),
    (Film(what="off"), "film_stale", "filmed"),
    (Straw(what="laid"), "film_stale", "straw"),
    (Straw(what="removed"), "film_stale", "straw"),
    (Stages(codes=(60, 65)), "stage_stale", None),
]


@pytest.fixture
def farm(tmp_path) -> Journal:
    with open_journal(tmp_path / "journal.db") as opened:
        yield opened


def sure_for_rules(journal: Journal, truth: str | None, now: int) -> bool:
    """Whether rules take the state for sure in the second from 'now' on."""
    edges = np.array([now, now + 1], dtype=np.int64)
    one = np.ones(1)
    cells = Cells(edges, one / 3600, {}, {}, one < 0, now, now, now + 1)
    shared = {name: t.value for name, t in SHARED.items()}
    events = events_of(journal)
    if truth is None:
        return bool(stage_columns(cells, events, shared)[1][0] != ALL)
    found = state_truths(cells, events, shared, Setup())[truth]
    return bool(found.sure[0] == found.maybe[0])


@pytest.mark.parametrize(("body", "threshold", "truth"), CASES)
def test_it_goes_stale_in_the_second_in_which_rules_stop_to_take_it_for_sure(
    farm, body, threshold, truth
):
    farm.add([made(body, NOON)])
    limit = int(SHARED[threshold].value * DAY)
    assert stale(farm, NOON + limit, SHARED) == []
    assert sure_for_rules(farm, truth, NOON + limit)
    (found,) = stale(farm, NOON + limit + 1, SHARED)
    assert not sure_for_rules(farm, truth, NOON + limit + 1)
    assert (found.state, found.age_s, found.limit_s) == (body.kind, limit + 1, limit)


@pytest.mark.parametrize(("body", "threshold", "truth"), CASES)
def test_the_answer_that_it_is_the_same_makes_it_fresh_for_rules_too(farm, body, threshold, truth):
    farm.add([made(body, NOON)])
    limit = int(SHARED[threshold].value * DAY)
    late = NOON + limit + DAY
    (found,) = stale(farm, late, SHARED)
    answer = found.same("scout", late)
    assert answer.body == Checked(same=(body.kind,))
    assert stale(farm, late, SHARED) == [found]  # nothing is entered by asking
    farm.add([answer])
    assert stale(farm, late, SHARED) == []
    assert sure_for_rules(farm, truth, late)
    assert stale(farm, late + limit, SHARED) == []
    assert len(stale(farm, late + limit + 1, SHARED)) == 1


def test_a_cover_said_to_be_on_for_nine_days_is_asked_about_in_plain_words(farm):
    farm.add([made(RowCover(what="on"), NOON)])
    (found,) = stale(farm, NOON + 9 * DAY, SHARED)
    assert found.question == (
        "north: the row cover is on, the journal says, but nobody confirmed it for 9 days. Still?"
    )


def test_a_region_may_let_a_state_hold_longer(farm):
    farm.add([made(RowCover(what="on"), NOON)])
    longer = dict(SHARED) | {"cover_stale": replace(SHARED["cover_stale"], value=10)}
    assert stale(farm, NOON + 9 * DAY, longer) == []


def test_each_block_is_asked_about_by_itself_oldest_first(farm):
    farm.add([made(RowCover(what="on"), NOON), made(Sides(what="down"), NOON - DAY, block="south")])
    farm.add([made(RowCover(what="on"), NOON - 2 * DAY, block=None)])
    found = stale(farm, NOON + 8 * DAY, SHARED)
    assert [(s.block, s.state) for s in found] == [
        ("south", "row_cover"),
        ("south", "sides"),
        ("north", "row_cover"),
    ]
    assert [s.block for s in stale(farm, NOON + 8 * DAY, SHARED, "north")] == ["north"]


def test_what_a_block_cannot_have_is_not_asked_about(farm):
    farm.add([made(b, NOON) for b in (RowCover(what="off"), Sides(what="up"), Film(what="off"))])
    assert len(stale(farm, NOON + 400 * DAY, SHARED)) == 3
    farm.add([made(Block(tunnel="open", row_covers=False), NOON)])
    assert stale(farm, NOON + 400 * DAY, SHARED) == []


def test_what_was_never_recorded_or_lies_ahead_is_not_asked_about(farm):
    assert stale(farm, NOON, SHARED) == []
    farm.add([made(RowCover(what="on"), NOON)])
    assert stale(farm, NOON - DAY, SHARED) == []


PLACE = Place(40.0, 0.0, "UTC")


def night_log(difference: float, missing: float = 0.0, name: str = "air_temperature") -> Readings:
    """Return three days of half-hours; a share of the values is missing at its start."""
    time = NOON + 1800 * np.arange(144, dtype=np.int64)
    value = 10 + 5 * np.cos(np.arange(144) / 48 * 2 * np.pi) + difference
    value[: int(144 * missing)] = np.nan
    cause = np.isnan(value).astype(np.int64)
    return Readings(time, 1800, {name: value}, {name: cause}, np.zeros(144, dtype=bool))


def hints(farm: Journal, inside: Readings, *states: Record):
    farm.add(list(states))
    outside = night_log(0.0, name="air_temperature_outside")
    return suggest(farm, [inside, outside], PLACE, "north", int(inside.time[-1]))


COVER_ON = made(RowCover(what="on"), NOON - DAY)


def test_an_inside_that_follows_the_outside_all_night_suggests_that_the_cover_was_off(farm):
    found = hints(farm, night_log(0.4), COVER_ON)
    assert len(found) == 3
    assert "Had it come off?" in found[0].sentence
    assert found[0].most_k == pytest.approx(0.4)
    assert farm.records() == [COVER_ON]  # proposed, never entered
    assert found[0].record("scout", NOON).body == RowCover(what="off")


@pytest.mark.parametrize(
    ("inside", "states"),
    [
        (night_log(1.5), [COVER_ON]),  # the cover does what covers do
        (night_log(0.4), []),  # the journal does not say that it was on
        (night_log(0.4), [made(RowCover(what="off"), NOON - DAY)]),
        (night_log(0.4, missing=1.0), [COVER_ON]),  # nothing was measured
    ],
)
def test_nothing_is_suggested_without_cause(farm, inside, states):
    assert hints(farm, inside, *states) == []


def test_a_night_of_which_a_part_is_missing_suggests_nothing(farm):
    """The first night's readings are gone, the other two are there."""
    assert len(hints(farm, night_log(0.4, missing=0.3), COVER_ON)) == 2


def test_doubted_readings_suggest_nothing(farm):
    inside = night_log(0.4)
    inside.cause["air_temperature"][:] = 1 << 16
    assert hints(farm, inside, COVER_ON) == []


def test_a_night_in_which_the_cover_was_handled_suggests_nothing(farm):
    midnight = at("2026-06-11 00:00")
    found = hints(farm, night_log(0.4), COVER_ON, made(RowCover(what="off"), midnight))
    assert found == []
