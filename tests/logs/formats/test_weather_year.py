"""Typical years, TMY3 and EPW: small files by hand, and the shipped ones against plain reads."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from riskrules.errors import LogError
from riskrules.logs.formats import open_log, weather_year
from riskrules.logs.mapping import LogMapping
from riskrules.logs.raw import RawLog
from riskrules.logs.read import read_log, read_raw
from riskrules.logs.typical_year import locate, read_typical_year

DATA = Path(pvlib.__file__).parent / "data"
GREENSBORO, SAND_POINT = DATA / "723170TYA.CSV", DATA / "703165TY.csv"
OURS = ["air_temperature [degC]", "dew_point_temperature [degC]", "relative_humidity [%]",
        "wind_speed [m s-1]", "thickness_of_rainfall_amount [mm]"]  # fmt: skip
SITE = '999999,"INVENTED TOWN",XX,-6.0,40.000,-90.000,100'
HEADER = ("Date (MM/DD/YYYY),Time (HH:MM),Dry-bulb (C),Dew-point (C),RHum (%),Wspd (m/s),"
          "Lprecip depth (mm),Lprecip quantity (hr)")  # fmt: skip
TMY3 = (
    f"{SITE}\n{HEADER}\n01/31/1990,24:00,1.5,0.5,90,2.0,0,1\n02/01/1985,01:00,2.5,0.5,85,3.0,0,1\n"
)


def epw(*rows: tuple[str, ...], zone: str = "5.75", periods: str = "1,1") -> str:
    """Return an EPW file; a row is year, month, day, hour, minute, T, dew, RH, wind, rain, hours.

    Positions from EnergyPlus' published list of the 35 fields (memory), as pvlib has them (read).
    """
    lines = [f"LOCATION,Invented Town,XX,XXX,TMY3,999999,27.0,85.0,{zone},1300.0"]
    lines += ["DESIGN CONDITIONS,0", "TYPICAL/EXTREME PERIODS,0", "GROUND TEMPERATURES,0",
              "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0", "COMMENTS 1,invented", "COMMENTS 2,",
              f"DATA PERIODS,{periods},Data,Sunday,1/1,12/31"]  # fmt: skip
    for y, mo, d, h, mi, t, dew, rh, wind, rain, hours in rows:
        lines.append(",".join([
            y, mo, d, h, mi, "?9?9", t, dew, rh, "99000", "0", "0", "300", "0", "0", "0", "0", "0",
            "0", "0", "180", wind, "5", "5", "16.0", "77777", "9", "999999999", "89", "0.2", "0",
            "88", "0.0", rain, hours,
        ]))  # fmt: skip
    return "\n".join(lines) + "\n"


ROW = ("2003", "1", "31", "24", "60", "1.5", "0.5", "90", "2.0", "0.4", "1")
NEXT = ("1998", "2", "1", "1", "60", "2.5", "0.5", "85", "3.0", "0.0", "1")


def one(text: str, mapping: LogMapping | None = None) -> RawLog:
    (found,) = weather_year.read(text.encode(), "a.epw", mapping)
    return found


def refused(text: str) -> str:
    with pytest.raises(LogError) as caught:
        weather_year.read(text.encode(), "a.epw")
    return str(caught.value)


def utc(text: str) -> int:
    return int(datetime.fromisoformat(text).timestamp())


def test_tmy3_by_hand() -> None:
    log = one(TMY3)
    assert log.header == ["time", *OURS] and log.zone == "-06:00"
    assert log.lines.tolist() == [3, 4] and log.header_line == 2
    assert log.table[0].tolist() == [datetime(2025, 2, 1, 0), datetime(2025, 2, 1, 1)]
    assert [log.table[i].tolist() for i in range(1, 6)] == [
        [1.5, 2.5], [0.5, 0.5], [90, 85], [2, 3], [0, 0]
    ]  # fmt: skip
    assert "months of 1985 to 1990 laid on the calendar year 2025" in log.said


def test_epw_by_hand() -> None:
    log = one(epw(ROW, NEXT))
    assert log.header == ["time", *OURS] and log.zone == "+05:45"
    assert log.lines.tolist() == [9, 10] and log.header_line == 0
    assert log.table[0].tolist() == [datetime(2025, 2, 1, 0), datetime(2025, 2, 1, 1)]
    assert [log.table[i].tolist() for i in range(1, 6)] == [
        [1.5, 2.5], [0.5, 0.5], [90, 85], [2, 3], [0.4, 0]
    ]  # fmt: skip
    assert log.said[:2] == ["EPW, Invented Town", "offset +05:45 all year"]
    rows = read_raw(log, LogMapping())
    assert rows.time.tolist() == [utc("2025-02-01T00:00+05:45"), utc("2025-02-01T01:00+05:45")]


def test_epw_values_are_those_that_pvlib_reads() -> None:
    """Use pvlib's reader as the oracle: it starts hours where we end them."""
    text = epw(*[("1999", "3", "1", str(h + 1), "60", f"{h / 2}", f"{-h}", f"{50 + h}", f"{h}",
                  f"{h / 5}", "1") for h in range(24)])  # fmt: skip
    table, about = pvlib.iotools.read_epw(io.StringIO(text))
    log = one(text)
    assert float(about["TZ"]) == 5.75
    names = ["temp_air", "temp_dew", "relative_humidity", "wind_speed",
             "liquid_precipitation_depth"]  # fmt: skip
    for i, name in enumerate(names, start=1):
        np.testing.assert_array_equal(log.table[i], table[name])
    ends = table.index.tz_localize(None) + pd.Timedelta(hours=1)
    assert log.table[0].tolist() == ends.tolist()


def test_a_file_of_one_year_keeps_its_year() -> None:
    log = one(epw(NEXT, (*NEXT[:3], "2", *NEXT[4:])))
    assert log.table[0].tolist() == [datetime(1998, 2, 1, 1), datetime(1998, 2, 1, 2)]
    assert "all of the year 1998" in log.said


def test_what_each_format_calls_missing_is_missing() -> None:
    log = one(epw(("1998", "2", "1", "1", "60", "99.9", "99.9", "999", "999", "999", "99"), NEXT))
    assert all(np.isnan(log.table[i][0]) and not np.isnan(log.table[i][1]) for i in range(1, 6))
    log = one(TMY3.replace("1.5,0.5,90,2.0,0,1", "-9900,-9900,-9900,-9900,-9900,-9900"))
    assert all(np.isnan(log.table[i][0]) and not np.isnan(log.table[i][1]) for i in range(1, 6))
    assert not log.notes


@pytest.mark.parametrize("hours", ["6", "99", "-9900", "0", "", "x"])
def test_rain_of_other_hours_than_one_is_no_hour_s_amount(hours: str) -> None:
    log = one(epw((*ROW[:-1], hours), NEXT))
    np.testing.assert_array_equal(log.table[5], [np.nan, 0])
    (note,) = log.notes
    assert note.row == 9 and "another or unknown period; expected 1 hour" in note.message


def tmy3_with_rain(depths: list[str]) -> str:
    start = datetime(1990, 3, 1)
    rows = [f"{(start + timedelta(days=i)):%m/%d/%Y},12:00,1,1,90,2,{d},1"
            for i, d in enumerate(depths)]  # fmt: skip
    return "\n".join([SITE, HEADER, *rows]) + "\n"


def test_rain_in_steps_of_a_hundredth_of_an_inch_is_in_tenths_of_a_millimetre() -> None:
    # 0.01 in = 0.254 mm, 0.02 in = 0.508 mm, 0.05 in = 1.27 mm, 0.11 in = 2.794 mm.
    log = one(tmy3_with_rain(["3", "5", "13", "28", "0"] * 10))
    assert log.table[5][:5].tolist() == pytest.approx([0.3, 0.5, 1.3, 2.8, 0])
    assert any("tenths of a millimetre" in s for s in log.said) and not log.notes


@pytest.mark.parametrize("depths", [["1", "2", "4", "7", "0"] * 10, ["3", "5", "0"]])
def test_rain_of_no_clear_unit_is_unknown_and_said_unless_a_mapping_says(depths: list[str]) -> None:
    text = tmy3_with_rain(depths)
    log = one(text)
    wet = np.array([float(d) > 0 for d in depths])
    assert np.isnan(log.table[5][wet]).all() and (log.table[5][~wet] == 0).all()
    assert log.notes[0].count == wet.sum() and "unit is not clear" in log.notes[0].message
    mapping = LogMapping(columns={"Lprecip depth (mm)": "rain [mm]"})
    told = one(text, mapping)
    assert told.table[5].tolist() == [float(d) for d in depths] and not told.notes
    rows = read_raw(told, mapping)
    assert rows.values["thickness_of_rainfall_amount"].tolist() == [float(d) for d in depths]


def test_rows_of_another_width_words_and_dates_that_never_were() -> None:
    text = TMY3 + (
        "\n02/01/1985,02:00,3.5\n02/01/1985,03:00,warm,0.5,85,3.0,0,1\n"
        "02/30/1985,04:00,3.5,0.5,85,3.0,0,1\n02/01/1985,25:00,3.5,0.5,85,3.0,0,1,\n"
    )
    log = one(text)
    assert log.wrong_cells == [6] and log.blank == 1 and log.lines.tolist() == [3, 4, 7, 8, 9]
    assert log.table[1].tolist() == ["1.5", "2.5", "warm", "3.5", "3.5"]
    assert log.table[0].isna().tolist() == [False, False, False, True, True]
    rows = read_raw(log, LogMapping())
    (tally,) = rows.tallies
    assert (tally.read, tally.kept, tally.refused, tally.blank) == (7, 3, 3, 1)
    np.testing.assert_array_equal(rows.values["air_temperature"], [1.5, 2.5, np.nan])


@pytest.mark.parametrize(
    ("text", "what"),
    [
        (TMY3.replace("-6.0", "west"), "a.epw:1: offset from UTC is 'west'; expected hours"),
        (TMY3.replace("-6.0", "99"), "a.epw:1: offset from UTC is '99'; expected hours"),
        (TMY3.replace("-6.0", "nan"), "a.epw:1: offset from UTC is 'nan'; expected hours"),
        (TMY3.replace("RHum (%)", "RH"), "a.epw:2: no column 'RHum (%)'"),
        (TMY3.replace("Wspd (m/s)", "RHum (%)"), "a.epw:2: no column 'RHum (%)', or more than"),
        ("\n".join(TMY3.split("\n")[:2]), "a header but no rows"),
        (f"{SITE}\n{HEADER}\nno row\n", "a.epw:3: no row of 8 cells"),
        (epw(ROW, zone=""), "a.epw:1: offset from UTC is ''; expected hours, cell 9 of line 1"),
        (epw(ROW, periods="1,4"), "a.epw:8: 4 records an hour; expected 1"),
        (epw(ROW).replace("DATA PERIODS", "PERIODS"), "a.epw:8: line 8 is 'PERIODS"),
        (epw(), "no row of 35 cells; expected a row an hour"),
        ("LOCATION,", "offset from UTC is 'nothing'"),
        ("LOCATION,a,b,c,d,e,1,2,3.0,4", "a header but no rows"),
    ],
)
def test_what_is_no_such_year_is_refused_with_line_and_reason(text: str, what: str) -> None:
    assert what in refused(text) and "\n" not in refused(text)


def test_both_are_known_by_their_first_lines(tmp_path: Path) -> None:
    for name, text in (("a.txt", TMY3), ("b.csv", epw(ROW, NEXT)), ("c.csv", "\ufeff" + epw(ROW))):
        (tmp_path / name).write_text(text, encoding="utf-8", newline="\r\n")
        (log,) = open_log(tmp_path / name)
        assert log.header == ["time", *OURS]
    assert not weather_year.matches(b"Date,Time\n1,2\n", Path("a.epw"))


def plain(path: Path) -> tuple[list[int], dict[str, list[float]]]:
    """Return a TMY3 file's times and values read with nothing but the csv module."""
    with path.open(encoding="ascii", newline="") as file:
        lines = list(csv.reader(file))
    west, names = float(lines[0][3]), lines[1]
    zero = datetime(1970, 1, 1, tzinfo=UTC)
    times = []
    for row in lines[2:]:
        day = datetime(2025, int(row[0][:2]), int(row[0][3:5]), tzinfo=UTC)
        end = day + timedelta(hours=int(row[1][:2])) - timedelta(hours=west)
        times.append(int((end - zero).total_seconds()))
    wanted = {"air_temperature": "Dry-bulb (C)", "dew_point_temperature": "Dew-point (C)",
              "relative_humidity": "RHum (%)", "wind_speed": "Wspd (m/s)",
              "thickness_of_rainfall_amount": "Lprecip depth (mm)"}  # fmt: skip
    return times, {
        ours: [float(row[names.index(theirs)]) for row in lines[2:]]
        for ours, theirs in wanted.items()
    }


def test_the_shipped_year_is_that_of_a_plain_reading() -> None:
    times, values = plain(GREENSBORO)
    values["thickness_of_rainfall_amount"] = [
        v * 0.1
        for v in values["thickness_of_rainfall_amount"]  # tenths of a millimetre
    ]
    for rows in (read_typical_year(locate("pvlib:723170TYA.CSV")), read_log(GREENSBORO)):
        assert rows.time.tolist() == times and rows.step == 3600
        assert set(rows.values) == set(values)
        for name, column in values.items():
            assert rows.values[name].tolist() == column, name
            assert not rows.cause[name].any()
        assert not [n for n in rows.notes if n.doubts] and not rows.forecast.any()
        assert rows.files == ("723170TYA.CSV",) and rows.rows_read == 8760


def test_a_year_whose_rain_is_not_in_tenths_is_not_read_as_if_it_were() -> None:
    rows = read_typical_year(SAND_POINT)
    times, values = plain(SAND_POINT)
    assert rows.time.tolist() == times
    for name in ("air_temperature", "dew_point_temperature", "relative_humidity", "wind_speed"):
        assert rows.values[name].tolist() == values[name]
    rain = rows.values["thickness_of_rainfall_amount"]
    depths = np.array(values["thickness_of_rainfall_amount"])
    assert np.isnan(rain[depths != 0]).all()
    assert (rain[~np.isnan(rain)] == 0).all() and (~np.isnan(rain)).sum() > 100
    assert any("unit is not clear" in n.message for n in rows.notes)


def test_another_calendar_year_can_be_asked_for() -> None:
    rows = read_typical_year(GREENSBORO, 2023)
    assert rows.time[0] == utc("2023-01-01T01:00-05:00")
    assert rows.time[-1] == utc("2024-01-01T00:00-05:00")
