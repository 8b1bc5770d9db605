"""Faults in an events file: all of them at once, each with line, value and what is expected."""

from __future__ import annotations

import pytest

from riskrules.logs.events import WORDS, read_events

from .helpers import only, problems, says, written

HEAD = "time,block,event,what,end,affected,examined,note\n"
NOON = "2026-05-03T12:00+02:00"


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (f"{NOON},,sprinkle,,,,,", ("event 'sprinkle'", "expected one of stages, row_cover")),
        (f"{NOON},,,,,,,", ("event ''", "expected one of")),
        (f"{NOON}", ("event ''", "expected one of")),
        (f"{NOON},,row_cover,half,,,,", ("row_cover 'half'", "expected one of on, off")),
        (f"{NOON},,sides,,,,,", ("sides ''", "down, up")),
        (f"{NOON},,cooled,yes,,,,", ("cooled 'yes'",)),
        (f"{NOON},,stages,60 66,,,,", ("stage '66'", "BBCH", "60 65 71")),
        (f"{NOON},,stages,bloom,,,,", ("stage 'bloom'", "BBCH")),
        (f"{NOON},,stages,²,,,,", ("stage '²'", "BBCH")),
        (f"{NOON},,stages,,,,,", ("stages without codes", "BBCH")),
        (f"{NOON},,sighting,flower gray_mold,,7,5,", ("7 affected of 5", "expected 0 to 5")),
        (f"{NOON},,sighting,flower gray_mold,,0,0,", ("0 affected of 0",)),
        (f"{NOON},,sighting,flower gray_mold,,,5,", ("affected is ''", "a whole number")),
        (f"{NOON},,sighting,flower gray_mold,,-1,5,", ("affected is '-1'", "a whole number")),
        (f"{NOON},,sighting,flower gray_mold,,1,some,", ("examined is 'some'",)),
        (f"{NOON},,sighting,flower rust,,1,5,", ("flower rust", "flower gray_mold")),
        (f"{NOON},,irrigation,drip,2026-05-03T11:00+02:00,,,", ("end 2026-05-03T11:00+02:00",
                                                                 f"before time {NOON}")),
        (f"{NOON},,no_entry,,,,,", ("no_entry without end", "expected the time until")),
        (f"{NOON},,no_pick,,,,,", ("no_pick without end",)),
        ("noon,,pick,,,,,", ("time is 'noon'", "expected such as 2026-05-03T06:15+02:00")),
        (",,pick,,,,,", ("time is ''", "expected such as")),
        (f"{NOON},,irrigation,drip,soon,,,", ("end is 'soon'", "expected such as")),
        ("2026-05-03T12:00,,pick,,,,,", ("no offset", "a farm with a zone")),
        ("0001-01-01T00:00Z,,pick,,,,,", ("0001-01-01", "expected a year from 1970")),
        (f"{NOON},zz,pick,,,,,", ("no block 'zz'", "expected north, south")),
        (f"{NOON},north,pick,,,,,said,lost", ("9 cells", "expected 8")),
    ],
)  # fmt: skip
def test_a_row_with_a_fault_is_refused_at_its_line(tmp_path, row, words):
    good = f"{NOON},north,pick,done,,,,\n"
    path = written(tmp_path, f"# invented\n{HEAD}{good}\n{row}\n{good}", "events.csv")
    problem = only(lambda: read_events(path, None, {"north", "south"}))
    says(problem, "events.csv", 5, *words)


def test_all_faults_are_said_at_once(tmp_path):
    path = written(tmp_path, f"{HEAD}{NOON},,x,,,,,\n{NOON},,pick,,,,,\nbad,,pick,,,,,\n", "e.csv")
    assert [p.line for p in problems(lambda: read_events(path))] == [2, 4]


def test_lines_are_counted_through_a_note_of_two_lines(tmp_path):
    text = f'{HEAD}{NOON},,pick,,,,,"rain\nlater"\nbad,,pick,,,,,\n'
    assert only(lambda: read_events(written(tmp_path, text, "e.csv"))).line == 4


@pytest.mark.parametrize("time", ["2026-03-29T02:30", "2026-10-25T02:30"])
def test_a_clock_time_that_happens_twice_or_never_is_refused(tmp_path, time):
    path = written(tmp_path, f"{HEAD}{time},,pick,,,,,\n", "e.csv")
    problem = only(lambda: read_events(path, "Europe/Paris"))
    says(problem, "e.csv", 2, "twice or never in Europe/Paris", "expected an offset")
    assert len(read_events(written(tmp_path, f"{HEAD}{time}+02:00,,pick,,,,,\n", "f.csv"),
                           "Europe/Paris")) == 1  # fmt: skip


@pytest.mark.parametrize(
    ("head", "words"),
    [
        ("time,what\n", ("time, what", "expected one 'event'")),
        ("event\n", ("expected one 'time'",)),
        ("time,event,time\n", ("expected one 'time'",)),
        ("time,event,weather\n", ("no column 'weather'", "affected, examined, note")),
        ("time,event,end,end\n", ("'end' stands twice",)),
    ],
)
def test_a_header_with_a_fault_is_refused(tmp_path, head, words):
    path = written(tmp_path, f"# a\n{head}{NOON},pick\n", "e.csv")
    says(only(lambda: read_events(path)), "e.csv", 2, *words)


@pytest.mark.parametrize(("text", "word"), [
    (b"", "empty"), (b"# a\n", "empty"), ((HEAD + NOON).encode("utf-16"), "UTF-16"),
    ((HEAD + NOON + ",,pick,,,,,caf\xe9").encode("latin-1"), "0xe9"),
])  # fmt: skip
def test_an_events_file_that_is_empty_or_of_another_encoding_is_refused(tmp_path, text, word):
    path = written(tmp_path, text, "e.csv")
    assert word in only(lambda: read_events(path)).message


def test_events_come_in_time_order_whatever_the_order_of_rows_and_twins_count_once(tmp_path):
    rows = [
        f"{NOON},,irrigation,drip,,,,\n",
        f"{NOON},,irrigation,drip,2026-05-03T13:00+02:00,,,\n",
        f"{NOON},b,irrigation,drip,,,,\n",
        "2026-05-01T12:00+02:00,,sides,up,,,,\n",
    ]
    one = read_events(written(tmp_path, HEAD + "".join(rows), "a.csv"))
    other = read_events(written(tmp_path, HEAD + "".join(rows[::-1] + rows), "b.csv"))
    assert one == other and len(one) == 4 and one[0].event == "sides"


def test_a_header_without_rows_is_no_event_and_no_fault(tmp_path):
    assert read_events(written(tmp_path, HEAD, "e.csv")) == []


def test_every_word_of_every_event_is_understood(tmp_path):
    text = HEAD
    for event, words in WORDS.items():
        for what in words or ("60 65",):
            text += f"{NOON},,{event},{what},2026-05-04T12:00+02:00,1,60,\n"
    found = read_events(written(tmp_path, text, "e.csv"))
    assert len(found) == text.count("\n") - 1
    assert {(e.affected, e.examined) for e in found if e.event == "sighting"} == {(1, 60)}
