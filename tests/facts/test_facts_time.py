"""Sun, forecasts, 'as of', and order: facts depend on what is known when, and on nothing else."""

from __future__ import annotations

import math
import random
from datetime import date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from astral import Observer
from astral.sun import sunrise, sunset
from hypothesis import given

from riskrules.facts.derive import Place
from riskrules.facts.kinds import Cause
from riskrules.facts.state import Setup
from riskrules.facts.sun import sun_times
from riskrules.facts.table import Facts
from riskrules.logs.limits import load_limits
from riskrules.logs.read import tidy
from riskrules.logs.readings import Readings
from riskrules.review import window_of
from riskrules.show import Style

from .hand import HOUR, OPEN_FIELD, air, at, bounds, event, facts, log, night_to
from .random_logs import season, seeds, some, told

Values = list[float | None]


@pytest.mark.parametrize(("latitude", "longitude"), [(36.1, -79.95), (52.0, 5.0), (-37.0, 175.0)])
def test_sun_times_are_those_of_astral_on_the_place_s_own_days(
    latitude: float, longitude: float
) -> None:
    days, rise, fall = sun_times(date(2026, 1, 1), date(2026, 12, 31), latitude, longitude)
    zone = timezone(timedelta(hours=round(longitude / 15)))
    for i in range(0, 365, 7):
        place = Observer(latitude, longitude)
        assert rise[i] == int(sunrise(place, days[i], tzinfo=zone).timestamp())
        assert fall[i] == int(sunset(place, days[i], tzinfo=zone).timestamp())
        assert 0 < fall[i] - rise[i] < 86_400
        local = datetime.fromtimestamp(int(rise[i]), zone).date()
        assert local == days[i]


def test_the_day_at_an_equinox_is_a_little_longer_than_twelve_hours() -> None:
    # Refraction and the sun's own width add about 7 minutes at 40 degrees (trade knowledge).
    _, rise, fall = sun_times(date(2026, 3, 20), date(2026, 3, 20), 40.0, 0.0)
    assert 12 * HOUR < fall[0] - rise[0] < 12.3 * HOUR


@pytest.mark.parametrize("latitude", [-45.0, 0.0, 25.0, 40.0, 58.0])
def test_day_length_follows_the_sunrise_equation(latitude: float) -> None:
    # cos H = (sin -0.833 - sin f sin d) / (cos f cos d) with d = -23.44 cos(360 (N + 10) / 365),
    # the textbook formula (memory), good to about ten minutes below 60 degrees.
    for month in range(1, 13):
        day = date(2026, month, 15)
        _, rise, fall = sun_times(day, day, latitude, 0.0)
        number = day.timetuple().tm_yday
        d = math.radians(-23.44 * math.cos(2 * math.pi * (number + 10) / 365))
        f = math.radians(latitude)
        cosine = (math.sin(math.radians(-0.833)) - math.sin(f) * math.sin(d)) / (
            math.cos(f) * math.cos(d)
        )
        hours = 2 * math.degrees(math.acos(cosine)) / 15
        assert (fall[0] - rise[0]) / HOUR == pytest.approx(hours, abs=0.25)


def test_where_the_sun_does_not_set_there_is_no_night_and_nothing_breaks() -> None:
    north = Place(70.0, 20.0, "Europe/Oslo")
    _, rise, fall = sun_times(date(2026, 6, 20), date(2026, 6, 22), 70.0, 20.0)
    assert (rise == -1).all() and (fall == -1).all()
    found = facts(log("2026-06-20 01:00", t=air(48), rh=[92.0 + 0.1 * (i % 3) for i in range(48)]),
                  place=north)  # fmt: skip
    assert not len(found["night"]) and not len(found["day"])
    assert len(found["wet_period"])
    style = Style(ZoneInfo("Europe/Oslo"), "degC", "mm")
    first, last = window_of(at("2026-06-21 12:00"), style, north, None, None)
    assert first < last


def forecast_log(ahead: float) -> Readings:
    """Return 36 measured hours at 20 degrees and 12 forecast hours at another temperature."""
    rows = log("2026-06-10 01:00", forecast=12, t=air(48, 20))
    rows.values["air_temperature"][36:] = ahead + 0.01 * (np.arange(12) % 3)
    return rows


def test_a_forecast_fills_the_time_after_now_and_says_so() -> None:
    found = facts(forecast_log(33))
    days = [d for d in found["day"] if d.start[0] // 86_400 == at("2026-06-11") // 86_400]
    # Now is noon of the 11th: hot from then to sunset (about 19:28).
    assert bounds(days[0], "hot_hours")[0] == pytest.approx(
        (days[0].end[0] - at("2026-06-11 12:00")) / HOUR, abs=1e-4
    )
    assert days[0].words["basis"] == "partly_forecast" and not days[0].forecast
    night = night_to(found, "2026-06-12")
    assert night.words["basis"] == "forecast" and night.forecast


def test_a_forecast_never_stands_for_a_measurement_that_is_missing() -> None:
    # The same rows, but now is already the 12th at 00:00: they were forecast, not measured.
    found = facts(forecast_log(33), now=at("2026-06-12 00:00"))
    (day,) = [d for d in found["day"] if d.start[0] // 86_400 == at("2026-06-11") // 86_400]
    low, high = bounds(day, "hot_hours")
    assert low == 0 and high > 7
    assert max(bounds(d, "highest_temperature")[0] for d in found["day"]) < 21


def test_as_of_a_moment_later_rows_and_events_do_not_exist() -> None:
    now = at("2026-06-11 12:00")
    values = air(72, 20)
    later = list(values)
    later[40:] = air(32, 35)
    said = [event("2026-06-10 06:00", "pick", "done", "2026-06-10 07:00")]
    after = [
        *said,
        event("2026-06-12 06:00", "pick", "done"),
        event("2026-06-12 07:00", "straw", "laid"),
    ]
    rows, changed = log("2026-06-10 01:00", t=values), log("2026-06-10 01:00", t=later)
    one, other = facts(rows.until(now), said, now=now), facts(changed.until(now), after, now=now)
    assert_same(one, other)
    assert not len(one["field_work"]) and len(one["pick"]) == 1


def test_open_beds_without_covers_feel_the_air_of_the_farm_s_outside_log() -> None:
    own = log("2026-06-10 01:00", t=[None] * 24)
    outside = log("2026-06-10 01:00", out=air(24, 12))
    found = facts([own, outside], setup=OPEN_FIELD)
    (day,) = [d for d in found["day"] if d.start[0] > at("2026-06-10 00:00")]
    width = load_limits().of("air_temperature_outside").borrowed
    assert bounds(day, "highest_outside") == (12.02, 12.02)
    assert bounds(day, "highest_temperature") == (12.02 - width, 12.02 + width)
    assert day.quantities["highest_temperature"].cause & Cause.BORROWED
    covered = facts([own, outside])
    (day,) = [d for d in covered["day"] if d.start[0] > at("2026-06-10 00:00")]
    assert bounds(day, "highest_temperature") == (-40, 60)


def test_a_log_that_stands_outside_says_what_the_air_outside_is() -> None:
    setup = Setup(tunnel=True, row_covers=True, placed="outside")
    found = facts(log("2026-06-10 01:00", t=air(24, 12)), setup=setup)
    (day,) = [d for d in found["day"] if d.start[0] > at("2026-06-10 00:00")]
    assert bounds(day, "highest_outside") == (12.02, 12.02)


def test_night_edges_are_the_sun_s_own_seconds() -> None:
    found = facts(log("2026-06-10 01:00", t=air(48)))
    night = night_to(found, "2026-06-11")
    place = Observer(40.0, 0.0)
    assert night.start[0] == int(sunset(place, date(2026, 6, 10)).timestamp())
    assert night.end[0] == int(sunrise(place, date(2026, 6, 11)).timestamp())


def assert_same(one: Facts, other: Facts) -> None:
    """Check that two sets of facts are equal in everything."""
    assert one.keys() == other.keys()
    for kind, table in one.items():
        assert list(table) == list(other[kind]), kind


@some
@given(seed=seeds)
def test_the_order_of_rows_and_events_does_not_matter(seed: int) -> None:
    s = season(seed, doubt=True)
    order = np.random.default_rng(seed).permutation(len(s.rows))
    shuffled = Readings(
        s.rows.time[order], 0, {k: v[order] for k, v in s.rows.values.items()},
        {k: v[order] for k, v in s.rows.cause.items()}, s.rows.forecast[order],
    )  # fmt: skip
    events = list(s.events)
    random.Random(seed).shuffle(events)
    again = facts(tidy(shuffled, "shuffled"), events, s.setup, s.now)
    assert_same(s.facts(), again)
    assert told(again) == told(s.facts())


@some
@given(seed=seeds)
def test_bounds_are_in_order_finite_and_within_their_limits(seed: int) -> None:
    for table in season(seed, doubt=True).facts().values():
        for q in table.kind.all_quantities:
            low, high = table.least[q.name], table.most[q.name]
            assert (np.isfinite(low) & np.isfinite(high) & (low <= high)).all(), q.name
            assert ((low >= q.least) & (high <= q.most)).all(), q.name
            assert ((table.cause[q.name] == 0) <= (low == high)).all(), (table.kind.name, q.name)
        assert (table.start[0] <= table.start[1]).all() and (table.end[0] <= table.end[1]).all()
        assert len(set(table.ids)) == len(table)
