"""Readings that are lost: what must hold all the same, and what does not yet (marked so)."""

from __future__ import annotations

import pytest

from riskrules.facts.table import Fact, Facts

from .hand import OPEN_FIELD, air, at, bounds, event, facts, log, night_to, sure

Values = list[float | None]
FIRST = "2026-06-10 01:00"


def day_of_june(found: Facts, day: int) -> Fact:
    noon = at(f"2026-06-{day} 12:00")
    (fact,) = [d for d in found["day"] if d.start[0] < noon < d.end[0]]
    return fact


def overlap(one: tuple[float, float], other: tuple[float, float]) -> bool:
    return one[0] <= other[1] and other[0] <= one[1]


def test_a_stuck_sensor_does_not_become_honest_when_its_last_reading_is_lost() -> None:
    stuck = air(48)
    stuck[8:21] = [35.0] * 13
    assert bounds(day_of_june(facts(log(FIRST, t=stuck)), 10), "hot_hours")[0] == 0
    lost = list(stuck)
    lost[20] = None
    assert bounds(day_of_june(facts(log(FIRST, t=lost)), 10), "hot_hours")[0] == 0


def test_a_reading_lost_by_the_block_s_own_gauge_is_not_replaced_by_the_farm_s() -> None:
    own: Values = [0.0] * 24
    gone = list(own)
    gone[9] = None
    farm = log(FIRST, rain=[0.0] * 9 + [5.0] + [0.0] * 14).placed_outside()
    full, less = (
        facts([log(FIRST, t=air(24), rain=r), farm], setup=OPEN_FIELD) for r in (own, gone)
    )
    assert len(sure(full, "rain_spell")) == 0
    assert len(sure(less, "rain_spell")) == 0


def test_a_humidity_that_is_lost_is_not_replaced_by_one_that_contradicts_it() -> None:
    # The typical year has such hours: both columns are there and differ by up to 33 %.
    rh: Values = [60.0 + 0.1 * (i % 3) for i in range(48)]
    gone = list(rh)
    gone[26] = None  # 02:00 to 03:00 of the 11th
    dew: Values = [x and x - 0.01 for x in air(48)]  # close to saturation
    full, less = (facts(log(FIRST, t=air(48), rh=r, dew=dew)) for r in (rh, gone))
    one, other = (bounds(night_to(f, "2026-06-11"), "humid_hours") for f in (full, less))
    assert overlap(one, other)


@pytest.mark.xfail(strict=True, reason="'basis' is a word, and a word is never open")
def test_a_wet_period_ahead_stays_one_ahead_when_the_last_readings_before_now_are_lost() -> None:
    rh: Values = [60.0 + 0.1 * (i % 3) for i in range(24)] + [
        97.0 + 0.1 * (i % 3) for i in range(12)
    ]
    gone = list(rh)
    gone[20:24] = [None] * 4
    ahead = [
        [p.words["basis"] for p in facts(log(FIRST, forecast=12, t=air(36), rh=r))["wet_period"]
         if p.quantities["exists"].least == 1]
        for r in (rh, gone)
    ]  # fmt: skip
    assert ahead == [["forecast"], ["forecast"]]


def test_overhead_water_whose_end_nobody_wrote_down_may_have_wet_the_plants() -> None:
    said = [event("2026-06-10 00:00", "film", "off"),
            event("2026-06-10 09:20", "irrigation", "overhead deep")]  # fmt: skip
    rh: Values = [60.0 + 0.1 * (i % 3) for i in range(24)]
    found = facts(log(FIRST, t=air(24), rh=rh), said)
    morning = [p for p in found["wet_period"] if p.start[0] < at("2026-06-10 10:00") < p.end[1]]
    assert morning


@pytest.mark.xfail(strict=True, reason="a reading up to an hour old counts as that of now")
def test_the_temperature_of_now_is_unknown_when_the_reading_of_now_is_lost() -> None:
    values = air(24, 3)
    values[23] = None
    low, high = bounds(facts(log(FIRST, t=values))["cold_watch"].fact(0), "inside_now")
    assert low < -30 and high > 50
