"""Cases of rows: ragged, blank, cut off, repeated, out of order, with the header in the middle."""

from __future__ import annotations

from collections.abc import Iterator

from riskrules.logs.mapping import LogMapping

from .case import GOOD, HEAD, RH, UNKNOWN, Case, T, cells, row, rows, stamp, text

WRONG = ("wrong_cells",)


def cases() -> Iterator[Case]:
    yield from _ragged()
    yield from _cut()
    yield from _blank()
    yield from _headers()
    yield from _twins()
    yield from _steps()
    yield from _nul()


def _ragged() -> Iterator[Case]:
    for where, at in (("first", 0), ("middle", 4), ("last", 7)):
        for what, bad in {
            "short": f"{stamp(at)},10\n",
            "one_cell": f"{stamp(at)}\n",
            "long": row(at)[:-1] + ",99\n",
            "very_long": row(at)[:-1] + ",1" * 40 + "\n",
        }.items():
            lines = [bad if h == at else row(h) for h in range(8)]
            yield text(f"ragged_{what}_{where}", HEAD + "".join(lines), kept=7, refused=1,
                       troubles=WRONG, values={(RH, 0): 80 if at else 81},
                       says=f"log.csv:{at + 2}: ")  # fmt: skip
    yield text("ragged_two_rows_in_one_line", HEAD + row(0)[:-1] + "," + row(1) + rows(2),
               kept=6, refused=1, troubles=WRONG, values={(T, 0): 11.0})  # fmt: skip
    yield text("ragged_unclosed_quote", HEAD + rows(0, 4) + f'{stamp(4)},"12,84\n' + rows(5),
               kept=7, refused=1, troubles=WRONG, values={(T, 3): 11.5, (T, 4): 12.5},
               says="log.csv:6: a quote that does not close")  # fmt: skip
    yield text("ragged_two_unclosed_quotes",
               HEAD + rows(0, 3) + f'{stamp(3)},"11,83\n{stamp(4)},12",84\n' + rows(5),
               kept=7, refused=1, troubles=("not_a_number", *WRONG),
               values={(T, 3): UNKNOWN, (RH, 3): 84, (T, 4): 12.5})  # fmt: skip
    yield text("ragged_quote_within_a_cell", HEAD + rows(0, 7) + f'{stamp(7)},13"5,87\n',
               troubles=("not_a_number",), values={(T, 7): UNKNOWN, (RH, 7): 87})  # fmt: skip
    yield text("ragged_all_rows", HEAD + "".join(f"{stamp(h)},1,2,3\n" for h in range(3)),
               error=(2, "4 cells; expected 3"))  # fmt: skip
    for name, foot in {"words": "End of data\n", "line": "------\n", "count": "Rows: 8\n",
                       "total": "Total,,,\n"}.items():  # fmt: skip
        no = name == "total"
        yield text(f"ragged_footer_{name}", HEAD + rows() + foot, refused=1,
                   troubles=("no_time",) if no else WRONG)  # fmt: skip


def _cut() -> Iterator[Case]:
    """A last line of the file that was half written when it was copied."""
    whole = HEAD + rows(0, 7)
    for name, end in {"in_the_time": "2026-05-0", "after_the_time": stamp(7),
                      "in_the_first_value": f"{stamp(7)},13", "before_a_value": f"{stamp(7)},"
                      }.items():  # fmt: skip
        yield text(f"cut_{name}", whole + end, kept=7, refused=1, troubles=WRONG,
                   values={(T, 6): 13.0}, says="log.csv:9: ")  # fmt: skip
    said = "log.csv:9: the last line has no line end; it may have been cut off"
    cut = whole + f"{stamp(7)},13.5,8"
    yield text("cut_in_the_last_value", cut, values={(RH, 6): 86}, says=said)
    yield text("cut_before_the_last_value", whole + f"{stamp(7)},13.5,",
               values={(RH, 7): UNKNOWN, (T, 7): 13.5}, says="no line end")  # fmt: skip
    yield text("cut_in_the_header", "time,air_temp", error=(1, "a header but no rows"))
    yield text("cut_at_the_start_too", "5,80\n" + rows(1), error=(1, "0 time columns"))


def _blank() -> Iterator[Case]:
    for name, lines, count in (
        ("one", "\n", 1), ("three", "\n\n\n", 3), ("spaces", "   \n", 1), ("tabs", "\t\t\n", 1),
        ("commas", ",,\n", 1), ("commas_and_more", ",,,,,\n", 1), ("quotes", '"","",""\n', 1),
        ("spaced_commas", " , , \n", 1),
    ):  # fmt: skip
        for where, body in (
            ("first", lines + rows()), ("middle", rows(0, 4) + lines + rows(4)),
            ("last", rows() + lines),
        ):  # fmt: skip
            yield text(f"blank_{name}_{where}", HEAD + body, blank=count)
    yield text("blank_every_other", HEAD + rows().replace("\n", "\n\n"), blank=8)
    yield text("blank_only", HEAD + ",,\n,,\n", error=(1, "a header but no rows"))
    yield text("blank_after_the_header", HEAD + "\n\n", error=(1, "a header but no rows"))


def _headers() -> Iterator[Case]:
    said = "the header stands again among the rows"
    yield text("header_again", HEAD + rows(0, 4) + HEAD + rows(4), inside=1, says=said)
    yield text("header_again_at_once", HEAD + HEAD + rows(), inside=1, says=said)
    yield text("header_again_at_last", HEAD + rows() + HEAD, inside=1, says=said)
    thrice = HEAD + "".join(row(h) + (HEAD if h % 2 else "") for h in range(8))
    yield text("header_again_four_times", thrice, inside=4, says="with 3 more like it")
    again = HEAD + rows(0, 4) + "# started again\n" + HEAD + rows(4)
    yield text("header_again_with_a_remark", again, inside=2, says="a remark among the rows")
    spaced = HEAD + rows(0, 4) + HEAD.replace(",", " , ") + rows(4)
    yield text("header_again_padded", spaced, inside=1, says=said)
    turned = "time,relative_humidity [%],air_temperature [degC]\n"
    yield text("header_turned_round", HEAD + rows(0, 4) + turned + rows(4),
               error=(6, "the header changes here"))  # fmt: skip
    other = HEAD.replace("degC", "degF")
    yield text("header_in_another_unit", HEAD + rows(0, 4) + other + rows(4),
               error=(6, "the header changes here"))  # fmt: skip
    wider = HEAD[:-1] + ",rain [mm]\n"
    yield text("header_with_a_column_more", HEAD + rows(0, 4) + wider + rows(4),
               error=(6, "the header changes here"))  # fmt: skip
    second = "\ntime,rain [mm]\n" + "".join(f"{stamp(h)},3\n" for h in range(3))
    yield text("header_of_a_second_table", HEAD + rows() + second,
               error=(11, "the header changes here"))  # fmt: skip
    same = "time,humidity [%],temp [degC]\n"
    yield text("header_turned_round_in_other_words", HEAD + rows(0, 4) + same + rows(4),
               error=(6, "the header changes here"))  # fmt: skip
    yield text("header_again_and_cut", HEAD + rows() + "time,air_temp", inside=1,
               says="the header stands again")  # fmt: skip
    yield text("header_remarks_among_the_rows", HEAD + "".join("# x\n" + row(h) for h in range(8)),
               inside=8, says="a remark among the rows")  # fmt: skip


def _twins() -> Iterator[Case]:
    yield text("twin_the_same", HEAD + rows() + row(3), repeated=1, troubles=("repeated",))
    yield text("twin_at_once", HEAD + rows(0, 4) + row(3) + rows(4), repeated=1,
               troubles=("repeated",))  # fmt: skip
    yield text("twin_whole_file", HEAD + rows() + rows(), repeated=8, troubles=("repeated",),
               says="with 7 more like it")  # fmt: skip
    unlike = f"{stamp(3)},30.0,83\n"
    yield text("twin_unlike", HEAD + rows(0, 4) + unlike + rows(4), repeated=1,
               troubles=("disagree", "repeated"),
               values={(T, 3): UNKNOWN, (RH, 3): 83})  # fmt: skip
    part = HEAD + rows(0, 3) + f"{stamp(3)},11.5,\n{stamp(3)},,83\n" + rows(4)
    yield text("twin_halves", part, repeated=1, troubles=("repeated",))
    three = HEAD + rows() + f"{stamp(0)},10.0,80\n{stamp(0)},10.0,81\n"
    yield text("twin_three", three, repeated=2, troubles=("disagree", "repeated"),
               values={(T, 0): 10.0, (RH, 0): UNKNOWN})  # fmt: skip
    marked = HEAD[:-1] + ",forecast\n" + f"{stamp(0)},9,50,1\n{stamp(0)},10,80,0\n"
    yield text("twin_of_a_forecast", marked, kept=1, repeated=1, troubles=("repeated",),
               values={(T, 0): 10.0, (RH, 0): 80})  # fmt: skip
    yield text("order_backwards", HEAD + "".join(row(h) for h in reversed(range(8))),
               says="the clock runs back here")  # fmt: skip
    swapped = HEAD + "".join(row(h) for h in (0, 2, 1, 3, 5, 4, 7, 6))
    yield text("order_swapped", swapped, says="log.csv:4: the clock runs back here")
    yield text("order_one_late", HEAD + rows(1) + row(0), says="log.csv:9: the clock runs back")
    doubled = HEAD + "".join(row(h) + row(h) for h in range(8))
    yield text("twin_every_row", doubled, repeated=8, troubles=("repeated",))


def _steps() -> Iterator[Case]:
    """Spans are in seconds: how long before its time each row stands for."""

    def at(minutes: list[int]) -> str:
        return HEAD + "".join(
            f"2026-05-{1 + m // 1440:02d}T{m // 60 % 24:02d}:{m % 60:02d}Z,10,80\n" for m in minutes
        )

    hourly, tens = [60 * i for i in range(8)], [420 + 10 * i for i in range(1, 9)]
    yield text("step_gets_shorter", at(hourly + tens), kept=16, values={(T, 0): 10},
               spans=(3600,) * 8 + (600,) * 8,
               says="changes here from 60 to 10 minutes")  # fmt: skip
    fives = [5 * i for i in range(8)]
    later = [35 + 120 * i for i in range(1, 8)]
    yield text("step_gets_longer", at(fives + later), kept=15, values={(T, 0): 10},
               spans=(300,) * 8 + (7200,) * 7,
               says="changes here from 5 to 120 minutes")  # fmt: skip
    hole = hourly + tens[:4] + [t + 60 for t in tens[4:]]
    # Four tens, a gap of 70 minutes, three tens: no six equal gaps, so the hour still holds
    # and the gap is within 1.5 hours; the rows after it have gaps of their own.
    yield text("step_too_few_to_tell", at(hole), kept=16, values={(T, 0): 10})
    broken = hourly + tens + [tens[-1] + 60 + 10 * i for i in range(8)]
    # After eight tens a gap of an hour is a hole: its row stands for ten minutes only.
    yield text("step_hole_in_the_finer_part", at(broken), kept=24, values={(T, 0): 10},
               spans=(3600,) * 8 + (600,) * 16)  # fmt: skip
    four = [60 * i for i in range(20)] + [1140 + 240 * i for i in range(1, 8)]
    yield text("step_four_hours_is_no_new_step", at(four), kept=27, values={(T, 0): 10}, quiet=True)
    start = LogMapping(stamp="start")
    yield text("step_stamped_at_the_start", at(hourly), mapping=start, values={(T, 0): 10},
               spans=(3600,) * 8)  # fmt: skip
    yield text("step_start_and_change", at(hourly + tens), kept=16, mapping=start,
               values={(T, 0): 10}, spans=(3600,) * 7 + (600,) * 9)  # fmt: skip


def _nul() -> Iterator[Case]:
    zeros = "\x00" * 512
    yield text("nul_at_the_end", HEAD + rows() + zeros, blank=1, says="512 NUL characters")
    yield text("nul_lines_in_the_middle", HEAD + rows(0, 4) + zeros + "\n" + rows(4), blank=1)
    yield text("nul_in_a_value", HEAD + rows().replace("11.5", "11\x005"),
               troubles=("not_a_number",), values={(T, 3): UNKNOWN, (RH, 3): 83})  # fmt: skip
    yield text("nul_in_a_time", HEAD + rows().replace("T03", "T\x003"), kept=7, refused=1,
               troubles=("no_time",), values={(T, 3): 12.0})  # fmt: skip
    yield text("nul_only", "\x00" * 4096, error=(0, "empty"))
    glued = HEAD + rows(0, 4) + "\x00" * 9 + row(4) + rows(5)
    yield text("nul_before_a_row", glued, kept=7, refused=1, troubles=("no_time",),
               values={(T, 4): 12.5})  # fmt: skip
    assert cells(3)[1] == "11.5" and GOOD[(T, 3)] == 11.5
