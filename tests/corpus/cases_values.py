"""Cases of single cells: values that are none or cannot be, times that are none, mappings."""

from __future__ import annotations

from collections.abc import Iterator

from riskrules.logs.mapping import LogMapping

from .case import HEAD, RAIN, RH, SOIL, UNKNOWN, WET, Case, T, cells, row, rows, stamp, text

NO, SENTINEL, NEVER = "not_a_number", "sentinel", "impossible"


def cases() -> Iterator[Case]:
    yield from _values()
    yield from _columns()
    yield from _times()
    yield from _refused()
    yield from _mappings()


def _values() -> Iterator[Case]:
    for trouble, found in {
        SENTINEL: ["-9999", "9999", "-999", "999.9", "6999", "-6999", "---", "n/a", "NaN", "nan",
                   "NULL", "N/A", "-", "None", "#N/A", "-9999.0", "-9.999e3", "No Data"],
        NO: ["wet", "81 %", "8l", "81..5", "0x51", "8_1", "²", "True", "８１", "81 82", "=81",
             "81;5", "+-81", "1e", "٨١", "OK", "#"],
        NEVER: ["111", "110.1", "-1", "1e300", "1e400", "inf", "-inf", "Infinity", "12345"],
    }.items():  # fmt: skip
        for i, cell in enumerate(found):
            body = HEAD + rows(0, 5) + f"{stamp(5)},12.5,{cell}\n" + rows(6)
            yield text(f"value_{trouble}_{i:02d}", body, troubles=(trouble,),
                       values={(RH, 4): 84, (RH, 5): UNKNOWN, (RH, 6): 86, (T, 5): 12.5},
                       says="log.csv:7: relative_humidity is ")  # fmt: skip
    for i, (cell, value) in enumerate({
        "81": 81, " 81 ": 81, "+81": 81, "81.": 81, ".5": 0.5, "8.1e1": 81, "8.1E+1": 81,
        "081": 81, "100": 100, "0": 0, "-0": 0, '"81"': 81, "81.000000000001": 81,
    }.items()):  # fmt: skip
        body = HEAD + rows(0, 5) + f"{stamp(5)},12.5,{cell}\n" + rows(6)
        yield text(f"value_good_{i:02d}", body, values={(RH, 5): value}, quiet=True)
    minus = HEAD + f"{stamp(0)},\u22125.5,80\n" + rows(1)
    yield text("value_minus_sign_of_print", minus, values={(T, 0): -5.5})
    empty = HEAD + f"{stamp(0)},,80\n" + rows(1)
    yield text("value_empty", empty, values={(T, 0): UNKNOWN, (RH, 0): 80}, quiet=True)
    spaces = HEAD + f"{stamp(0)},   ,80\n" + rows(1)
    yield text("value_spaces", spaces, values={(T, 0): UNKNOWN, (RH, 0): 80}, quiet=True)
    all_ = HEAD + "".join(f"{stamp(h)},-9999,{80 + h}\n" for h in range(8))
    yield text("value_sentinel_in_all_rows", all_, troubles=(SENTINEL,), says="with 7 more",
               values={(T, 0): UNKNOWN, (T, 7): UNKNOWN, (RH, 7): 87})  # fmt: skip
    two = HEAD + f"{stamp(0)},-9999,wet\n{stamp(1)},61,111\n" + rows(2)
    yield text("value_four_troubles", two, troubles=(NEVER, NEVER, NO, SENTINEL),
               values={(T, 0): UNKNOWN, (RH, 1): UNKNOWN, (T, 2): 11.0})  # fmt: skip


def _columns() -> Iterator[Case]:
    """A number that stands for 'missing' beyond a variable's limits, but is true within them."""
    scale = "time,leaf wetness [0..9999]\n" + "".join(f"{stamp(h)},{h * 1111}\n" for h in range(10))
    yield text(
        "column_9999_is_wet", scale, kept=10, values={(WET, 9): 1.0, (WET, 0): 0}, quiet=True
    )
    rain = "time,rainfall [in],soil temp [degF]\n" + "".join(
        f"{stamp(h)},0.{h},{50 + 9 * h}\n" for h in range(8)
    )
    # 0.5 in = 12.7 mm; 68 degF = 20 degC
    yield text("column_other_names", rain, values={(RAIN, 5): 12.7, (SOIL, 2): 20.0}, quiet=True)
    extra = "time,temp [degC],battery [V],rh [%],note\n" + "".join(
        ",".join([cells(h)[0], cells(h)[1], "3.1", cells(h)[2], "ok"]) + "\n" for h in range(8)
    )
    yield text("column_strangers", extra, says="'battery [V]', 'note' is none that we know")
    twice = "time,temp [degC],temperature [degF]\n" + rows()
    yield text("column_twice", twice, error=(1, "air_temperature stands in two columns"))
    same = "time,rh [%],rh [%]\n" + rows()
    yield text("column_same_name_twice", same, error=(1, "relative_humidity stands in two"))
    nameless = "time,air_temperature [degC],,relative_humidity [%]\n" + "".join(
        ",".join([cells(h)[0], cells(h)[1], "7", cells(h)[2]]) + "\n" for h in range(8)
    )
    yield text("column_without_name", nameless)
    marked = HEAD[:-1] + ",forecast\n" + "".join(row(h)[:-1] + f",{h % 2}\n" for h in range(8))
    yield text("column_forecast", marked, quiet=True)
    maybe = marked.replace(",87,1", ",87,perhaps")
    yield text("column_forecast_in_doubt", maybe, says="forecast is 'perhaps'; expected 0 or 1")


def _times() -> Iterator[Case]:
    for i, cell in enumerate(["bogus", "", "2026-02-30T03:00Z", "2026-05-01T25:00Z",
                              "0001-01-01T00:00Z", "9999-12-31T00:00Z", "2026-05-01T03:61Z",
                              "---", "NaN", "2026-13-01T03:00Z", "T03:00Z"]):  # fmt: skip
        body = HEAD + rows(0, 3) + f"{cell},11.5,83\n" + rows(4)
        yield text(f"time_unreadable_{i:02d}", body, kept=7, refused=1, troubles=("no_time",),
                   values={(T, 2): 11.0, (T, 3): 12.0}, says="log.csv:5: time is ")  # fmt: skip
    bare = HEAD + rows().replace("Z,", ",")
    yield text("time_without_zone", bare, error=(2, "has no offset"))
    yield text("time_without_zone_but_told", bare, zone="Europe/Paris")
    mixed = HEAD + rows(0, 4) + rows(4).replace("Z,", ",")
    yield text("time_with_and_without_offset", mixed, zone="UTC", error=(6, "some not"))
    yield text("time_none_readable", HEAD + "x,1,2\ny,1,2\n", error=(2, "no readable time"))
    number = HEAD + "20260501,1,2\n20260502,1,2\n"
    yield text("time_is_a_number", number, zone="UTC", error=(2, "20260501"))
    either = HEAD + "".join(f"0{d}/05/2026 06:00,10,80\n" for d in range(1, 9))
    # Day or month first: eight days in a row, or one day in each of eight months?
    clear = HEAD + "".join(f"{d}/05/2026 06:00,10,80\n" for d in range(11, 19))
    yield text("time_day_first", clear, zone="UTC", values={(T, 0): 10})
    yield text("time_day_first_told", either, zone="UTC", values={(T, 0): 10},
               mapping=LogMapping(date_order="day_first"))  # fmt: skip
    halves = HEAD + "".join(
        f"2026-05-01 {h % 12 or 12}:00 {'AM' if h < 12 else 'PM'},{h},80\n" for h in range(24)
    )
    yield text("time_am_and_pm", halves, kept=24, zone="UTC", values={(T, 0): 0, (T, 13): 13})
    pair = "Date,Time,temp [degC],rh [%]\n" + "".join(
        f"2026-05-01,{h:02d}:00,{cells(h)[1]},{80 + h}\n" for h in range(8)
    )
    yield text("time_in_two_columns", pair, zone="UTC")
    seconds = "time [s],temp [degC],rh [%]\n" + "".join(
        f"{1777593600 + 3600 * h},{cells(h)[1]},{80 + h}\n" for h in range(8)
    )
    yield text("time_in_seconds", seconds)
    # Europe/Paris 2026: the hour from 02:00 never happens on 29 March.
    never = HEAD + "".join(f"2026-03-29T0{h}:30,{h},80\n" for h in range(1, 5))
    yield text("time_that_never_happens", never, kept=3, refused=1, zone="Europe/Paris",
               troubles=("time_never",), values={(T, 0): 1, (T, 1): 3})  # fmt: skip
    once = HEAD + "".join(f"2026-10-25T0{h}:30,{h},80\n" for h in range(1, 5))
    yield text("time_that_happens_twice", once, kept=3, refused=1, zone="Europe/Paris",
               troubles=("time_twice",), values={(T, 0): 1, (T, 1): 3})  # fmt: skip


def _refused() -> Iterator[Case]:
    yield text("no_file_content", "", error=(0, "empty"))
    yield text("no_content_but_spaces", "  \n\n \n", error=(0, "empty"))
    yield text("no_content_but_remarks", "# nothing\n# at all\n", error=(0, "empty"))
    yield text("no_rows", HEAD, error=(1, "a header but no rows"))
    yield text("no_time_column", "temp [degC],rh [%]\n1,2\n", error=(1, "0 time columns"))
    yield text("no_variable", "time,battery [V]\n" + f"{stamp(0)},3\n", error=(1, "no column that"))
    yield text("no_header", rows(), error=(1, "0 time columns"))
    two = "time,timestamp,rh [%]\n" + f"{stamp(0)},{stamp(0)},3\n"
    yield text("two_time_columns", two, error=(1, "2 time columns"))
    yield text("one_endless_line", HEAD + "x" * 1_000_001, error=(2, "a line of more than"))
    yield text("a_page_of_a_book", "Once upon a time, there was\na strawberry, red.\n",
               error=(1, "0 time columns"))  # fmt: skip
    page = "<!DOCTYPE html>\n<html><body>Log in, please</body></html>\n"
    yield text("a_web_page", page, error=(1, "0 time columns"))
    yield Case("a_picture", b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 4, error=(0, ""))
    yield text("a_zone_of_mars", HEAD + rows(), zone="Mars/Base", error=(0, "no zone"))


def _mappings() -> Iterator[Case]:
    own = "when,T1,H1,x\n" + "".join(row(h)[:-1] + ",3\n" for h in range(8))
    names = {"when": "time", "T1": "air_temperature [degC]", "H1": "relative_humidity [%]"}
    yield text("mapped_names", own, mapping=LogMapping(columns=names),
               says="'x' is none that we know")  # fmt: skip
    yield text("mapped_and_ignored", own, mapping=LogMapping(columns={**names, "x": "ignore"}),
               quiet=True)  # fmt: skip
    yield text("not_mapped", own, error=(1, "0 time columns"))
    unknown = LogMapping(columns={**names, "T1": "air_temprature [degC]"})
    yield text("mapped_to_nothing_we_know", own, mapping=unknown, error=(1, "no variable that we"))
    yield text("mapped_time", own, quiet=True,
               mapping=LogMapping(time=["when"], columns={**names, "x": "ignore"}))  # fmt: skip
    yield text("mapped_time_that_is_not_there", own, mapping=LogMapping(time=["hour"]),
               error=(1, "no column 'hour'"))  # fmt: skip
    parts = "day;clock;T1;H1\n" + "".join(
        f"2026-05-01;{h:02d}:00;{cells(h)[1].replace('.', ',')};{80 + h}\n" for h in range(8)
    )
    both = LogMapping(time=["day", "clock"], zone="UTC", columns=names)
    yield text("mapped_time_in_two_columns", parts, mapping=both, says="decimal commas")
    units = "time,T1,H1\n,degC,%\n" + rows()
    bare = LogMapping(columns={"T1": "air_temperature", "H1": "relative_humidity"})
    yield text("mapped_without_units_of_a_unit_line", units, above=2, mapping=bare)
    missing = HEAD + f"{stamp(0)},10.0,99\n{stamp(1)},10.5,low\n" + rows(2)
    yield text("mapped_missing", missing, mapping=LogMapping(missing=["99", "LOW"]),
               troubles=(SENTINEL,),
               says="with 1 more", values={(RH, 0): UNKNOWN, (RH, 1): UNKNOWN})  # fmt: skip
    paren = '"Temp, °C",time,RH (%)\n' + "".join(
        ",".join([cells(h)[1], stamp(h), cells(h)[2]]) + "\n" for h in range(8)
    )
    as_written = {"Temp, °C": "soil_temperature [degC]", "RH (%)": "relative_humidity [%]"}
    yield text("mapped_as_written", paren, mapping=LogMapping(columns=as_written),
               values={(SOIL, 3): 11.5, (RH, 3): 83})  # fmt: skip
    deep = "a,b,c\n1,2,3\n" + HEAD + rows()
    yield text("mapped_header_line", deep, above=3, mapping=LogMapping(header_line=3))
    yield text("mapped_header_line_beyond_the_file", deep, mapping=LogMapping(header_line=99),
               error=(99, "no header on line 99"))  # fmt: skip
