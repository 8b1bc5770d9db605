"""Invented weather: days drawn at random, days of the story set by hand, air under covers.

Everything is on the farm's own clock, which is UTC-4 from April to October: no clock change
falls into the season. Amounts and gains are ours (assumption), chosen so that the air of the
tunnels is warmer by day and more humid by night than the air outside.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Array = NDArray[np.float64]

SEED = 20260401
FIRST = pd.Timestamp("2026-03-31")
DAYS = 206
STEP_H = 0.25
LATITUDE, LONGITUDE, CLOCK_H = 39.5, -86.0, -4.0

# first day, days, low, high, dew point, clearness: the spells of the story.
SPELLS: tuple[tuple[str, int, float, float, float, float], ...] = (
    ("2026-04-06", 4, 1.0, 11.5, -1.0, 0.8),
    ("2026-04-21", 2, -2.4, 13.0, -2.6, 0.9),
    ("2026-04-23", 2, 3.0, 16.0, 2.0, 0.8),
    ("2026-05-06", 2, -2.0, 15.5, -2.3, 0.95),
    ("2026-05-08", 1, 4.0, 19.0, 3.0, 0.8),
    ("2026-05-12", 4, 15.5, 21.0, 15.5, 0.25),
    ("2026-05-20", 4, 6.0, 16.0, 5.8, 0.55),
    ("2026-06-02", 3, 13.0, 20.0, 13.0, 0.3),
    ("2026-06-11", 7, 20.0, 33.0, 17.5, 0.95),
    ("2026-06-26", 3, 19.5, 25.0, 19.3, 0.3),
    ("2026-07-08", 9, 22.5, 34.0, 20.5, 0.95),
    ("2026-08-03", 6, 17.5, 30.5, 9.0, 1.0),
    ("2026-08-20", 6, 12.5, 18.0, 12.4, 0.25),
    ("2026-09-08", 5, 10.5, 17.0, 10.4, 0.25),
    ("2026-09-29", 1, 2.0, 17.0, 1.5, 0.9),
    ("2026-10-08", 4, 3.0, 14.0, 2.6, 0.55),
    ("2026-10-14", 1, -1.4, 14.5, -1.6, 0.95),
    ("2026-10-17", 1, 8.0, 15.0, 8.5, 0.3),
    ("2026-10-18", 1, 6.0, 13.0, 6.0, 0.5),
    ("2026-10-19", 1, 2.5, 12.0, 2.2, 0.8),
    ("2026-10-20", 1, -0.8, 13.0, -1.0, 0.9),
    ("2026-10-21", 2, -3.0, 12.0, -3.6, 0.95),
)
# start, hours, millimetres: the rain of the story.
RAINS: tuple[tuple[str, float, float], ...] = (
    ("2026-05-12 15:00", 9.0, 11.0),
    ("2026-05-13 09:00", 14.0, 17.0),
    ("2026-05-14 12:00", 10.0, 9.0),
    ("2026-06-02 18:00", 6.0, 8.0),
    ("2026-06-03 16:00", 1.25, 21.0),
    ("2026-06-04 06:00", 6.0, 6.0),
    ("2026-06-19 17:00", 1.0, 18.5),
    ("2026-06-26 14:00", 8.0, 12.0),
    ("2026-06-27 05:00", 9.0, 16.0),
    ("2026-07-20 18:00", 1.5, 27.0),
    ("2026-08-20 20:00", 8.0, 10.0),
    ("2026-08-22 04:00", 10.0, 14.0),
    ("2026-08-24 10:00", 6.0, 6.0),
    ("2026-09-09 03:00", 12.0, 13.0),
    ("2026-09-11 08:00", 7.0, 8.0),
    ("2026-10-17 11:00", 10.0, 9.0),
)


# Spells and rain told later: drawn with a generator of their own, so that the rest stays as it was.
MORE_SPELLS: tuple[tuple[str, int, float, float, float, float], ...] = (
    ("2026-05-29", 4, 15.5, 20.5, 15.4, 0.25),
    ("2026-08-27", 2, 25.6, 28.0, 25.4, 0.3),
    ("2026-09-14", 6, 6.5, 28.5, 2.0, 1.0),
)
MORE_RAINS: tuple[tuple[str, float, float], ...] = (
    ("2026-05-29 09:00", 22.0, 13.0),
    ("2026-05-30 08:00", 26.0, 15.0),
    ("2026-05-31 11:00", 27.0, 16.0),
    ("2026-08-27 03:00", 9.0, 14.0),
    ("2026-08-27 06:00", 1.0, 19.0),
)
DRAWN = 1e-9
"""Rain of a day that had a storm drawn and must stay dry: its draws stand. [mm]"""


@dataclass(frozen=True)
class Days:
    """One row for each day: dawn low, afternoon high, dew point, clearness, rain of the day."""

    low: Array
    high: Array
    dew: Array
    clear: Array
    rain: Array


@dataclass(frozen=True)
class Weather:
    """Outside weather in quarter-hour steps; ``time`` is the end of the step, farm's clock."""

    time: pd.DatetimeIndex
    air: Array
    dew: Array
    rain: Array
    wind: Array
    sun: Array


def red_noise(rng: np.random.Generator, n: int, spread: float, memory: float) -> Array:
    """Return AR(1) noise of a stated standard deviation."""
    shocks = rng.normal(0.0, spread * np.sqrt(1.0 - memory**2), n)
    out = np.zeros(n)
    for i in range(1, n):
        out[i] = memory * out[i - 1] + shocks[i]
    return out


def fade(values: Array, hours: float) -> Array:
    """Return values that follow their input with a first-order lag of the stated hours."""
    share = 1.0 - np.exp(-STEP_H / hours)
    out = values.copy()
    for i in range(1, len(out)):
        out[i] = out[i - 1] + share * (values[i] - out[i - 1])
    return out


def vapour(temperature: Array) -> Array:
    """Return the saturation vapour pressure over water in kPa (Tetens)."""
    return np.asarray(0.6108 * np.exp(17.27 * temperature / (temperature + 237.3)))


def humidity(air: Array, dew: Array) -> Array:
    """Return relative humidity of air with a dew point, in %."""
    return np.clip(100.0 * vapour(dew) / vapour(air), 5.0, 100.0)


def draw_days(rng: np.random.Generator) -> Days:
    """Draw every day's weather, then set the days of the story."""
    day_of_year = FIRST.dayofyear + np.arange(DAYS)
    mean = 12.0 + 12.3 * np.cos(2 * np.pi * (day_of_year - 201) / 365)
    mean = mean + red_noise(rng, DAYS, 2.6, 0.7)
    wet = np.zeros(DAYS, dtype=bool)
    for i in range(1, DAYS):
        wet[i] = rng.random() < (0.42 if wet[i - 1] else 0.2)
    spread = np.where(wet, rng.normal(7.5, 1.5, DAYS), rng.normal(12.5, 2.0, DAYS)).clip(4, 18)
    frost_free = (day_of_year > 128) & (day_of_year < 270)
    low = np.maximum(mean - spread / 2, np.where(frost_free, 6.0, 0.8))
    high = np.minimum(low + spread, 31.5)
    dew = low - np.where(
        wet, rng.normal(0.0, 0.4, DAYS), rng.normal(0.1, 1.5, DAYS).clip(-1.2, 6.0)
    )
    rain = np.where(wet, rng.gamma(0.9, 8.0, DAYS).clip(0.6, 34.0), 0.0)
    clear = np.where(wet, 0.4, rng.uniform(0.7, 1.0, DAYS))
    return tell_story(rng, Days(low, high, dew, clear, rain))


def tell_story(rng: np.random.Generator, days: Days) -> Days:
    """Overwrite the days of the spells; rain of those days comes from the list only."""
    for start, count, low, high, dew, clear in SPELLS:
        first = (pd.Timestamp(start) - FIRST).days
        span = slice(first, first + count)
        jitter = rng.normal(0.0, 0.4, count) * (count > 2)
        days.low[span], days.high[span] = low + jitter, high + jitter
        days.dew[span], days.clear[span], days.rain[span] = dew + jitter, clear, 0.0
    own = np.random.default_rng([SEED, 5])
    for start, count, low, high, dew, clear in MORE_SPELLS:
        first = (pd.Timestamp(start) - FIRST).days
        span = slice(first, first + count)
        jitter = own.normal(0.0, 0.3, count)
        days.low[span], days.high[span], days.dew[span] = low + jitter, high + jitter, dew + jitter
        days.clear[span], days.rain[span] = clear, np.where(days.rain[span] > 0, DRAWN, 0.0)
    return days


def sun_times() -> tuple[Array, Array, Array]:
    """Return sunrise and sunset of each day on the farm's clock and the sun's declination."""
    n = FIRST.dayofyear + np.arange(DAYS)
    b = 2 * np.pi * (n - 81) / 364
    late = (9.87 * np.sin(2 * b) - 7.53 * np.cos(b) - 1.5 * np.sin(b)) / 60
    noon = 12.0 - LONGITUDE / 15 + CLOCK_H - late
    tilt = np.deg2rad(23.45) * np.sin(2 * np.pi * (284 + n) / 365)
    half = np.rad2deg(np.arccos(-np.tan(np.deg2rad(LATITUDE)) * np.tan(tilt))) / 15
    return noon - half, noon + half, tilt


def draw_air(days: Days, day: NDArray[np.int_], hour: Array) -> Array:
    """Return air temperature: a sine by day, an exponential fall from sunset to the next dawn."""
    rise, sets, _ = sun_times()
    stretch = sets - rise + 3.6
    at_sunset = days.low + (days.high - days.low) * np.sin(np.pi * (sets - rise) / stretch)
    by_day = days.low[day] + (days.high - days.low)[day] * np.sin(
        np.pi * (hour - rise[day]) / stretch[day]
    )
    before = np.maximum(np.where(hour < rise[day], day - 1, day), 0)
    after = np.minimum(before + 1, DAYS - 1)
    since = hour - sets[before] + 24.0 * (day - before)
    part = np.clip(since / (rise[after] + 24.0 - sets[before]), 0.0, 1.0)
    fall = (np.exp(-2.2 * part) - np.exp(-2.2)) / (1.0 - np.exp(-2.2))
    by_night = days.low[after] + (at_sunset[before] - days.low[after]) * fall
    return np.where((hour >= rise[day]) & (hour <= sets[day]), by_day, by_night)


def draw_rain(rng: np.random.Generator, days: Days, time: pd.DatetimeIndex) -> Array:
    """Return rain of each step in tips of 0.2 mm, in mm."""
    storms = list(RAINS)
    for i in np.flatnonzero(days.rain > 0):
        start = FIRST + pd.Timedelta(days=int(i), hours=int(rng.integers(0, 22)))
        storms.append((str(start), float(rng.uniform(1.0, 9.0)), float(days.rain[i])))
    own = np.random.default_rng([SEED, 6])
    fallen = np.zeros(len(time))
    for which, source in ((storms, rng), (MORE_RAINS, own)):
        for began, hours, amount in which:
            at = int(time.searchsorted(pd.Timestamp(began), side="right"))
            n = min(max(int(hours / STEP_H), 1), len(time) - at)
            weights = source.gamma(2.0, 1.0, n)
            fallen[at : at + n] += amount * weights / weights.sum()
    tips = np.floor(np.cumsum(fallen) / 0.2 + 1e-9)
    return np.diff(tips, prepend=0.0) * 0.2


def draw_sun(days: Days, day: NDArray[np.int_], hour: Array) -> Array:
    """Return the sine of the sun's height, less what clouds take."""
    rise, sets, tilt = sun_times()
    lat = np.deg2rad(LATITUDE)
    angle = np.deg2rad(15 * (hour - (rise + sets)[day] / 2))
    height = np.sin(lat) * np.sin(tilt[day]) + np.cos(lat) * np.cos(tilt[day]) * np.cos(angle)
    return np.asarray(np.clip(height, 0, None) * days.clear[day], dtype=np.float64)


def draw_weather(rng: np.random.Generator, days: Days) -> Weather:
    """Return the outside weather of the season."""
    steps = int(DAYS * 24 / STEP_H)
    time = pd.date_range(FIRST, periods=steps, freq="15min") + pd.Timedelta(minutes=15)
    middle = np.arange(steps) * STEP_H + STEP_H / 2
    day = (middle // 24).astype(np.int_)
    hour = np.asarray(middle % 24, dtype=np.float64)
    sun = draw_sun(days, day, hour)
    rain = draw_rain(rng, days, time)
    wet = np.minimum(1.0, 2.0 * fade((rain > 0).astype(float), 1.5))
    steady = np.clip(days.low[day] / 5.0, 0.2, 1.0)
    air = draw_air(days, day, hour) + steady * red_noise(rng, steps, 0.45, 0.97)
    air = air - 1.2 * fade(wet, 1.0) * (sun > 0.05)
    dew = np.interp(middle, np.arange(DAYS) * 24 + 6.5, days.dew) + red_noise(rng, steps, 0.3, 0.98)
    dew = dew + wet * 0.9 * (air - 0.5 - dew)
    dew = np.minimum(dew, air - 0.15)
    calm = np.where(sun > 0.05, 1.0, steady)
    gusts = 1.2 + red_noise(rng, steps, 0.6, 0.95)
    wind = np.clip((gusts + 2.2 * np.clip(sun, 0, 1) + 1.5 * wet) * calm, 0.0, 14.0)
    return Weather(time, air, dew, rain, wind, sun)


def under_cover(
    weather: Weather,
    shut: Array,
    cover: Array,
    watered: Array,
    chilled: Array,
    rng: np.random.Generator,
) -> tuple[Array, Array]:
    """Return air temperature and dew point at the plants of a low tunnel.

    Shut sides: up to 9 K more in full sun, 1.2 K at night; row cover: up to 3 K and 2.4 K.
    Plants and bed add vapour, more so the less air is exchanged. ``chilled`` is what dry film
    lets through to a clear sky at night. [K]
    """
    noise = red_noise(rng, len(shut), 0.25, 0.95)
    by_day = weather.sun * (1.8 + 8.2 * shut + 3.0 * cover)
    by_night = (weather.sun < 0.02) * (0.3 + 0.9 * shut + 2.4 * cover - chilled)
    gain = fade(by_day + by_night, 0.6) + noise
    air = weather.air + gain
    dark = weather.sun < 0.02
    closed = np.clip(0.35 * shut + 0.65 * cover, 0.0, 1.0)
    dew = weather.dew + fade(
        np.where(dark, 0.4 + 0.8 * shut, 0.5 + 2.5 * closed * weather.sun), 1.0
    )
    # A bed under shut film and cloth gives off vapour until the air is nearly full at night.
    pull = fade(np.where(dark, 0.22 * shut + 0.7 * cover, 0.25 * cover), 0.8)
    dew = dew + pull * np.maximum(air - 0.6 - dew, 0.0) + 0.8 * fade(watered, 1.5)
    return air, np.minimum(dew, air - 0.08)


def wetness(air: Array, dew: Array, sun: Array, hit: Array, rng: np.random.Generator) -> Array:
    """Return a wetness sensor's reading, 0 dry to 1 wet, from humidity and water that falls."""
    moist = humidity(air, dew)
    lack = vapour(air) - vapour(dew)
    change = np.where(moist > 91.0, (moist - 91.0) / 9.0 * 0.35, -0.06 - 0.5 * lack - 0.15 * sun)
    level = np.zeros(len(air))
    for i in range(1, len(air)):
        level[i] = 1.0 if hit[i] else min(1.0, max(0.0, level[i - 1] + change[i]))
    return np.clip(level + rng.normal(0.0, 0.015, len(air)), 0.0, 1.0)


def bed_temperature(air: Array, sun: Array) -> Array:
    """Return bed temperature under plastic: the air with a long lag, and the sun's warmth."""
    return fade(fade(air, 8.0) + 5.0 * fade(sun, 3.0), 2.0)
