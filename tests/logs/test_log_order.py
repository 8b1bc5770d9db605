"""Order, twins and spans of rows, and archives of several logs, against hand counts."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from riskrules.errors import LogError
from riskrules.facts.kinds import Cause
from riskrules.logs.mapping import LogMapping
from riskrules.logs.read import read_log, read_logs
from riskrules.logs.readings import Readings
from riskrules.logs.troubles import Trouble
from tests.corpus.cases_packed import zipped

from .helpers import HEAD, ROWS, written

T, RH = "air_temperature", "relative_humidity"
FIRST = 1_777_593_600
"""2026-05-01T00:00Z: 20,574 days after 1970. [s]"""


def at(minutes: list[int]) -> str:
    times = np.datetime64("2026-05-01T00:00") + np.array(minutes, dtype="m8[m]")
    return HEAD + "".join(f"{t}Z,{10 + i / 10:.1f},80\n" for i, t in enumerate(times))


def read(tmp_path: Path, text: str, mapping: LogMapping | None = None) -> Readings:
    return read_log(written(tmp_path, text), mapping=mapping)


def test_a_row_stamped_at_its_start_ends_one_step_later(tmp_path):
    rows = read(tmp_path, HEAD + ROWS, LogMapping(stamp="start"))
    assert rows.time.tolist() == [FIRST + 3600 * h for h in range(1, 7)]
    assert rows.spans.tolist() == [3600] * 6 and rows.values[T][0] == 10.0


def test_start_stamps_keep_a_hole_a_hole(tmp_path):
    # Hours 0 to 5, then from 10 on: the row of 05:00 ends at 06:00, not at 10:00.
    rows = read(tmp_path, at([60 * h for h in [0, 1, 2, 3, 4, 5, 10, 11]]),
                LogMapping(stamp="start"))  # fmt: skip
    assert ((rows.time - FIRST) // 3600).tolist() == [1, 2, 3, 4, 5, 6, 11, 12]
    assert rows.spans.tolist() == [3600] * 8


def test_start_stamps_with_a_change_of_step_never_overlap(tmp_path):
    minutes = [60 * h for h in range(8)] + [420 + 10 * i for i in range(1, 9)]
    rows = read(tmp_path, at(minutes), LogMapping(stamp="start"))
    assert (rows.time[1:] - rows.spans[1:] >= rows.time[:-1]).all()
    # The row of 06:00 stands until 07:00, that of 07:00 until 07:10.
    assert (rows.time[6] - FIRST, rows.time[7] - FIRST) == (7 * 3600, 7 * 3600 + 600)


@pytest.mark.parametrize("count", [6, 5])
def test_six_equal_gaps_make_a_step_and_five_do_not(tmp_path, count):
    minutes = [60 * h for h in range(20)] + [1140 + 120 * i for i in range(1, count + 1)]
    rows = read(tmp_path, at(minutes))
    assert rows.step == 3600
    assert rows.spans.tolist() == ([3600] * 20 + [7200] * 6 if count == 6 else [])


def test_three_hours_can_be_a_step_and_more_cannot(tmp_path):
    for gap, expected in ((180, [3600] * 20 + [10_800] * 6), (181, [])):
        minutes = [60 * h for h in range(20)] + [1140 + gap * i for i in range(1, 7)]
        assert read(tmp_path, at(minutes)).spans.tolist() == expected


def test_a_clock_that_drifts_by_a_second_is_no_change_of_step(tmp_path):
    seconds = np.cumsum([0] + [600] * 8 + [601] * 8 + [600] * 8)
    times = np.datetime64("2026-05-01T00:00:00") + seconds.astype("m8[s]")
    rows = read(tmp_path, HEAD + "".join(f"{t}Z,10,80\n" for t in times))
    assert rows.step == 600 and not len(rows.spans) and not rows.notes


def test_a_twin_keeps_its_line_its_reasons_and_the_other_ones_value(tmp_path):
    text = HEAD + ROWS + "2026-05-01T02:00Z,-9999,82\n2026-05-01T03:00Z,10.3,wet\n"
    rows = read(tmp_path, text + "2026-05-01T09:00Z,99,80\n2026-05-01T09:00Z,,80\n")
    assert rows.line.tolist() == [2, 3, 4, 5, 6, 7, 10]
    assert rows.values[T].tolist()[:6] == [10.0, 10.1, 10.2, 10.3, 10.4, 10.5]
    assert rows.reasons[T].tolist() == [0] * 6 + [int(Trouble.IMPOSSIBLE)]
    assert not rows.reasons[RH].any() and rows.cause[T][6] == int(Cause.NO_TEMPERATURE)


def test_every_trouble_has_its_times_and_its_variable(tmp_path):
    text = HEAD + ROWS.replace(",10.1,", ",-9999,").replace(",10.4,", ",-9999,")
    (note,) = read(tmp_path, text).notes
    assert (note.trouble, note.variable, note.row, note.count) == ("sentinel", T, 3, 2)
    assert (note.first, note.last) == (FIRST + 3600, FIRST + 4 * 3600)


def test_a_row_that_is_left_out_doubts_no_value(tmp_path):
    rows = read(tmp_path, HEAD + ROWS + "bogus,-9999,wet\n")
    assert [n.trouble for n in rows.notes] == ["no_time"]


def test_an_archive_gives_a_source_a_member_in_the_order_of_their_names(tmp_path):
    data = {"north/b.csv": HEAD + ROWS, "a.csv": HEAD + ROWS.replace(",8", ",7")}
    path = written(tmp_path, zipped({n: t.encode() for n, t in data.items()}), "logs.zip")
    one, two = read_logs(path)
    assert (one.files, two.files) == (("logs.zip/a.csv",), ("logs.zip/north/b.csv",))
    assert (one.values[RH][0], two.values[RH][0]) == (70, 80)


def test_a_member_that_cannot_be_used_is_named(tmp_path):
    data = {"a.csv": (HEAD + ROWS).encode(), "b.csv": (HEAD + "x,1,2\n").encode()}
    path = written(tmp_path, zipped(data), "logs.zip")
    with pytest.raises(LogError, match=r"logs\.zip/b\.csv:2: no readable time"):
        read_logs(path)


def test_nothing_is_written_whatever_the_members_are_called(tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    names = ("../up.csv", "/abs.csv", "..\\back.csv", "C:\\disk.csv")
    path = written(folder, zipped({n: (HEAD + ROWS).encode() for n in names}), "logs.zip")
    assert len(read_logs(path)) == 4
    assert sorted(p.name for p in tmp_path.rglob("*")) == ["in", "logs.zip"]
    assert not Path("/abs.csv").exists()


def test_a_log_step_given_by_the_mapping_of_columns_goes_before_the_header(tmp_path):
    path = written(tmp_path, HEAD + ROWS)
    mapping = LogMapping(columns={"relative_humidity [%]": "ignore"})
    rows = read_log(path, columns={"air_temperature [degC]": "soil_temperature [degC]"},
                    mapping=mapping)  # fmt: skip
    assert list(rows.values) == ["soil_temperature"] and not rows.notes
