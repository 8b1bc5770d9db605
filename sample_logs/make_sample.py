"""Write the sample farm: an invented season of logs and events, the same bytes each time.

Run ``python sample_logs/make_sample.py [FOLDER]``; without a folder it writes beside itself. Farm,
place, weather, work and sightings are invented; the amounts are ours (assumption).
``season_weather.py`` holds the spells of weather told by hand, ``season_journal.py`` what the
grower did, ``hill_journal.py`` the same for a small open block, ``typical_journal.py`` the events
that go with the typical year which pvlib ships.
"""

from __future__ import annotations

import sys
from pathlib import Path

import make_messy
import numpy as np
import pandas as pd
import season_journal as sj
import season_weather as sw
from hill_journal import hill_season
from typical_journal import write_typical

HERE = Path(__file__).resolve().parent
SEED = sw.SEED
OPENS = pd.Timestamp("2026-04-01 00:00")
CLOCK = pd.Timedelta(hours=4)
NOTE = "# Invented data: no such farm, weather or harvest exists; made by make_sample.py.\n"

FARM = """\
farm: Tarnwick Sample Farm (invented)
place: {latitude: 39.5, longitude: -86.0, zone: America/Indiana/Indianapolis, elevation: 230}
show: {temperature: degF, rain: in}
outside: {files: [outside.csv, forecast.csv]}
events: [events.csv]
blocks:
  - block: north_beds
    logs: [{file: north_beds.csv, placed: under_cover}]
    tunnel: low_tunnel
    row_covers: true
    ground: plastic
    plants: day_neutral
    fruit_at_stake: 4
  - block: south_beds
    logs: [{file: south_beds.csv, placed: under_cover}]
    tunnel: low_tunnel
    row_covers: true
    ground: plastic
    plants: day_neutral
    fruit_at_stake: 3
  - block: creek_beds
    logs: [{file: creek_beds.csv, placed: outside, zone: America/Indiana/Indianapolis}]
    tunnel: open
    row_covers: true
    ground: straw
    plants: june_bearing
    fruit_at_stake: 2
  - block: hill_beds
    logs: [{file: hill_beds.csv, placed: under_cover}]
    tunnel: open
    row_covers: false
    ground: bare
    plants: day_neutral
    fruit_at_stake: 1
hours: {lift_row_cover: 0.5, pick_sooner: 3.0}
"""
# The forecast of the last morning, and others for reviews as of an earlier one: file, when it was
# issued, for how many hours.
ISSUED = (
    ("forecast.csv", str(sj.LAST)[:16], 36),
    ("forecast_june_16.csv", "2026-06-16 05:00", 42),
    ("forecast_june_26.csv", "2026-06-26 07:00", 48),
)
# Clear calm nights on which dry film let the warmth through: block, from, until, kelvin.
CHILLED = (("south_beds", "2026-09-28 21:00", "2026-09-29 08:00", 3.0),)


def save(frame: pd.DataFrame, path: Path, *more: str) -> None:
    """Write a CSV file with its comment lines first."""
    head = NOTE + "".join(f"# {line}\n" for line in more)
    text = head + frame.to_csv(index=False, lineterminator="\n")
    path.write_text(text, encoding="utf-8", newline="\n")


def text(values: pd.Series[float] | sw.Array, digits: int) -> list[str]:
    """Return numbers as text of fixed digits; a missing value is empty."""
    rounded = np.round(np.asarray(values, dtype=float), digits) + 0.0
    return ["" if np.isnan(v) else f"{v:.{digits}f}" for v in rounded]


def stamp(times: pd.DatetimeIndex, offset: str) -> list[str]:
    """Return ISO 8601 texts of farm-clock times: Z shifts them to UTC, '' keeps them bare."""
    shown = times + CLOCK if offset == "Z" else times
    return [f"{t:%Y-%m-%dT%H:%M}{offset}" for t in shown]


def hourly(time: pd.DatetimeIndex, sums: tuple[str, ...] = (), **columns: sw.Array) -> pd.DataFrame:
    """Return hourly means, and sums of the named columns; each row ends at its time."""
    frame = pd.DataFrame(columns, index=time)
    bins = frame.resample("1h", closed="right", label="right")
    out = bins.mean()
    for name in sums:
        out[name] = bins[name].sum()
    return out


def season(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the measured rows: after the opening midnight, up to the last morning."""
    return frame[(frame.index > OPENS) & (frame.index <= sj.LAST)].copy()


def rows_of(frame: pd.DataFrame, first: str, last: str) -> pd.Series[bool]:
    """Return which rows fall into a stretch of the farm's clock."""
    inside = (frame.index >= pd.Timestamp(first)) & (frame.index <= pd.Timestamp(last))
    return pd.Series(inside, index=frame.index)


def tunnel_air(
    block: str, number: int, weather: sw.Weather, entries: list[sj.Entry]
) -> tuple[sw.Array, sw.Array]:
    """Return air and dew point at the plants of a tunnel under what the journal says was done."""
    shut = sj.state(entries, block, "sides", "down", weather.time)
    cover = sj.state(entries, block, "row_cover", "on", weather.time)
    watered = running(entries, block, "drip", weather.time)
    chilled = np.zeros(len(weather.time))
    for where, first, last, kelvin in CHILLED:
        if where == block:
            inside = (weather.time > pd.Timestamp(first)) & (weather.time <= pd.Timestamp(last))
            chilled[inside] = kelvin
    rng = np.random.default_rng([SEED, number])
    return sw.under_cover(weather, shut, cover, watered, chilled, rng)


def running(entries: list[sj.Entry], block: str, method: str, grid: pd.DatetimeIndex) -> sw.Array:
    """Return 1.0 for the steps in which water of that method ran."""
    on = np.zeros(len(grid))
    for e in entries:
        if e.block == block and e.event == "irrigation" and e.what.startswith(method):
            on[(grid > e.time) & (grid <= pd.Timestamp(e.end))] = 1.0
    return on


def north(weather: sw.Weather, entries: list[sj.Entry], folder: Path) -> None:
    """Write the quarter-hour log of the north beds: UTC times, a wetness sensor, soil."""
    air, dew = tunnel_air("north_beds", 11, weather, entries)
    rng = np.random.default_rng([SEED, 12])
    wet = sw.wetness(air, dew, weather.sun, np.zeros(len(air)), rng)
    data = {"air": air, "rh": sw.humidity(air, dew), "wet": wet}
    frame = season(pd.DataFrame(data, index=weather.time))
    frame["soil"] = pd.Series(sw.bed_temperature(air, weather.sun), index=weather.time)
    frame.loc[pd.Timestamp("2026-06-09 14:30"), "air"] = -9999.0
    frame.loc[rows_of(frame, "2026-09-02 00:15", "2026-09-02 07:00"), ["air", "rh", "wet"]] = np.nan
    frame = frame[~rows_of(frame, "2026-05-13 21:15", "2026-05-14 02:30")]
    out = {
        "time": stamp(pd.DatetimeIndex(frame.index), "Z"),
        "air_temperature [degC]": text(frame["air"], 1),
        "relative_humidity [%]": text(frame["rh"], 0),
        "surface_wetness [1]": text(frame["wet"], 2),
        "soil_temperature [degC]": text(frame["soil"], 1),
    }
    save(
        pd.DataFrame(out),
        folder / "north_beds.csv",
        "Quarter hours, UTC, under the tunnel.",
    )


def south(weather: sw.Weather, entries: list[sj.Entry], folder: Path) -> None:
    """Write the hourly log of the south beds: local offset, degF, no wetness sensor."""
    air, dew = tunnel_air("south_beds", 21, weather, entries)
    frame = season(hourly(weather.time, air=air, rh=sw.humidity(air, dew)))
    frame.loc[rows_of(frame, "2026-07-01 05:00", "2026-07-03 06:00"), "rh"] = 81.0
    frame.loc[pd.Timestamp("2026-08-12 05:00"), "rh"] = 104.0
    frame = frame[~rows_of(frame, "2026-04-21 23:00", "2026-04-22 05:00")]
    out = {
        "time": stamp(pd.DatetimeIndex(frame.index), "-04:00"),
        "air_temperature [degF]": text(frame["air"] * 1.8 + 32.0, 1),
        "relative_humidity [%]": text(frame["rh"], 0),
    }
    save(
        pd.DataFrame(out),
        folder / "south_beds.csv",
        "Hours, local offset, under the tunnel.",
    )


def creek(weather: sw.Weather, folder: Path) -> None:
    """Write the hourly log of the creek beds: bare local clock, dew point, rain in inches."""
    rng = np.random.default_rng([SEED, 31])
    clear_night = (weather.sun < 0.02) & (weather.air - weather.dew < 6) & (weather.wind < 1.5)
    noise = sw.red_noise(rng, len(clear_night), 0.2, 0.95)
    air = weather.air - 0.5 * sw.fade(clear_night.astype(float), 2.0) + noise
    dew = np.minimum(weather.dew + 0.2, air - 0.1)
    frame = season(hourly(weather.time, ("rain",), air=air, dew=dew, rain=weather.rain * 1.04))
    frame = frame[~rows_of(frame, "2026-06-08 12:00", "2026-06-15 09:00")]
    out = {
        "time": stamp(pd.DatetimeIndex(frame.index), ""),
        "air_temperature [degC]": text(frame["air"], 1),
        "dew_point [degC]": text(frame["dew"], 1),
        "rain [in]": text(frame["rain"] / 25.4, 2),
    }
    save(
        pd.DataFrame(out),
        folder / "creek_beds.csv",
        "Hours, the farm's clock, open field.",
    )


def hill(weather: sw.Weather, folder: Path) -> None:
    """Write the hourly log of the hill beds: degC and %, no gauge; its nights are a bit milder."""
    rng = np.random.default_rng([SEED, 51])
    calm_night = (weather.sun < 0.02) & (weather.wind < 1.5)
    noise = sw.red_noise(rng, len(calm_night), 0.2, 0.95)
    air = weather.air + 0.3 * sw.fade(calm_night.astype(float), 2.0) + noise
    dew = np.minimum(weather.dew + 0.1, air - 0.1)
    frame = season(hourly(weather.time, air=air, rh=sw.humidity(air, dew)))
    out = {
        "time": stamp(pd.DatetimeIndex(frame.index), "-04:00"),
        "temperature [°C]": text(frame["air"], 1),
        "humidity [%]": text(frame["rh"], 0),
    }
    save(pd.DataFrame(out), folder / "hill_beds.csv", "Hours, local offset, bare open ground.")


def save_outside(part: pd.DataFrame, path: Path, remark: str, forecast: bool = False) -> None:
    """Write hourly rows of the outside station; those of a forecast say so."""
    out = pd.DataFrame(
        {
            "time": stamp(pd.DatetimeIndex(part.index), "Z"),
            "air_temperature [degC]": text(part["air"], 1),
            "relative_humidity [%]": text(part["rh"], 0),
            "rain [mm]": text(part["rain"], 1),
            "wind_speed [m/s]": text(part["wind"], 1),
        }
    )
    if forecast:
        out["forecast"] = 1
    save(out, path, remark)


def outside(weather: sw.Weather, folder: Path) -> None:
    """Write the outside station, and forecasts, which miss the truth by a little."""
    moist = sw.humidity(weather.air, weather.dew)
    frame = hourly(
        weather.time, ("rain",), air=weather.air, rh=moist, rain=weather.rain, wind=weather.wind
    )
    save_outside(season(frame), folder / "outside.csv", "Hours, UTC, station in the open.")
    for number, (name, when, hours) in enumerate(ISSUED):
        issued = pd.Timestamp(when)
        ends = issued + pd.Timedelta(hours=hours)
        ahead = frame[(frame.index > issued) & (frame.index <= ends)]
        miss = sw.red_noise(np.random.default_rng([SEED, 41 + number]), len(ahead), 0.4, 0.8)
        ahead = ahead.assign(air=ahead["air"] + miss)
        remark = f"Hours, UTC, forecast for the station; issued {when}, clock of the farm."
        save_outside(ahead, folder / name, remark, forecast=True)


def main(folder: Path = HERE) -> int:
    """Write every file of the sample farm and of the typical year into a folder."""
    rng = np.random.default_rng([SEED, 1])
    days = sw.draw_days(rng)
    weather = sw.draw_weather(rng, days)
    entries = sj.write_season(np.random.default_rng([SEED, 2]), days)
    entries = sorted(entries + hill_season(np.random.default_rng([SEED, 4])))
    folder.mkdir(parents=True, exist_ok=True)
    north(weather, entries, folder)
    south(weather, entries, folder)
    creek(weather, folder)
    hill(weather, folder)
    outside(weather, folder)
    save(sj.table(entries, "-04:00"), folder / "events.csv")
    (folder / "farm.yaml").write_text(NOTE + FARM, encoding="utf-8", newline="\n")
    make_messy.main(folder)
    write_typical(folder / "typical_year", np.random.default_rng([SEED, 3]))
    return 0


if __name__ == "__main__":
    sys.exit(main(*(Path(name) for name in sys.argv[1:2])))
