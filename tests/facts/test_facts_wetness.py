"""Wet periods, counted by hand: sensor, humidity, rain, water, gaps and missing readings."""

from __future__ import annotations

import pytest

from riskrules.facts.kinds import Cause
from riskrules.facts.table import Fact
from riskrules.logs.readings import Readings

from .hand import DAY, HOUR, OPEN_FIELD, air, at, bounds, event, facts, log, one, sure

Values = list[float | None]
FIRST = "2026-06-10 01:00"
FILM_ON = event("2026-06-10 00:00", "film", "on")
FILM_OFF = event("2026-06-10 00:00", "film", "off")


def sensor(*runs: tuple[int, float | None]) -> Values:
    """Return a column from runs of (hours, value)."""
    return [value for hours, value in runs for _ in range(hours)]


def wet_log(wet: Values, values: Values | None = None, rh: Values | None = None) -> Readings:
    """Return a log of 10 June with a dry sensor for four hours before: nothing joins backwards."""
    more = {} if rh is None else {"rh": [99.0] * 4 + rh}
    return log(
        "2026-06-09 21:00", t=air(4) + (values or air(len(wet))), wet=[0.0] * 4 + wet, **more
    )


def span(fact: Fact) -> tuple[int, int]:
    """Return the hours of 10 June at which a fact surely starts and ends."""
    begin = at("2026-06-10 00:00")
    assert fact.start[0] == fact.start[1] and fact.end[0] == fact.end[1]
    return (fact.start[0] - begin) // HOUR, (fact.end[0] - begin) // HOUR


def test_a_dry_gap_of_three_hours_joins_and_its_hours_are_not_wet() -> None:
    # Wet 2 to 7 and 10 to 14: one period of 12 h with 5 + 4 wet hours.
    wet = sensor((2, 0.0), (5, 1.0), (3, 0.0), (4, 1.0), (10, 0.0))
    period = one(facts(wet_log(wet)), "wet_period")
    assert span(period) == (2, 14)
    assert bounds(period, "hours") == (9, 9)


def test_a_dry_gap_of_four_hours_splits() -> None:
    wet = sensor((2, 0.0), (5, 1.0), (4, 0.0), (4, 1.0), (9, 0.0))
    found = sure(facts(wet_log(wet)), "wet_period")
    assert [span(p) for p in found] == [(2, 7), (11, 15)]
    assert [bounds(p, "hours") for p in found] == [(5, 5), (4, 4)]


def test_the_temperature_of_a_wet_period_is_the_mean_of_its_wet_hours_only() -> None:
    # Wet at 10 and 12 degrees, a dry hour at 30 between: the mean is 11.
    wet = sensor((2, 0.0), (1, 1.0), (1, 0.0), (1, 1.0), (19, 0.0))
    values = air(24)
    values[2], values[3], values[4] = 10, 30, 12
    period = one(facts(wet_log(wet, values)), "wet_period")
    assert bounds(period, "temperature") == (11, 11)


def test_a_missing_temperature_bounds_the_mean_by_the_limits_of_air() -> None:
    # Four wet hours, three of them at 12: (36 - 40) / 4 = -1 to (36 + 60) / 4 = 24.
    wet = sensor((2, 0.0), (4, 1.0), (18, 0.0))
    values = air(24)
    values[2:6] = [12, 12, 12, None]
    period = one(facts(wet_log(wet, values)), "wet_period")
    assert bounds(period, "temperature") == (-1, 24)
    assert period.quantities["temperature"].cause & Cause.NO_TEMPERATURE
    # The curve was tested at 5 to 30 degrees; after three known hours at 12 it had reached
    # 1 / (1 + exp(4.268 + 0.0901 x 3 - 0.0294 x 36 + 2.35e-5 x 3 x 1728)) = 0.0266.
    assert bounds(period, "flower_index") == (pytest.approx(0.02655, abs=5e-5), 1)


def test_a_doubtful_colder_hour_lowers_the_least_mean_only() -> None:
    # Two hours surely wet at 20 and one doubtful (sensor 0.3) at 14: 20, or (40 + 14) / 3 = 18.
    wet = sensor((2, 0.0), (2, 1.0), (1, 0.3), (19, 0.0))
    values = air(24)
    values[2:5] = [20, 20, 14]
    period = one(facts(wet_log(wet, values)), "wet_period")
    assert bounds(period, "hours") == (2, 3)
    assert bounds(period, "temperature") == (18, 20)
    assert period.quantities["hours"].cause == Cause.DOUBTFUL_BAND


def test_a_period_reaches_over_a_missing_stretch_but_not_past_it() -> None:
    # Wet 2 to 5, nothing known 5 to 11, dry from 11: it ended between 5 and 11.
    wet = sensor((2, 0.0), (3, 1.0), (6, None), (13, 0.0))
    period = one(facts(wet_log(wet)), "wet_period")
    begin = at("2026-06-10 00:00")
    assert period.start == (begin + 2 * HOUR,) * 2
    assert period.end == (begin + 5 * HOUR, begin + 11 * HOUR)
    assert bounds(period, "hours") == (3, 9)
    assert period.quantities["hours"].cause & Cause.NO_WETNESS


def test_what_is_missing_between_two_wet_stretches_may_or_may_not_join_them() -> None:
    # Wet 2 to 5, unknown 5 to 11, wet 11 to 13: one period of 2 to 13 (5 to 11 wet hours), or two.
    wet = sensor((2, 0.0), (3, 1.0), (6, None), (2, 1.0), (11, 0.0))
    first, second = sure(facts(wet_log(wet)), "wet_period")
    assert bounds(first, "hours") == (3, 11)
    assert bounds(second, "hours") == (2, 11)
    assert first.end[0] - first.start[1] == 3 * HOUR and first.end == (
        second.start[0] + 3 * HOUR,
        second.end[1],
    )


def test_a_missing_stretch_far_from_any_wetness_is_a_period_that_only_may_exist() -> None:
    wet = sensor((10, 0.0), (3, None), (11, 0.0))
    found = [p for p in facts(wet_log(wet))["wet_period"]
             if at(FIRST) <= p.start[0] < at("2026-06-11 00:00")]  # fmt: skip
    (maybe,) = found
    assert bounds(maybe, "exists") == (0, 1)
    assert bounds(maybe, "hours") == (0, 3)


def test_a_sensor_says_more_than_humidity() -> None:
    # Air at 99 % all day, but the sensor is dry but for three hours.
    wet = sensor((5, 0.0), (3, 1.0), (16, 0.1))
    period = one(facts(wet_log(wet, rh=[99.0] * 24)), "wet_period")
    assert span(period) == (5, 8)
    assert period.words["source"] == "sensor"


def test_a_sensor_that_falls_silent_is_not_replaced_by_humidity() -> None:
    # Dry by sensor, then silent for two hours in air at 99 %: it may have said dry again.
    wet = sensor((5, 0.0), (2, None), (17, 0.0))
    found = facts(wet_log(wet, rh=[99.0] * 24))
    assert not sure(found, "wet_period")


def test_without_a_sensor_humidity_stands_in_with_a_doubtful_band() -> None:
    # 84.9 surely dry, 85 and 94.9 doubtful, 95 surely wet.
    rh: Values = [60.0] * 5 + [84.9, 85.0, 95.0, 96.0, 94.9, 84.9] + [60.0] * 13
    period = one(facts(log(FIRST, t=air(24), rh=rh)), "wet_period")
    begin = at("2026-06-10 00:00")
    assert period.start == (begin + 6 * HOUR, begin + 7 * HOUR)
    assert period.end == (begin + 9 * HOUR, begin + 10 * HOUR)
    assert bounds(period, "hours") == (2, 4)
    assert period.words["source"] == period.words["basis"] == "estimated"


DRY_AIR: Values = [60.0 + 0.1 * (i % 3) for i in range(24)]
SHOWER: Values = [0.0] * 9 + [3.0, 2.0] + [0.0] * 13


def test_rain_wets_plants_that_no_film_covers() -> None:
    period = one(facts(log(FIRST, t=air(24), rh=DRY_AIR, rain=SHOWER), [FILM_OFF]), "wet_period")
    assert span(period) == (9, 11)
    assert bounds(period, "rain") == (5, 5)
    assert bounds(period, "splashed") == (1, 1)
    assert bounds(period, "under_film") == (0, 0)


def test_film_keeps_rain_off() -> None:
    found = facts(log(FIRST, t=air(24), rh=DRY_AIR, rain=SHOWER), [FILM_ON])
    assert not len(
        [p for p in found["wet_period"] if at(FIRST) < p.start[0] < at("2026-06-10 20:00")]
    )
    assert bounds(one(found, "rain_spell"), "under_film") == (1, 1)


def test_without_a_record_of_the_film_rain_may_have_wet_the_plants() -> None:
    found = facts(log(FIRST, t=air(24), rh=DRY_AIR, rain=SHOWER))
    assert not sure(found, "wet_period")
    (maybe,) = [p for p in found["wet_period"] if p.start[0] == at("2026-06-10 09:00")]
    assert bounds(maybe, "hours") == (0, 2)
    assert maybe.quantities["hours"].cause & Cause.NO_COVER_RECORD


def test_an_open_field_never_has_film_covers_or_sides() -> None:
    found = facts(log(FIRST, t=air(24), rh=DRY_AIR, rain=SHOWER), setup=OPEN_FIELD)
    assert bounds(one(found, "wet_period"), "under_film") == (0, 0)
    assert not len(found["cover_spell"]) and not len(found["shut_spell"])
    for night in found["night"]:
        assert bounds(night, "cover_hours") == bounds(night, "shut_hours") == (0, 0)


def test_drizzle_below_the_threshold_leaves_it_open_whether_plants_got_wet() -> None:
    # 0.1 mm in an hour; from 0.2 mm plants are surely wet (our assumption).
    rain: Values = [0.0] * 9 + [0.1] + [0.0] * 14
    found = facts(log(FIRST, t=air(24), rh=DRY_AIR, rain=rain), [FILM_OFF])
    assert not sure(found, "wet_period")
    (maybe,) = [p for p in found["wet_period"] if p.start[0] == at("2026-06-10 09:00")]
    assert bounds(maybe, "hours") == (0, 1)


def test_rain_of_one_row_wets_even_where_an_event_cuts_its_hour_in_two() -> None:
    # 0.3 mm in the hour 9 to 10, with a note in the journal at 9:30: 0.15 mm on either side.
    rain: Values = [0.0] * 9 + [0.3] + [0.0] * 14
    note = event("2026-06-10 09:30", "checked")
    found = facts(log(FIRST, t=air(24), rh=DRY_AIR, rain=rain), [FILM_OFF, note])
    assert bounds(one(found, "wet_period"), "hours") == (1, 1)


def test_rain_that_the_gauge_missed_may_have_wet_the_plants() -> None:
    rain: Values = [0.0] * 9 + [None, None] + [0.0] * 13
    found = facts(log(FIRST, t=air(24), rh=DRY_AIR, rain=rain), [FILM_OFF])
    (maybe,) = [p for p in found["wet_period"] if p.start[0] == at("2026-06-10 09:00")]
    assert bounds(maybe, "exists") == (0, 1)
    assert maybe.quantities["hours"].cause & Cause.NO_RAIN


def test_overhead_water_wets_plants_for_as_long_as_it_runs() -> None:
    run = event("2026-06-10 09:20", "irrigation", "overhead brief", "2026-06-10 10:05")
    found = facts(log(FIRST, t=air(24), rh=DRY_AIR), [FILM_OFF, run])
    period = one(found, "wet_period")
    assert bounds(period, "hours") == (0.75, 0.75)  # 45 minutes
    assert bounds(period, "splashed") == (1, 1)


def test_drip_wets_no_leaf() -> None:
    run = event("2026-06-10 09:20", "irrigation", "drip deep", "2026-06-10 10:05")
    assert not sure(facts(log(FIRST, t=air(24), rh=DRY_AIR), [FILM_OFF, run]), "wet_period")


def test_straw_laid_within_what_is_only_possible_leaves_the_flag_open() -> None:
    # Wet 2 to 5 on bare ground; unknown 5 to 11, straw laid at 8. The wet period that surely was
    # had no straw when it began, so it surely was not all on straw.
    wet = sensor((2, 0.0), (3, 1.0), (6, None), (13, 0.0))
    said = [
        event("2026-06-10 00:00", "straw", "removed"),
        event("2026-06-10 08:00", "straw", "laid"),
    ]
    assert bounds(one(facts(wet_log(wet), said), "wet_period"), "straw") == (0, 0)
    # The other way round it had straw as long as we are sure of, and perhaps not to its end.
    said = [
        event("2026-06-10 00:00", "straw", "laid"),
        event("2026-06-10 08:00", "straw", "removed"),
    ]
    assert bounds(one(facts(wet_log(wet), said), "wet_period"), "straw") == (0, 1)


def test_rain_spells_join_over_one_dry_hour_and_split_over_two() -> None:
    # 2 mm, a dry hour, 3 mm: one spell of 3 h with 2 h of rain. Then two dry hours, 1 mm: another.
    rain: Values = [0.0] * 4 + [2.0, 0.0, 3.0, 0.0, 0.0, 1.0] + [0.0] * 14
    first, second = sure(facts(log(FIRST, t=air(24), rain=rain), setup=OPEN_FIELD), "rain_spell")
    assert (span(first), span(second)) == ((4, 7), (9, 10))
    assert bounds(first, "hours") == (2, 2) and bounds(first, "rain") == (5, 5)
    assert bounds(first, "peak_rate") == (3, 3) and bounds(second, "rain") == (1, 1)


def test_without_a_gauge_it_may_rain_at_any_time() -> None:
    found = facts(log(FIRST, t=air(24)))
    (spell,) = found["rain_spell"]
    assert bounds(spell, "exists") == (0, 1)
    assert spell.start[0] <= at("2026-06-10 00:00") and spell.end[1] >= at("2026-06-11 00:00")


def test_symptom_windows_lie_days_after_the_wet_period_that_started_them() -> None:
    # Gray mold shows 14 to 28 days after infection [read: UF/IFAS PP152]: a period of 2 to 5 h
    # on 10 June surely would show from 14 days after its end until 28 days after its start.
    wet = sensor((2, 0.0), (3, 1.0), (19, 0.0))
    found = facts(wet_log(wet))
    (window,) = [w for w in sure(found, "symptom_window") if w.words["symptom"] == "gray_mold"]
    assert window.start == (at("2026-06-10 05:00") + 14 * DAY,) * 2
    assert window.end == (at("2026-06-10 02:00") + 28 * DAY,) * 2
    assert bounds(window, "hours") == (3, 3)
    ripe = one(found, "ripening_window")  # 24 to 44 days [read: Chandler 2004]
    assert ripe.start[0] == at("2026-06-10 05:00") + 24 * DAY
    assert ripe.end[0] == at("2026-06-10 02:00") + 44 * DAY


def test_the_window_of_a_period_with_an_open_end_has_an_open_start() -> None:
    wet = sensor((2, 0.0), (3, 1.0), (6, None), (13, 0.0))
    found = facts(wet_log(wet))
    (window,) = [w for w in sure(found, "symptom_window") if w.words["symptom"] == "gray_mold"]
    begin = at("2026-06-10 00:00") + 14 * DAY
    assert window.start == (begin + 5 * HOUR, begin + 11 * HOUR)


def test_the_flower_index_of_a_known_period_is_that_of_the_published_curve() -> None:
    # 24 wet hours at 20 degrees: logit -4.268 - 0.0901 W + 0.0294 W T - 2.35e-5 W T^3 = 3.1688,
    # so 0.960 (Bulger, Ellis and Madden 1987; coefficients second-hand).
    wet = sensor((2, 0.0), (24, 1.0), (10, 0.0))
    values = [20.0 + (0.001 if i % 2 else -0.001) for i in range(36)]
    period = one(facts(wet_log(wet, values)), "wet_period")
    assert bounds(period, "hours") == (24, 24)
    assert bounds(period, "flower_index") == (pytest.approx(0.9597, abs=5e-4),) * 2
