"""Nights, days and runs of days, counted by hand."""

from __future__ import annotations

import pytest

from riskrules.facts.kinds import Cause

from .hand import HOUR, at, bounds, event, facts, log, night_to, one, sure

DRY, HUMID = 50.0, 92.0


def april_night(values: list[float | None], day: float = DRY) -> list[float | None]:
    """Return 24 hourly values from the row 13:00 on: dry but for the ten hours 19:00 to 05:00.

    At 40 degrees north the sun sets about 18:44 on 20 April and rises about 05:15 on the 21st, so
    those ten hours are all night, and what is left of it (under half an hour) is known and dry.
    """
    return [day] * 7 + values + [day] * 7


def wobble(mean: float, n: int) -> list[float | None]:
    """Return values close to a mean that never stand still, so that no sensor seems stuck."""
    return [mean + 0.01 * (i % 3) for i in range(n)]


def test_a_night_with_5_humid_of_6_known_hours_and_4_unknown_was_humid_5_to_9_hours() -> None:
    known: list[float | None] = [HUMID] * 5 + [DRY]
    rows = log("2026-04-20 13:00", t=wobble(12, 24), rh=april_night([*known, *[None] * 4]))
    night = night_to(facts(rows), "2026-04-21")
    assert bounds(night, "humid_hours") == (5, 9)
    assert night.quantities["humid_hours"].cause == Cause.NO_HUMIDITY


def test_a_night_known_in_full_has_one_number_of_humid_hours_and_no_cause() -> None:
    rows = log("2026-04-20 13:00", t=wobble(12, 24), rh=april_night([HUMID] * 6 + [DRY] * 4))
    night = night_to(facts(rows), "2026-04-21")
    assert bounds(night, "humid_hours") == (6, 6)
    assert night.quantities["humid_hours"].cause == Cause.NONE


def test_sunset_cuts_the_hour_it_falls_into() -> None:
    # Humid in the row 19:00 alone, which stands for 18:00 to 19:00: only the part after sunset.
    values = [DRY] * 6 + [HUMID] + [DRY] * 17
    night = night_to(facts(log("2026-04-20 13:00", t=wobble(12, 24), rh=values)), "2026-04-21")
    part = (at("2026-04-20 19:00") - night.start[0]) / HOUR
    assert 0 < part < 1
    assert bounds(night, "humid_hours") == (pytest.approx(part, abs=1e-4),) * 2


def test_missing_temperature_makes_the_lowest_anything_below_the_lowest_known() -> None:
    # Known: 4.0 at the coldest. In the two missing hours it may have been down to -40.
    air = april_night([9, 8, 7, 4, None, None, 6, 7, 8, 9], day=14)
    night = night_to(facts(log("2026-04-20 13:00", t=air, rh=[DRY] * 24)), "2026-04-21")
    assert bounds(night, "lowest_temperature") == (-40, 4)
    assert night.quantities["lowest_temperature"].cause == Cause.NO_TEMPERATURE


def test_missing_temperature_moves_the_mean_of_a_night_by_its_share_of_the_limits() -> None:
    # 12 degrees all night but two hours unknown: those are -40 to 60 each.
    air: list[float | None] = [12.0] * 24
    air[10] = air[11] = None
    air = [x and x + 0.001 * (i % 2) for i, x in enumerate(air)]
    night = night_to(facts(log("2026-04-20 13:00", t=air, rh=[DRY] * 24)), "2026-04-21")
    length = (night.end[0] - night.start[0]) / HOUR
    low, high = bounds(night, "mean_temperature")
    assert low == pytest.approx(12 - 2 * (12 + 40) / length, abs=0.01)
    assert high == pytest.approx(12 + 2 * (60 - 12) / length, abs=0.01)


def test_degree_hours_count_only_what_is_above_the_hot_threshold() -> None:
    # 33, 31.5 and 29 degrees at noon: 3 + 1.5 + 0 degree-hours above 30; two hours hot.
    air = wobble(20, 24)
    air[11], air[12], air[13] = 33, 31.5, 29
    (day,) = [
        d for d in facts(log("2026-06-10 01:00", t=air))["day"] if d.start[0] > at("2026-06-10")
    ]
    assert bounds(day, "degree_hours") == (4.5, 4.5)
    assert bounds(day, "hot_hours") == (2, 2)
    assert bounds(day, "highest_temperature") == (33, 33)


def test_an_hour_without_temperature_may_hold_thirty_degree_hours_and_be_hot() -> None:
    air = wobble(20, 24)
    air[11], air[12] = 33, None
    (day,) = [
        d for d in facts(log("2026-06-10 01:00", t=air))["day"] if d.start[0] > at("2026-06-10")
    ]
    assert bounds(day, "degree_hours") == (3, 33)  # 60 is the limit of air: 60 - 30 more
    assert bounds(day, "hot_hours") == (1, 2)
    assert bounds(day, "highest_temperature") == (33, 60)


def hot_days(hours_hot: list[int | None]) -> list[float | None]:
    """Return whole days, each with so many hot hours from 9:00 on; None: nothing known by day."""
    found: list[float | None] = []
    for hot in hours_hot:
        air: list[float | None] = wobble(19, 24)
        for i in range(9, 9 + (hot or 0)):
            air[i] = 31 + 0.01 * i
        if hot is None:
            air[3:21] = [None] * 18
        found += air
    return found


def test_three_hot_days_in_a_row_are_one_heat_spell_of_three_days() -> None:
    # Six hot hours make a hot day; the fourth day has five and ends the spell.
    spell = one(facts(log("2026-06-10 01:00", t=hot_days([7, 6, 8, 5]))), "heat_spell")
    assert bounds(spell, "days") == (3, 3)
    assert bounds(spell, "hot_hours") == (21, 21)
    assert bounds(spell, "night_mean") == (pytest.approx(19.01, abs=0.01),) * 2


def test_a_cool_day_between_splits_a_heat_spell() -> None:
    found = sure(facts(log("2026-06-10 01:00", t=hot_days([7, 2, 8, 7]))), "heat_spell")
    assert [bounds(spell, "days") for spell in found] == [(1, 1), (2, 2)]


def test_an_unknown_day_between_hot_days_makes_a_spell_of_one_to_three_days() -> None:
    found = sure(facts(log("2026-06-10 01:00", t=hot_days([7, None, 8, 1]))), "heat_spell")
    assert [bounds(spell, "days") for spell in found] == [(1, 3), (1, 3)]


def test_the_critical_temperature_is_that_of_the_most_tender_part_recorded() -> None:
    # Popcorn buds are harmed from -2.2 degC [read: Ontario ministry page], open flowers from
    # -1.1 degC [read: the same]; the warmest printed number counts.
    air = april_night([5, 4, 3, 2, 1, 0, -1, -1.5, -1.4, 2], day=14)
    rows = log("2026-04-20 13:00", t=air, rh=[DRY] * 24)
    buds = [event("2026-04-20 12:00", "stages", stages=(58,))]
    night = night_to(facts(rows, buds), "2026-04-21")
    assert bounds(night, "critical_temperature") == (-2.2, -2.2)
    assert bounds(night, "margin") == (pytest.approx(0.7, abs=1e-6),) * 2
    assert bounds(night, "cold_hours") == (0, 0)
    flowers = [event("2026-04-20 12:00", "stages", stages=(58, 60))]
    night = night_to(facts(rows, flowers), "2026-04-21")
    assert bounds(night, "critical_temperature") == (-1.1, -1.1)
    assert bounds(night, "margin") == (pytest.approx(-0.4, abs=1e-6),) * 2
    assert bounds(night, "cold_hours") == (2, 2)  # -1.5 and -1.4


def test_without_a_stage_record_any_part_may_be_at_risk_open_blossom_at_the_most() -> None:
    rows = log("2026-04-20 13:00", t=wobble(5, 24), rh=[DRY] * 24)
    night = night_to(facts(rows), "2026-04-21")
    # 10 degF of a dormant crown (Delaware, read) to -1.1 of open blossom (Ontario, read)
    assert bounds(night, "critical_temperature") == (pytest.approx(-12.2222), -1.1)
    assert night.stages[0] == 0 and bin(night.stages[1]).count("1") > 15


def test_a_stage_recorded_in_the_middle_of_the_night_is_possible_but_not_sure_for_all_of_it() -> (
    None
):
    rows = log("2026-04-20 13:00", t=wobble(5, 24), rh=[DRY] * 24)
    said = [
        event("2026-04-20 12:00", "stages", stages=(58,)),
        event("2026-04-21 00:00", "stages", stages=(60,)),
    ]
    night = night_to(facts(rows, said), "2026-04-21")
    # Popcorn till midnight, flowers after: nothing all night; one of the two at every moment.
    assert night.stages[0] == 0 and bin(night.stages[1]).count("1") == 2
    assert bounds(night, "critical_temperature") == (-2.2, -1.1)


def test_nights_know_the_night_before_them() -> None:
    found = facts(log("2026-06-10 01:00", t=wobble(15, 72)))["night"]
    assert found.key[0] == "b/night/2026-06-10"
    assert found.previous[1:] == found.key[:-1]
