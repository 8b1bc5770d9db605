"""Cases of how a file is written: delimiters, decimals, line ends, encodings, what is above."""

from __future__ import annotations

from collections.abc import Iterator

from riskrules.logs.mapping import LogMapping

from .case import GOOD, HEAD, RH, UNKNOWN, Case, T, cells, row, rows, text, written_with

MARKS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"}
SAID = {"comma": "", "semicolon": "divided by ;", "tab": "divided by tab", "bar": "divided by |"}


def cases() -> Iterator[Case]:
    for name, mark in MARKS.items():
        yield from _of_mark(name, mark)
    yield from _spaces()
    yield from _decimals()
    yield from _line_ends()
    yield from _encodings()
    yield from _above()
    yield from _units()


def _of_mark(name: str, mark: str) -> Iterator[Case]:
    plain, said = written_with(mark), SAID[name]
    lines = plain.splitlines()
    yield text(f"{name}_plain", plain, says=said, quiet=not said)
    yield text(f"{name}_at_every_end", "".join(f"{x}{mark}\n" for x in lines), says=said)
    ends = [lines[0], *(x + mark for x in lines[1:])]
    yield text(f"{name}_at_ends_of_rows", "\n".join(ends) + "\n", says=said)
    some = [x + mark if i == 3 else x for i, x in enumerate(lines)]
    yield text(f"{name}_at_the_end_of_one_row", "\n".join(some) + "\n", says=said)
    three = "".join(f"{x}{mark * 3}\n" for x in lines)
    yield text(f"{name}_three_at_every_end", three, says=said)
    quoted = "".join(mark.join(f'"{c}"' for c in x.split(mark)) + "\n" for x in lines)
    yield text(f"{name}_quoted", quoted, says=said)
    padded = "".join(mark.join(f" {c} " for c in x.split(mark)) + "\n" for x in lines)
    yield text(f"{name}_padded", padded, says=said)
    wide = "".join(f'{x}{mark}"a{mark}b"\n' for x in lines[1:])
    head = f"{lines[0]}{mark}remark\n"
    yield text(f"{name}_within_quotes", head + wide, says="'remark' is none that we know")
    odd = LogMapping(delimiter="tab" if mark == "\t" else mark)  # type: ignore[arg-type]
    yield text(f"{name}_given", plain, mapping=odd, says=said)
    yield text(f"{name}_hint", f"sep={mark}\n{plain}", above=2, says=said)


def _spaces() -> Iterator[Case]:
    names = ["time", "temp", "rh"]
    body = [cells(h) for h in range(8)]
    one = "time temp [degC] rh [%]\n" + "".join(" ".join(c) + "\n" for c in body)
    yield text("space_single", one, says="divided by spaces")
    wide = "".join(f"{c[0]:<24}{c[1]:<10}{c[2]}\n" for c in body)
    head = "{:<24}{:<14}{}\n".format("time", "temp [degC]", "rh [%]")
    yield text("space_aligned", head + wide, says="two or more spaces")
    given = LogMapping(
        delimiter="space", columns={"temp": "air_temperature [degC]", "rh": "humidity [%]"}
    )
    mapped = " ".join(names) + "\n" + "".join(" ".join(c) + "\n" for c in body)
    yield text("space_given_and_mapped", mapped, mapping=given, says="spaces")
    stamped = "".join(f"2026-05-01 0{h}:00 {cells(h)[1]} {cells(h)[2]}\n" for h in range(8))
    yield text("space_in_the_time", "time temp [degC] rh [%]\n" + stamped, zone="UTC")
    yield text("space_date_and_time", "date time temp [degC] rh [%]\n" + stamped, zone="UTC")


def _decimals() -> Iterator[Case]:
    for name, mark in list(MARKS.items())[1:]:
        yield text(f"decimal_comma_{name}", written_with(mark, point=","), says="decimal commas")
    tailed = "".join(f"{x};\n" for x in written_with(";", point=",").splitlines())
    yield text("decimal_comma_and_end", tailed, says="decimal commas")
    quoted = HEAD + "".join(f'{c[0]},"{c[1].replace(".", ",")}",{c[2]}\n'
                            for c in map(cells, range(8)))  # fmt: skip
    bad = {(T, 0): UNKNOWN, (T, 7): UNKNOWN, (RH, 7): 87}
    yield text("decimal_comma_quoted_in_a_comma_file", quoted, troubles=("not_a_number",),
               values=bad, says="'10,0'; expected a number")  # fmt: skip
    yield text("decimal_comma_quoted_and_given", quoted, mapping=LogMapping(decimal=","))
    loose = HEAD + "".join(
        f"{c[0]},{c[1].replace('.', ',')},{c[2]}\n" for c in map(cells, range(8))
    )
    yield text("decimal_comma_loose_in_a_comma_file", loose, error=(2, "4 cells; expected 3"))
    head = "time;rain [mm];wind [m/s]\n"
    either = head + "".join(f"2026-05-01T0{h}:00Z;1,23{h};2\n" for h in range(4))
    wind = {("thickness_of_rainfall_amount", 0): UNKNOWN, ("wind_speed", 0): 2}
    yield text("decimal_or_thousands", either, kept=4, troubles=("not_a_number",), values=wind,
               says="may be a decimal comma or thousands")  # fmt: skip
    taken = {("thickness_of_rainfall_amount", 3): 1.233}
    yield text("decimal_or_thousands_given", either, kept=4, mapping=LogMapping(decimal=","),
               values=taken)  # fmt: skip
    clear = head + "".join(f"2026-05-01T0{h}:00Z;1,23{h};2,5\n" for h in range(4))
    yield text("decimal_or_thousands_beside_clear_ones", clear, kept=4,
               values=taken | {("wind_speed", 0): 2.5})  # fmt: skip
    zero = head + "".join(f"2026-05-01T0{h}:00Z;0,23{h};2\n" for h in range(4))
    yield text("decimal_after_zero_is_clear", zero, kept=4,
               values={("thickness_of_rainfall_amount", 3): 0.233})  # fmt: skip
    beside = head + "".join(f"2026-05-01T0{h}:00Z;1,23{h};2.5\n" for h in range(4))
    yield text("decimal_or_thousands_beside_points", beside, kept=4, troubles=("not_a_number",),
               values={("thickness_of_rainfall_amount", 3): UNKNOWN,
               ("wind_speed", 0): 2.5})  # fmt: skip
    mixed = written_with(";", point=",").replace("11,5", "11.5")
    yield text("decimal_mixed_in_one_column", mixed, troubles=("not_a_number",),
               values={(T, 0): UNKNOWN, (T, 3): 11.5},
               says="with a comma and with a point")  # fmt: skip
    yield text("decimal_point_where_commas_are_given", mixed, troubles=("not_a_number",),
               mapping=LogMapping(decimal=","), values={(T, 0): 10.0, (T, 3): UNKNOWN})  # fmt: skip
    yield text("decimal_comma_where_points_are_given", written_with(";", point=","),
               mapping=LogMapping(decimal="."), troubles=("not_a_number",),
               values={(T, 0): UNKNOWN, (RH, 0): 80})  # fmt: skip


def _line_ends() -> Iterator[Case]:
    plain = HEAD + rows()
    yield text("ends_crlf", plain.replace("\n", "\r\n"), quiet=True)
    yield text("ends_cr", plain.replace("\n", "\r"), quiet=True)
    mixed = HEAD + rows(0, 4).replace("\n", "\r\n") + rows(4, 8)
    yield text("ends_mixed", mixed, quiet=True)
    doubled = plain.replace("\n", "\r\r\n")
    yield text("ends_doubled", doubled, blank=9)
    yield text("ends_none_at_last", plain[:-1], says="log.csv:9: the last line has no line end")
    yield text("ends_none_at_last_crlf", plain.replace("\n", "\r\n")[:-2], says="no line end")
    yield text("ends_separator_characters", plain.replace("11.5", "\u202811.5\u2028"))


def _encodings() -> Iterator[Case]:
    plain = HEAD.replace("degC", "°C") + rows()
    for name, codec in (("utf_8", "utf-8"), ("utf_8_mark", "utf-8-sig")):
        yield Case(f"bytes_{name}", plain.encode(codec), values=GOOD, quiet=True)
    for name, codec, said in (
        ("utf_16_mark", "utf-16", "UTF-16 LE"), ("utf_16_le", "utf-16-le", "UTF-16 LE"),
        ("utf_16_be", "utf-16-be", "UTF-16 BE"),
    ):  # fmt: skip
        yield Case(f"bytes_{name}", plain.encode(codec), values=GOOD, says=said, encoding=codec)
        crlf = plain.replace("\n", "\r\n").encode(codec)
        yield Case(f"bytes_{name}_crlf", crlf, values=GOOD, says=said, encoding=codec)
    big = b"\xfe\xff" + plain.encode("utf-16-be")
    yield Case("bytes_utf_16_be_mark", big, values=GOOD, says="UTF-16 BE", encoding="utf-16-be")
    tabs = written_with("\t").encode("utf-16")
    yield Case("bytes_utf_16_tabs", tabs, values=GOOD, says="UTF-16 LE", encoding="utf-16")
    yield Case("bytes_latin_1", plain.encode("latin-1"), values=GOOD, says="Latin-1",
               encoding="latin-1")  # fmt: skip
    dashed = f"# block 3 \u2013 north\n{plain}".encode("cp1252")
    yield Case("bytes_cp1252", dashed, values=GOOD, above=2, says="Windows-1252", encoding="cp1252")
    odd = plain.encode("utf-16-le")[:-1]
    # What followed the last number is half a character: no telling what it was.
    yield Case("bytes_utf_16_cut_within_a_character", odd, values={(T, 7): 13.5, (RH, 7): UNKNOWN},
               encoding="utf-16-le", troubles=("not_a_number",), says="no line end")  # fmt: skip
    hurt = plain.encode().replace(b"11.5", b"11\xff5")
    yield Case("bytes_one_damaged", hurt, values={(T, 2): 11, (T, 3): UNKNOWN, (RH, 3): 83},
               troubles=("not_a_number",), says="1 damaged character")  # fmt: skip
    at = HEAD.encode() + rows().encode().replace(b"T03:", b"T0\xff:")
    yield Case("bytes_damaged_time", at, kept=7, refused=1, troubles=("no_time",))


def _above() -> Iterator[Case]:
    plain = HEAD + rows()
    for name, lines in {
        "remarks": "# made by hand\n# in May\n",
        "blank_lines": "\n\n\n",
        "serial_number": "Serial number 0007\n",
        "keys": "Device: box 3\nSerial: 0007\nInterval: 60 min\n",
        "keys_by_comma": "Device,box 3\nSerial,0007\n",
        "keys_padded": "Device,box 3,\nSerial,0007,\n",
        "keys_with_times": "Start,2026-05-01 00:00\nEnd,2026-05-01 07:00\n",
        "keys_and_blank": "Device: box 3\n\n# a remark\n\n",
        "title": "Logger report\n==========\n\n",
        "quoted_title": '"Logger report, May"\n',
        "spaces": "   \n \t \n",
        "forty_lines": "".join(f"Channel {i}: off\n" for i in range(40)),
    }.items():
        yield text(f"above_{name}", lines + plain, above=1 + lines.count("\n"))
    local = plain.replace("Z,", ",")
    yield text("above_zone", "Device: 3\nTime zone: UTC\n" + local, above=3)
    yield text("above_zone_offset", "# UTC offset: +02:00\n" + local, above=2,
               values={(T, 0): 10.0})  # fmt: skip
    remark = "# a box\n# " + plain
    yield text("above_header_is_a_remark", remark, above=2, says="header is the remark on line 2")
    hash_ = "#," + HEAD + "".join(f"{h},{row(h)}" for h in range(8))
    yield text("above_first_column_is_a_hash", hash_, says="'#' is none that we know")
    shorn = "Box 3\nnote: x\n" + plain
    yield text("above_header_line_given", shorn, above=3, mapping=LogMapping(header_line=3))


def _units() -> Iterator[Case]:
    bare = ["time", "air_temperature", "relative_humidity"]
    head, units = ",".join(bare) + "\n", "yyyy-mm-dd,degC,%\n"
    yield text("units_below", head + units + rows(), above=2, says="line 2 holds units")
    yield text("units_above", units + head + rows(), above=2, says="line 1 holds units")
    yield text("units_below_in_brackets", head + ",[°C],[%]\n" + rows(), above=2)
    yield text("units_below_in_parentheses", head + ",(°C),(%)\n" + rows(), above=2)
    steps = head + "TS,degC,%\n,Avg,Smp\n" + rows()
    yield text("units_and_steps_below", steps, above=3, says="line 3 holds units and the like")
    fahrenheit = head + ",degF,%\n" + rows()
    # 50 degF = 10 degC; the rows say 10 degF = -12.2 degC.
    yield text("units_below_in_fahrenheit", fahrenheit, above=2,
               values={(T, 0): (10 - 32) / 1.8, (RH, 0): 80})  # fmt: skip
    semi = "time;temp;rh\n;°C;%\n" + "".join(row(h, ";").replace(".", ",") for h in range(8))
    yield text("units_below_semicolons", semi, above=2, says="decimal commas")
    for name, header in {
        "parentheses": "time,temp (°C),rh (%)",
        "parentheses_close": "time,temp(°C),rh(%)",
        "after_comma": 'time,"temp, °C","rh, %"',
        "after_comma_with_sensor": 'time,"temp, °C (sensor 1)","rh, % (sensor 2)"',
        "brackets_close": "time,temp[°C],rh[%]",
        "capitals": "Time,Air Temperature [degC],Relative Humidity [%]",
        "spaces": "time , air temperature [ degC ] , relative humidity [ % ]",
        "words": "timestamp,Temperature (Celsius),Humidity (percent)",
        "time_with_zone": '"Date Time, GMT+00:00","Temp, °C","RH, %"',
    }.items():
        yield text(f"units_{name}", header + "\n" + rows(), quiet=True)
    zoned = "time (UTC),temp [°C],rh [%]\n" + rows().replace("Z,", ",")
    yield text("units_zone_in_the_time_header", zoned)
    place = "time,temp (inside),rh (%)\n"
    yield text("units_a_place_is_no_unit", place + rows(), values={(RH, 0): 80},
               says="'temp (inside)' is none that we know")  # fmt: skip
    yield text("units_missing", "time,temp,rh [%]\n" + rows(), error=(1, "no unit"))
    strange = "time,temp [furlong],rh [%]\n"
    yield text("units_unknown", strange + rows(), error=(1, "unit 'furlong'"))
