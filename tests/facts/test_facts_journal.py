"""What the journal gives: covers, picks, water, counts, and how far it can be trusted."""

from __future__ import annotations

import numpy as np
import pytest

from riskrules.facts.kinds import LONG_H, Cause

from .hand import HOUR, air, at, bounds, event, facts, log, night_to, one, sure

Values = list[float | None]
FIRST = "2026-06-10 01:00"


def test_a_cover_spell_runs_from_on_to_off_with_its_humid_hours() -> None:
    rh: Values = [70.0] * 20 + [93.0] * 3 + [70.0] * 25
    rows = log(FIRST, t=air(48), rh=rh)
    said = [
        event("2026-06-09 12:00", "row_cover", "off"),
        event("2026-06-10 18:30", "row_cover", "on"),
        event("2026-06-11 08:00", "row_cover", "off"),
    ]
    spell = one(facts(rows, said), "cover_spell")
    assert spell.start == (at("2026-06-10 18:30"),) * 2
    assert spell.end == (at("2026-06-11 08:00"),) * 2
    assert bounds(spell, "hours") == (13.5, 13.5)
    assert bounds(spell, "humid_hours") == (3, 3)  # 20:00 to 23:00


def test_a_night_without_any_record_of_the_cover_may_have_been_covered_for_all_of_it() -> None:
    night = night_to(facts(log(FIRST, t=air(48))), "2026-06-11")
    assert bounds(night, "cover_hours") == (0, bounds(night, "length")[0])
    assert night.quantities["cover_hours"].cause == Cause.NO_COVER_RECORD


def test_a_cover_said_to_be_on_goes_stale_after_seven_days() -> None:
    # Said on on 1 June at 06:00. On 8 June at 06:00 the record is seven days old; after that the
    # cover may be on or off, so the night to the 8th is sure and the night to the 10th is open.
    rows = log("2026-06-07 01:00", t=air(96))
    found = facts(rows, [event("2026-06-01 06:00", "row_cover", "on")])
    early, late = night_to(found, "2026-06-08"), night_to(found, "2026-06-10")
    assert bounds(early, "cover_hours") == (bounds(early, "length")[0],) * 2
    assert bounds(late, "cover_hours") == (0, bounds(late, "length")[0])


def test_a_cover_said_to_be_off_holds_for_two_months() -> None:
    rows = log("2026-06-07 01:00", t=air(48))
    found = facts(rows, [event("2026-04-10 06:00", "row_cover", "off")])
    assert bounds(night_to(found, "2026-06-08"), "cover_hours") == (0, 0)
    found = facts(rows, [event("2026-04-01 06:00", "row_cover", "off")])
    assert bounds(night_to(found, "2026-06-08"), "cover_hours")[1] > 8


PICKS = [
    event("2026-06-10 06:00", "pick", "done", "2026-06-10 08:00"),
    event("2026-06-12 06:00", "pick", "done", "2026-06-12 08:00"),
    event("2026-06-13 20:00", "checked"),
]


def warm_noons() -> Values:
    """Return four days of 20 degrees with 27 degrees from 12:00 to 15:00."""
    day = air(24, 20)
    day[12:15] = [27.0, 27.1, 27.2]
    return [x for _ in range(4) for x in day]


def test_a_gap_between_picks_counts_the_warm_hours_and_the_rain_in_it() -> None:
    rain: Values = [0.0] * 96
    rain[30] = 4.0
    rows = log(FIRST, t=warm_noons(), rain=rain)
    first, last = facts(rows, PICKS)["pick_gap"]
    assert (first.start[0], first.end[0]) == (at("2026-06-10 08:00"), at("2026-06-12 06:00"))
    assert bounds(first, "hours") == (46, 46)
    assert bounds(first, "warm_hours") == (6, 6)  # the noons of the 10th and 11th
    assert bounds(first, "rain") == (4, 4)
    assert bounds(first, "open") == (0, 0)
    assert bounds(last, "open") == (1, 1)


def test_the_open_gap_is_sure_only_as_far_as_somebody_wrote_in_the_journal() -> None:
    # Last pick ended on the 12th at 08:00, journal until the 13th at 20:00, log until midnight.
    gap = list(facts(log(FIRST, t=warm_noons()), PICKS)["pick_gap"])[-1]
    assert gap.end == (at("2026-06-13 20:00"), at("2026-06-14 00:00"))
    assert bounds(gap, "hours") == (36, 40)
    assert gap.quantities["hours"].cause == Cause.NO_JOURNAL
    assert bounds(gap, "warm_hours") == (6, 6)
    assert bounds(gap, "mean_temperature") == (20, 27.2)  # how far it reached is not known


def test_a_planned_pick_closes_the_gap_ahead() -> None:
    plan = event("2026-06-14 06:00", "pick", "planned")
    gap = list(facts(log(FIRST, t=warm_noons()), [*PICKS, plan])["pick_gap"])[-1]
    assert gap.end == (at("2026-06-14 06:00"),) * 2
    assert bounds(gap, "hours") == (46, 46)
    assert bounds(gap, "warm_hours") == (6, 12)  # six more hours to come that nobody knows


def test_hours_of_a_gap_that_lie_beyond_the_log_are_unknown_not_zero() -> None:
    # The log begins on the 10th; the first pick ended on the 5th at 09:00.
    early = event("2026-06-05 08:00", "pick", "done", "2026-06-05 09:00")
    first = next(iter(facts(log(FIRST, t=warm_noons()), [early, *PICKS])["pick_gap"]))
    beyond = (at("2026-06-10 00:00") - first.start[0]) / HOUR
    assert bounds(first, "warm_hours") == (0, beyond)
    far = event("2026-06-20 06:00", "pick", "planned")
    last = list(facts(log(FIRST, t=warm_noons()), [*PICKS, far])["pick_gap"])[-1]
    assert bounds(last, "warm_hours") == (6, 6 + 6 * 24 + 6)


def test_a_pick_planned_far_ahead_may_meet_wet_plants() -> None:
    far = event("2026-06-20 06:00", "pick", "planned")
    pick = list(facts(log(FIRST, t=air(96), rh=[60.0 + 0.1 * (i % 3) for i in range(96)]),
                      [*PICKS, far])["pick"])[-1]  # fmt: skip
    assert bounds(pick, "wet_at_start") == (0, 1)
    assert bounds(pick, "wet_hours_before") == (0, 12)
    assert pick.words["state"] == "planned"


def test_plants_wet_before_and_at_the_start_of_a_pick() -> None:
    # Wet by sensor 02:00 to 06:30 of the 12th: rows are hourly, so the row 07:00 decides 06 to 07.
    wet: Values = [0.0] * 96
    for row in range(50, 55):  # the hours 02:00 to 07:00 of the 12th
        wet[row] = 1.0
    first, second = facts(log(FIRST, t=air(96), wet=wet), PICKS)["pick"]
    assert bounds(first, "wet_at_start") == (0, 0)
    assert bounds(second, "wet_at_start") == (1, 1)
    assert bounds(second, "wet_hours_before") == (4, 4)  # 02:00 to 06:00


def test_fruit_in_the_cooler_after_three_hours_two_of_them_warm() -> None:
    # Pick at 12:00, cooled at 15:00; warm rows are 12 to 15 less the first: here 13:00 to 15:00.
    values = air(48, 20)
    values[13], values[14] = 27.0, 27.5
    said = [event("2026-06-10 12:00", "pick", "done", "2026-06-10 13:00"),
            event("2026-06-10 15:00", "cooled")]  # fmt: skip
    pick = one(facts(log(FIRST, t=values), said), "pick")
    assert bounds(pick, "to_cooling") == (3, 3)
    assert bounds(pick, "warm_hours_after") == (2, 2)


def test_fruit_of_which_no_cooling_is_written_down_may_have_been_cooled_at_once_or_never() -> None:
    pick = one(facts(log(FIRST, t=air(48)), PICKS[:1]), "pick")
    assert bounds(pick, "to_cooling") == (0, 999)
    assert pick.quantities["to_cooling"].cause == Cause.NO_JOURNAL


def test_water_knows_its_distance_to_picks_and_to_dark() -> None:
    run = event("2026-06-11 10:00", "irrigation", "drip deep", "2026-06-11 12:00")
    found = facts(log(FIRST, t=air(96)), [*PICKS, run])
    water = one(found, "irrigation")
    assert bounds(water, "hours") == (2, 2)
    assert bounds(water, "to_next_pick") == (18, 18)  # 12:00 to 06:00
    assert bounds(water, "since_last_pick") == (26, 26)  # 08:00 to 10:00 of the next day
    sunset = night_to(found, "2026-06-12").start[0]
    assert bounds(water, "to_dark") == (pytest.approx((sunset - run.end) / HOUR, abs=1e-4),) * 2
    assert bounds(water, "night_run") == (0, 0)
    assert (water.words["method"], water.words["depth"]) == ("drip", "deep")


def test_the_last_water_before_a_pick_that_never_came_is_as_far_as_the_journal_reaches() -> None:
    run = event("2026-06-13 10:00", "irrigation", "drip deep", "2026-06-13 12:00")
    water = one(facts(log(FIRST, t=air(96)), [*PICKS, run]), "irrigation")
    assert bounds(water, "to_next_pick") == (8, LONG_H)  # the journal goes on until 20:00


def test_water_whose_end_nobody_wrote_down_may_have_run_into_the_dark() -> None:
    run = event("2026-06-13 10:00", "irrigation", "overhead brief")
    water = one(facts(log(FIRST, t=air(96)), [*PICKS, run]), "irrigation")
    assert bounds(water, "to_dark")[0] == 0 and bounds(water, "to_dark")[1] > 8
    assert bounds(water, "night_run") == (0, 1)
    assert bounds(water, "hours") == (0, 240)


def test_water_after_sunset_ran_by_night() -> None:
    run = event("2026-06-11 19:00", "irrigation", "overhead brief", "2026-06-11 20:00")
    water = one(facts(log(FIRST, t=air(96)), [run]), "irrigation")
    assert bounds(water, "to_dark") == (0, 0) and bounds(water, "night_run") == (1, 1)


@pytest.mark.parametrize(
    ("affected", "examined", "low", "high"),
    [(0, 60, 0.0, 0.0602), (7, 50, 0.0695, 0.2619), (60, 60, 0.9398, 1.0)],
)
def test_a_count_is_bounded_by_its_wilson_interval(
    affected: int, examined: int, low: float, high: float
) -> None:
    """Check against the interval written out by hand.

    Wilson 1927 (JASA 22:209, memory): with z = 1.96 and p = affected / n, the centre is
    (p + z2 / 2n) / (1 + z2 / n). For 0 of 60 the top is z2 / (n + z2) = 3.8415 / 63.8415.
    """
    seen = event("2026-06-10 09:00", "sighting", "ripe_fruit gray_mold",
                 affected=affected, examined=examined)  # fmt: skip
    count = one(facts(log(FIRST, t=air(48)), [seen]), "sighting")
    assert bounds(count, "incidence") == (
        pytest.approx(low, abs=2e-4),
        pytest.approx(high, abs=2e-4),
    )
    assert bounds(count, "affected") == (affected, affected)
    assert bounds(count, "age") == (39, 39)  # from 09:00 to the end of the log
    assert (count.words["part"], count.words["symptom"]) == ("ripe_fruit", "gray_mold")


def test_the_journal_is_current_for_what_ended_within_a_day_after_the_last_entry() -> None:
    # Last entry on the 11th at 12:00, 24 h of grace: the night to the 11th and that to the 12th
    # (which ends about 04:30) are covered, the night to the 13th is not.
    rows = log(FIRST, t=air(96))
    found = facts(rows, [event("2026-06-11 12:00", "checked")])
    for day, current in (("11", (1, 1)), ("12", (1, 1)), ("13", (0, 1))):
        assert bounds(night_to(found, f"2026-06-{day}"), "journal_current") == current


def test_a_plan_is_no_entry_in_the_journal() -> None:
    found = facts(log(FIRST, t=air(96)), [event("2026-06-14 03:00", "pick", "planned")])
    assert bounds(night_to(found, "2026-06-11"), "journal_current") == (0, 1)


def test_limits_count_down_to_their_end_and_field_work_ages() -> None:
    said = [event("2026-06-11 12:00", "no_entry", "", "2026-06-12 10:00"),
            event("2026-06-10 12:00", "straw", "laid")]  # fmt: skip
    found = facts(log(FIRST, t=air(48)), said)
    assert bounds(one(found, "limit"), "hours_left") == (10, 10)
    work = one(found, "field_work")
    assert work.words["work"] == "straw_laid" and bounds(work, "age") == (36, 36)


def test_a_gap_of_the_log_is_a_fact_with_its_hours_and_variable() -> None:
    values = air(48)
    values[10:13] = [None] * 3
    gap = one(facts(log(FIRST, t=values, rh=[60.0 + 0.1 * (i % 3) for i in range(48)])), "log_gap")
    assert (gap.start[0], gap.end[0]) == (at("2026-06-10 10:00"), at("2026-06-10 13:00"))
    assert bounds(gap, "hours") == (3, 3) and gap.words["variable"] == "air_temperature"


def test_rows_that_are_not_there_are_gaps_like_empty_ones() -> None:
    rows = log(FIRST, t=air(48))
    keep = [i not in (10, 11, 12) for i in range(48)]
    gap = one(facts(rows.only(np.array(keep))), "log_gap")
    assert (gap.start[0], gap.end[0]) == (at("2026-06-10 10:00"), at("2026-06-10 13:00"))


def test_a_sensor_that_stands_still_for_twelve_hours_is_taken_for_stuck() -> None:
    values = air(48)
    values[10:23] = [17.5] * 13  # from 11:00 to 23:00: twelve hours between first and last row
    found = facts(log(FIRST, t=values))
    gap = one(found, "log_gap")
    assert bounds(gap, "hours") == (13, 13)
    (day,) = [d for d in found["day"] if d.start[0] // 86400 == at("2026-06-10") // 86400]
    assert day.quantities["highest_temperature"].cause & Cause.STUCK
    values[22] = 17.6  # eleven hours: honest
    assert not sure(facts(log(FIRST, t=values)), "log_gap")
