"""The typical year written out as loggers and people write: one function a dialect.

Each writes files into a folder and returns how a mapping would describe them. Numbers are written
so that the file's own decimals come back: what a dialect rounds is stated with it.
"""

from __future__ import annotations

import gzip
import json
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import openpyxl
import pandas as pd

from .year import FILE, OFFSET_H

NAMES = {
    "t": "air_temperature [degC]",
    "dew": "dew_point_temperature [degC]",
    "rh": "relative_humidity [%]",
    "wind": "wind_speed [m s-1]",
    "rain": "rain [mm]",
}
STANDARD = timezone(timedelta(hours=OFFSET_H))
NEW_YORK = ZoneInfo("America/New_York")
EXACT = 1e-9
"""What arithmetic may add to a number that is written in full."""
Year = pd.DataFrame
Write = Callable[[Year, Path], dict[str, Any]]


@dataclass(frozen=True, slots=True)
class Dialect:
    """A way to write the year: ``off`` is how far a value read back may be, by our short names."""

    name: str
    write: Write
    quick: bool = False
    off: dict[str, float] = field(default_factory=dict)


def times(year: Year, zone: tzinfo, style: str = "%Y-%m-%dT%H:%M:%S%:z") -> list[str]:
    """Return the ends of the hours on a clock of some zone."""
    found = [datetime.fromtimestamp(int(t), zone) for t in year["end"]]
    if style.endswith("%:z"):
        return [t.isoformat(timespec="seconds") for t in found]
    return [t.strftime(style) for t in found]


def table(
    year: Year, stamps: list[Any], header: dict[str, str] | None = None, **scale: Any
) -> pd.DataFrame:
    """Return a table with times and named columns, some of them in other units."""
    named = header or NAMES
    columns = {named[n]: scale[n](year[n]) if n in scale else year[n] for n in NAMES}
    return pd.DataFrame({"time": stamps, **columns})


def csv(made: pd.DataFrame, **how: Any) -> str:
    """Return a table as text, each number in the fewest digits that give it back."""
    return str(made.to_csv(index=False, lineterminator="\n", **how))


def save(folder: Path, text: str, name: str = "log.csv", encoding: str = "utf-8") -> None:
    """Write a text log."""
    (folder / name).write_bytes(text.encode(encoding))


def utc_commas(year: Year, folder: Path) -> dict[str, Any]:
    save(folder, csv(table(year, times(year, UTC)).replace("+00:00", "Z")))
    return {}


def offset_and_decimal_comma(year: Year, folder: Path) -> dict[str, Any]:
    zone = timezone(timedelta(hours=2))
    save(folder, csv(table(year, times(year, zone)), sep=";", decimal=","))
    return {}


def american_units(year: Year, folder: Path) -> dict[str, Any]:
    """Write °F, whose second decimal is exact; inches and mph are written in full."""
    header = {"t": "Temp, °F", "dew": "Dew Point, °F", "rh": "RH, %", "wind": "Wind, mph",
              "rain": "Rain, in"}  # fmt: skip
    made = table(
        year, times(year, UTC, "%Y-%m-%d %H:%M:%SZ"), header,
        t=lambda x: (x * 1.8 + 32).round(2), dew=lambda x: (x * 1.8 + 32).round(2),
        wind=lambda x: x / 0.44704, rain=lambda x: x / 25.4,
    )  # fmt: skip
    save(folder, csv(made, sep="\t"))
    ours = ("air_temperature [degF]", "dew_point_temperature [degF]", "relative_humidity [%]",
            "wind_speed [mph]", "rain [in]")  # fmt: skip
    return {"columns": dict(zip(header.values(), ours, strict=True))}


def kelvin_and_shares(year: Year, folder: Path) -> dict[str, Any]:
    header = {"t": "air_temperature [K]", "dew": "dew_point_temperature [K]",
              "rh": "relative_humidity [1]", "wind": "wind_speed [km/h]",
              "rain": "rain [cm]"}  # fmt: skip
    made = table(
        year, times(year, UTC), header, t=lambda x: (x + 273.15).round(2),
        dew=lambda x: (x + 273.15).round(2), rh=lambda x: (x / 100).round(2),
        wind=lambda x: (x * 3.6).round(2), rain=lambda x: (x / 10).round(2),
    )  # fmt: skip
    save(folder, csv(made, sep="|"))
    return {}


def latin_1(year: Year, folder: Path) -> dict[str, Any]:
    header = {"t": "Lufttemperatur [°C]", "dew": "Taupunkt [°C]", "rh": "Feuchte [%]",
              "wind": "Windstärke [m/s]", "rain": "Niederschlag [mm]"}  # fmt: skip
    made = table(year, times(year, STANDARD, "%d.%m.%Y %H:%M"), header)
    made = made.rename(columns={"time": "Zeitpunkt"})
    save(folder, csv(made, sep=";", decimal=","), encoding="latin-1")
    ours = {v: NAMES[k] for k, v in header.items()}
    return {"columns": {"Zeitpunkt": "time", **ours}, "zone": "-05:00"}


def utf_16(year: Year, folder: Path) -> dict[str, Any]:
    save(folder, csv(table(year, times(year, UTC)), sep="\t"), "log.txt", "utf-16")
    return {}


def standard_time_all_year(year: Year, folder: Path) -> dict[str, Any]:
    save(folder, csv(table(year, times(year, STANDARD, "%Y-%m-%d %H:%M"))))
    return {"zone": "America/New_York", "clock": "standard"}


def summer_time_with_offsets(year: Year, folder: Path) -> dict[str, Any]:
    save(folder, csv(table(year, times(year, NEW_YORK))))
    return {}


def summer_time_without_offsets(year: Year, folder: Path) -> dict[str, Any]:
    """Write the hour that comes twice in its order, by which its two passes are told apart."""
    save(folder, csv(table(year, times(year, NEW_YORK, "%Y-%m-%d %H:%M:%S"))))
    return {"zone": "America/New_York"}


def gz(year: Year, folder: Path) -> dict[str, Any]:
    text = csv(table(year, times(year, UTC)))
    (folder / "log.csv.gz").write_bytes(gzip.compress(text.encode()))
    return {}


def months(year: Year) -> list[tuple[str, Year]]:
    """Return the year in twelve parts, by the clock there."""
    stamps = pd.to_datetime(year["end"], unit="s") + pd.Timedelta(hours=OFFSET_H, seconds=-1)
    return [(f"{m:02}", part) for m, part in year.groupby(stamps.dt.month)]


def zipped_months(year: Year, folder: Path) -> dict[str, Any]:
    with zipfile.ZipFile(folder / "log.zip", "w", zipfile.ZIP_DEFLATED) as packed:
        for name, part in reversed(months(year)):
            packed.writestr(f"2025/{name}.csv", csv(table(part, times(part, UTC))))
    return {}


def files_by_month(year: Year, folder: Path) -> dict[str, Any]:
    for name, part in months(year):
        save(folder, csv(table(part, times(part, UTC))), f"log_{name}.csv")
    return {}


def excel(year: Year, folder: Path) -> dict[str, Any]:
    """Write dates as Excel keeps them: serials, to the microsecond."""
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet("Readings")
    sheet.append(["Invented logger", None])
    sheet.append([])
    sheet.append(["Time", *(n.rpartition(" [")[0] for n in NAMES.values())])
    sheet.append([None, "°C", "°C", "%", "m/s", "mm"])
    stamps = [datetime.fromtimestamp(int(t), STANDARD).replace(tzinfo=None) for t in year["end"]]
    for stamp, *row in zip(stamps, *(year[n].tolist() for n in NAMES), strict=True):
        sheet.append([stamp, *row])
    book.save(folder / "log.xlsx")
    return {"zone": "-05:00"}


def parquet(year: Year, folder: Path) -> dict[str, Any]:
    index = pd.to_datetime(year["end"], unit="s", utc=True).dt.tz_convert(NEW_YORK)
    made = table(year, list(index)).set_index("time")
    made.to_parquet(folder / "log.parquet")
    return {}


def json_lines(year: Year, folder: Path) -> dict[str, Any]:
    rows = table(year, times(year, UTC)).to_dict("records")
    save(folder, "".join(json.dumps(row) + "\n" for row in rows), "log.jsonl")
    return {}


def epw(year: Year, folder: Path) -> dict[str, Any]:
    """Write the rows of an EPW file; what we don't use is filled with its codes for missing."""
    lines = ["LOCATION,Greensboro,NC,USA,TMY3,723170,36.1,-79.95,-5.0,273.0"]
    lines += [f"COMMENT {i},invented" for i in range(2, 8)]
    lines += ["DATA PERIODS,1,1,Data,Wednesday,1/1,12/31"]
    for end, t, dew, rh, wind, rain in year[["end", *NAMES]].itertuples(index=False):
        start = datetime.fromtimestamp(int(end), STANDARD) - timedelta(hours=1)
        source = 1980 + start.month  # typical years take their months from different years
        lines.append(
            f"{source},{start.month},{start.day},{start.hour + 1},60,?9,{t},{dew},{rh},999999,"
            f"{','.join(['9999'] * 11)},{wind},{','.join(['99'] * 11)},{rain},1"
        )
    save(folder, "\n".join(lines) + "\n", "log.epw")
    return {}


def tmy3(year: Year, folder: Path) -> dict[str, Any]:
    (folder / "log.csv").write_bytes(FILE.read_bytes())
    return {}


def day_first(year: Year, folder: Path) -> dict[str, Any]:
    save(folder, csv(table(year, times(year, UTC, "%d/%m/%Y %H:%M"))))
    return {"zone": "UTC", "date_order": "day_first"}


def month_first_with_am_and_pm(year: Year, folder: Path) -> dict[str, Any]:
    save(folder, csv(table(year, times(year, STANDARD, "%m/%d/%Y %I:%M:%S %p"))))
    return {"zone": "-05:00", "date_order": "month_first"}


def stamped_at_the_start(year: Year, folder: Path) -> dict[str, Any]:
    zone = timezone(timedelta(hours=5, minutes=45))
    moved = year.assign(end=year["end"] - 3600)
    save(folder, csv(table(moved, times(moved, zone))))
    return {"stamp": "start"}


def shuffled(year: Year, folder: Path) -> dict[str, Any]:
    some = year.sample(frac=1, random_state=11)
    save(folder, csv(table(some, times(some, UTC))))
    return {}


def repeated(year: Year, folder: Path) -> dict[str, Any]:
    """Write some days twice, as where a logger is read out again before it was cleared."""
    twice = pd.concat([year.iloc[:3000], year.iloc[2500:], year.iloc[100:110]])
    save(folder, csv(table(twice, times(twice, UTC))))
    return {}


def preamble_and_unit_line(year: Year, folder: Path) -> dict[str, Any]:
    bare = {k: v.rpartition(" [")[0] for k, v in NAMES.items()}
    header, _, rows = csv(table(year, times(year, UTC), bare)).partition("\n")
    above = "# an invented logger\nserial,12345\n\n"
    save(folder, f"{above}{header}\n,degC,degC,%,m/s,mm\n{rows}", encoding="utf-8-sig")
    return {}


def date_and_clock(year: Year, folder: Path) -> dict[str, Any]:
    made = table(year, times(year, STANDARD, "%H:%M")).rename(columns={"time": "clock"})
    made.insert(0, "date", times(year, STANDARD, "%Y-%m-%d"))
    save(folder, csv(made).replace("\n", "\r\n"))
    return {"zone": "-05:00"}


def epoch_seconds(year: Year, folder: Path) -> dict[str, Any]:
    save(folder, csv(table(year, year["end"].tolist()).rename(columns={"time": "time [s]"})))
    return {}


ALL = (
    Dialect("utc_commas", utc_commas),
    Dialect("offset_and_decimal_comma", offset_and_decimal_comma),
    Dialect("american_units", american_units, quick=True),
    Dialect("kelvin_and_shares", kelvin_and_shares),
    Dialect("latin_1", latin_1),
    Dialect("utf_16", utf_16),
    Dialect("standard_time_all_year", standard_time_all_year),
    Dialect("summer_time_with_offsets", summer_time_with_offsets),
    Dialect("summer_time_without_offsets", summer_time_without_offsets, quick=True),
    Dialect("gz", gz),
    Dialect("zipped_months", zipped_months),
    Dialect("files_by_month", files_by_month),
    Dialect("excel", excel, quick=True),
    Dialect("parquet", parquet, quick=True),
    Dialect("json_lines", json_lines),
    Dialect("epw", epw),
    Dialect("tmy3", tmy3),
    Dialect("day_first", day_first),
    Dialect("month_first_with_am_and_pm", month_first_with_am_and_pm),
    Dialect("stamped_at_the_start", stamped_at_the_start),
    Dialect("shuffled", shuffled),
    Dialect("repeated", repeated),
    Dialect("preamble_and_unit_line", preamble_and_unit_line),
    Dialect("date_and_clock", date_and_clock),
    Dialect("epoch_seconds", epoch_seconds),
)
