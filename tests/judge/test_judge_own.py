"""Hand cases of our own tests: what they find, and what they must leave in peace."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from riskrules.facts.kinds import Cause
from riskrules.logs.judge import judge
from riskrules.logs.troubles import Flag, Trouble

from .hand import (
    DEW,
    HOUR,
    LIMITS,
    OUT,
    PLACE,
    RAIN,
    RH,
    START,
    WET,
    T,
    flagged,
    log,
    moving,
)  # fmt: skip

DAY = 24


def tetens(t: float) -> float:
    """Saturation vapour pressure, FAO-56 equation 11 [kPa] (second-hand)."""
    return 0.6108 * math.exp(17.27 * t / (t + 237.3))


def test_humidity_and_dew_point_that_contradict_each_other_span_each_other() -> None:
    # 20 degC with a dew point of 12 degC is air of 60 % [FAO-56 by hand: 1.4028 / 2.3383 kPa]
    implied = 100 * tetens(12) / tetens(20)
    assert implied == pytest.approx(60.0, abs=0.1)
    rows = judge(log(**{T: [20.0, 20.0], RH: [61.0, 80.0], DEW: [12.0, 12.0]}))
    for name in (RH, DEW):
        assert flagged(rows, name, Trouble.AGAINST_DEW_POINT) == [1]
        assert rows.flags[name].tolist() == [Flag.PASS, Flag.SUSPECT]
    assert (rows.low[RH][1], rows.high[RH][1]) == pytest.approx((implied, 80))
    # the dew point of 20 degC and 80 % is 16.4 degC: its vapour is 80 % of 2.3383 kPa
    assert rows.low[DEW][1] == 12
    assert tetens(rows.high[DEW][1]) == pytest.approx(0.8 * tetens(20))


def test_a_dew_point_above_the_air_contradicts_any_humidity_but_never_makes_more_than_100() -> None:
    rows = judge(log(**{T: [10.0], RH: [90.0], DEW: [13.0]}))
    assert flagged(rows, RH, Trouble.AGAINST_DEW_POINT) == [0]
    assert (rows.low[RH][0], rows.high[RH][0]) == (90, 100)


def test_a_little_above_100_becomes_an_interval_that_ends_there_and_more_is_refused() -> None:
    rows = judge(log(**{RH: [99.0, 100.0, 103.0, 107.0, 98.0]}))
    assert flagged(rows, RH, Trouble.ABOVE_100) == [2, 3]
    assert rows.flags[RH].tolist() == [1, 1, Flag.SUSPECT, Flag.FAIL, 1]
    assert rows.values[RH][2] == rows.high[RH][2] == 100
    assert rows.low[RH][2] == 100 - 3 - LIMITS.of(RH).doubt
    assert np.isnan(rows.values[RH][3]) and not (rows.values[RH] > 100).any()
    note = next(n for n in rows.notes if n.trouble == "above_100")
    assert "relative_humidity is 103; expected 0 to 100 %" in str(note)


def test_a_forecast_above_100_is_saturated_and_no_fault() -> None:
    rows = judge(log(forecast=2, **{RH: [90.0, 101.0, 109.0]}))
    assert rows.flags[RH].tolist() == [Flag.PASS, Flag.NOT_EVALUATED, Flag.FAIL]
    assert rows.values[RH][1] == 100 and np.isnan(rows.values[RH][2])


def weeks(tops: list[float]) -> list[float]:
    """Return hourly humidity of weeks, each day between 60 and the highest of its week."""
    return [
        60 + (top - 60) * (0.5 + 0.5 * math.cos(h * math.pi / 12))
        for top in tops
        for h in range(7 * DAY)
    ]


def test_a_saturated_reading_that_creeps_up_over_weeks_dooms_those_weeks() -> None:
    rows = judge(log(**{RH: weeks([99.5, 98.0, 99.0, 100.2, 101.5, 101.5])}))
    found = flagged(rows, RH, Trouble.ABOVE_100)
    assert found == list(range(7 * DAY, 6 * 7 * DAY))
    assert (rows.flags[RH][: 7 * DAY] == Flag.PASS).all()
    noon = 8 * DAY + 12  # 60 %, in the second week
    assert rows.values[RH][noon] == pytest.approx(60)
    assert rows.low[RH][noon] == pytest.approx(60 - LIMITS.of(RH).doubt)
    steady = judge(log(**{RH: weeks([99.5, 101, 100.5, 99, 101, 100])}))
    assert len(flagged(steady, RH, Trouble.ABOVE_100)) < 100  # only what is above 100


def test_a_wetness_sensor_that_stays_wet_in_dry_air_is_refused_as_a_whole() -> None:
    # two days: 90 % by night, 50 % from 08:00 to 16:00
    humid = [50.0 + h % 2 if 8 <= h % 24 < 16 else 90.0 + h % 2 for h in range(48)]
    wet = [0.1, *[0.9] * 46, 0.1]
    rows = judge(log(**{RH: humid, WET: wet}))
    assert flagged(rows, WET, Trouble.NEVER_DRIES) == list(range(1, 47))
    assert np.isnan(rows.values[WET][1:-1]).all()
    assert (rows.cause[WET][1:-1] & Cause.DOUBTED > 0).all()
    one_day = judge(log(**{RH: humid[:24], WET: wet[:24]}))  # 8 h of dry air: may be irrigation
    assert (one_day.flags[WET] == Flag.PASS).all()
    dries = [0.9 if h % 24 < 10 else 0.1 for h in range(48)]
    assert (judge(log(**{RH: humid, WET: dries})).flags[WET] == Flag.PASS).all()
    rain = judge(log(placed="outside", **{RH: humid, WET: wet, RAIN: [0.2] * 48}))
    assert (rain.flags[WET] == Flag.PASS).all()  # rain wets it again


def test_lost_readings_do_not_make_a_sensor_that_never_dries_honest() -> None:
    humid: list[float | None] = [
        50.0 + h % 2 if 8 <= h % 24 < 16 else 90.0 + h % 2 for h in range(48)
    ]
    humid[10:16] = [None] * 6
    rows = judge(log(**{RH: humid, WET: [0.9] * 48}))
    assert np.isnan(rows.values[WET]).all()
    nothing = judge(log(**{RH: [None] * 48, WET: [0.9] * 48}))
    assert (nothing.flags[WET] == Flag.PASS).all()  # no dry air was seen


def test_rain_wets_a_sensor_in_the_open_and_not_one_under_a_cover() -> None:
    rain = [2.0 if h in (5, 6, 20, 21) else 0.0 for h in range(30)]
    dry = moving(0.0, 30, 0.01)
    columns = {WET: [*dry[:-1], 0.8], RAIN: rain}
    rows = judge(log(placed="outside", **columns))
    assert flagged(rows, WET, Trouble.NEVER_WETS) == list(range(29))
    assert rows.values[WET][29] == 0.8
    assert (judge(log(placed="under_cover", **columns)).flags[WET] == Flag.PASS).all()
    short = columns | {RAIN: [2.0 if h in (5, 6, 20) else 0.0 for h in range(30)]}
    assert (judge(log(placed="outside", **short)).flags[WET] == Flag.PASS).all()


def test_saturated_air_wets_in_the_end_but_not_a_night_of_it() -> None:
    fog = [99.0 + 0.1 * (h % 3) for h in range(26)]
    rows = judge(log(**{RH: fog, WET: [0.02] * 26}))
    assert flagged(rows, WET, Trouble.NEVER_WETS) == list(range(26))
    nights = [99.0 if h % 24 < 14 else 80.0 + h % 3 for h in range(24 * 6)]
    assert (judge(log(**{RH: nights, WET: [0.02] * len(nights)})).flags[WET] == Flag.PASS).all()
    torn: list[float | None] = [None if h % 3 == 1 else x for h, x in enumerate(fog)]
    assert np.isnan(judge(log(**{RH: torn, WET: [0.02] * 26})).values[WET]).all()


def test_air_under_a_cover_may_be_a_little_colder_than_outside_but_not_more() -> None:
    inside, outside = [2.0, 1.0, -6.0, 1.5], log(placed="outside", **{T: moving(3, 4)})
    for there in (outside, outside.placed_outside()):
        rows = judge(log(**{T: inside}), outside=there)
        assert flagged(rows, T, Trouble.COLDER_THAN_PHYSICS) == [2]
        least = outside.values[T][2] - LIMITS.own.colder_than_outside
        assert rows.high[T][2] == pytest.approx(least)
        assert rows.low[T][2] == -6 - LIMITS.of(T).doubt
    column = judge(log(**{T: inside, OUT: moving(3, 4)}))
    assert flagged(column, T, Trouble.COLDER_THAN_PHYSICS) == [2]
    assert (judge(log(placed="outside", **{T: inside}), outside=outside).flags[T] == 1).all()


def test_a_broken_outside_sensor_and_one_that_is_silent_accuse_nobody() -> None:
    spike = log(placed="outside", **{T: [3.0, 3.1, 40.0, 3.0, 3.1]})
    rows = judge(log(**{T: moving(2, 5)}), outside=spike)
    assert (rows.flags[T] == Flag.PASS).all()
    far = replace(spike, time=spike.time + 40 * HOUR)
    assert (judge(log(**{T: moving(-9, 5)}), outside=far).flags[T] == Flag.PASS).all()


def swing(n: int, highest: float, size: float = 8) -> list[float]:
    """Return hourly values from 01:00 UTC on, warmest at an hour of the day."""
    return [15 + size * math.cos((h - highest) * math.pi / 12) + 0.01 * (h % 5)
            for h in range(1, n + 1)]  # fmt: skip


def test_a_day_that_is_warmest_at_night_has_a_wrong_clock_and_all_is_doubted() -> None:
    n = 10 * DAY
    rows = judge(log(**{T: swing(n, 2), RH: moving(70, n)}), place=PLACE)
    assert flagged(rows, T, Trouble.DAY_TURNED) == list(range(n))
    assert flagged(rows, RH, Trouble.DAY_TURNED) == list(range(n))
    (note,) = [x for x in rows.notes if x.trouble == "day_turned"]
    assert note.doubts and note.count == n and note.first == START + HOUR
    assert "highest at about 2 h by the sun" in note.message and "about 12 h" in note.message
    assert (rows.cause[T] & Cause.DOUBTED > 0).all()
    # Twelve hours off: the value of noon is among those of the interval at midnight.
    truth = np.array(swing(n, 14))
    inside = slice(DAY, n - DAY)
    assert (rows.low[T][inside] <= truth[inside] + 0.05).all()
    assert (rows.high[T][inside] >= truth[inside] - 0.05).all()


@pytest.mark.parametrize("highest", [9, 12, 14, 16, 18])
def test_a_day_that_is_warmest_by_day_is_left_in_peace(highest: float) -> None:
    rows = judge(log(**{T: swing(240, highest)}), place=PLACE)
    assert (rows.flags[T] == Flag.PASS).all()


def test_little_evidence_turns_no_day() -> None:
    turned = swing(240, 2)
    for rows in (
        judge(log(**{T: turned})),  # no place
        judge(log(**{T: turned[: 6 * DAY]}), place=PLACE),  # too few days
        judge(log(**{T: swing(240, 2, 1)}), place=PLACE),  # no daily pattern
        judge(log(placed="in_bed", **{T: turned}), place=PLACE),  # soil lags
        judge(log(forecast=240, **{T: turned}), place=PLACE),
        judge(log(**{T: turned}), place=replace(PLACE, longitude=180.0)),  # there it is day
    ):
        assert not flagged(rows, T, Trouble.DAY_TURNED)
    drift = [15 + 8 * math.cos(h * math.pi / 13) for h in range(240)]  # all hours in turn
    assert not flagged(judge(log(**{T: drift}), place=PLACE), T, Trouble.DAY_TURNED)


def test_rows_that_are_absent_do_not_make_a_dead_wetness_sensor_honest() -> None:
    humid = [50.0 + h % 2 if 8 <= h % 24 < 16 else 90.0 + h % 2 for h in range(48)]
    keep = np.array([not 10 <= h < 16 for h in range(48)])  # ten of sixteen dry hours are left
    rows = judge(log(**{RH: humid, WET: [0.9] * 48}).only(keep))
    assert np.isnan(rows.values[WET]).all()
    fog = [99.0 + 0.1 * (h % 3) for h in range(26)]
    torn = [None if h % 3 == 1 else 0.02 for h in range(26)]
    assert np.isnan(judge(log(**{RH: fog, WET: torn})).values[WET]).all()


def test_air_without_any_vapour_has_no_dew_point_so_the_interval_reaches_down() -> None:
    rows = judge(log(**{T: [20.0], RH: [0.0], DEW: [12.0]}))
    assert flagged(rows, DEW, Trouble.AGAINST_DEW_POINT) == [0]
    assert (rows.low[DEW][0], rows.high[DEW][0]) == (-60, 12)


def test_nights_alone_and_hours_that_disagree_turn_no_day() -> None:
    whole = log(**{T: swing(240, 14)})
    hour = whole.time // HOUR % 24
    nights = judge(whole.only((hour >= 21) | (hour <= 5)), place=PLACE)
    assert not flagged(nights, T, Trouble.DAY_TURNED)
    mixed = [swing(24, [1, 19, 7][d % 3])[h] for d in range(12) for h in range(24)]
    assert not flagged(judge(log(**{T: mixed}), place=PLACE), T, Trouble.DAY_TURNED)
