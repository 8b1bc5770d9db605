"""JSON lines, tidy and broken: every value here was stated by hand."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from riskrules.errors import LogError
from riskrules.logs.formats import columnar, json_lines, open_log
from riskrules.logs.mapping import LogMapping
from riskrules.logs.raw import RawLog
from riskrules.logs.read import read_log

GOOD = '{"time": "2026-05-03T00:00Z", "t": 1.5}\n{"time": "2026-05-03T01:00Z", "t": 2}\n'


def one(text: str | bytes, **mapping: Any) -> RawLog:
    raw = text.encode() if isinstance(text, str) else text
    (found,) = columnar.read(raw, "a.jsonl", LogMapping.model_validate(mapping))
    return found


def refused(text: str | bytes) -> str:
    raw = text.encode() if isinstance(text, str) else text
    with pytest.raises(LogError) as caught:
        columnar.read(raw, "a.jsonl")
    return str(caught.value)


def lines_of(*cells: str) -> str:
    return "".join(f'{{"t": {cell}}}\n' for cell in cells)


def test_one_object_a_line() -> None:
    log = one(GOOD)
    assert log.header == ["time", "t"] and log.lines.tolist() == [1, 2] and log.header_line == 0
    assert log.table[1].tolist() == [1.5, 2.0]
    assert not log.wrong_cells and not log.blank and not log.notes


def test_missing_and_extra_keys_in_any_order() -> None:
    log = one('{"a": 1, "b": 2}\n{"b": 3}\n{"c": "x", "a": 4}\n')
    assert log.header == ["a", "b", "c"]
    np.testing.assert_array_equal(log.table[0], [1, np.nan, 4])
    np.testing.assert_array_equal(log.table[1], [2, 3, np.nan])
    assert log.table[2].isna().tolist() == [True, True, False]


def test_line_ends_blank_lines_and_a_byte_order_mark() -> None:
    raw = b"\xef\xbb\xbf" + b'\r\n{"a": 1}\r\n\r\n   {"a": 2}  \r\n\n\n'
    log = one(raw)
    assert log.table[0].tolist() == [1, 2] and log.lines.tolist() == [2, 4] and log.blank == 2


def test_a_half_written_last_line_is_left_out_and_said() -> None:
    log = one(GOOD + '{"time": "2026-05-03T02:00Z", "t"')
    assert log.wrong_cells == [3] and len(log.table) == 2
    (note,) = log.notes
    assert note.row == 3 and note.message.startswith("the last line is half-written")


@pytest.mark.parametrize(
    "broken", ["x", "[1, 2]", "3", '"word"', "null", '{"t": 1} {"t": 2}', '{"t": 1},{"t": 2}',
               '{"t": }', '{"t": 1', '{"t": 1}}', "{'t': 1}", '{"t": 01}', '{"t": 1,}']
)  # fmt: skip
def test_a_broken_line_among_good_ones_is_left_out_and_said(broken: str) -> None:
    log = one(f'{{"t": 1}}\n{broken}\n{{"t": 2}}\n')
    assert log.wrong_cells == [2] and log.table[0].tolist() == [1, 2]
    (note,) = log.notes
    assert (note.row, note.count, note.trouble) == (2, 1, "wrong_cells")
    assert "expected one JSON object" in note.message


def test_lines_that_are_only_whole_together_are_none() -> None:
    assert one('{"t": 1}\n{"t": 2\n"u": 3}\n').wrong_cells == [2, 3]
    assert one('{"t": 1}\n{"t": "a\n b"}\n').wrong_cells == [2, 3]
    # Two objects on a line, and one over two lines: as many objects as lines.
    assert one('{"t": 1},{"t": 2}\n{"t": 5\n"u": 3}\n{"t": 4}').wrong_cells == [1, 2, 3]


def test_a_key_that_stands_twice_makes_its_line_doubtful() -> None:
    log = one('{"t": 1}\n{"t": 2, "t": 3}\n{"t": 4}\n')
    assert log.table[0].tolist() == [1, 4] and log.wrong_cells == [2]
    assert log.notes[0].message.startswith("key 't' stands twice")


@pytest.mark.parametrize("value", ['{"a": 1}', "[]", "[1, 2]", "{}"])
def test_nested_values_are_refused_by_name_or_left_out(value: str) -> None:
    text = f'{{"t": 1, "odd": 1}}\n{{"t": 2, "odd": {value}}}\n'
    assert "a.jsonl:2: 'odd' is nested; expected one plain value" in refused(text)
    assert one(text, columns={"odd": "ignore"}).header == ["t"]


def test_whole_numbers_of_any_size_are_exact() -> None:
    assert one(lines_of("9007199254740993", "1")).table[0].tolist() == [9007199254740993, 1]
    large = one(lines_of("9007199254740993", "null")).table[0]
    assert large[0] == "9007199254740993" and large.isna()[1]
    assert one(lines_of(str(2**70), "1")).table[0].tolist() == [str(2**70), "1"]
    assert one(lines_of("1", "9" * 5000)).wrong_cells == [2]  # more digits than Python reads


def test_nan_is_missing_and_infinity_is_what_it_says() -> None:
    found = one(lines_of("NaN", "1.5", "Infinity", "-Infinity", "1e999", "null")).table[0]
    np.testing.assert_array_equal(found, [np.nan, 1.5, np.inf, -np.inf, np.inf, np.nan])


def test_an_infinite_value_is_unknown_and_noted(tmp_path: Path) -> None:
    (tmp_path / "a.jsonl").write_text(
        '{"time": "2026-05-03T00:00Z", "air_temperature [degC]": 1e999}\n'
        '{"time": "2026-05-03T01:00Z", "air_temperature [degC]": 12.5}\n',
        encoding="utf-8",
    )
    rows = read_log(tmp_path / "a.jsonl")
    np.testing.assert_array_equal(rows.values["air_temperature"], [np.nan, 12.5])
    assert any("inf" in n.message and n.doubts for n in rows.notes)


def test_words_truth_values_and_numbers_as_words() -> None:
    assert one(lines_of('"dry"', "1", "true", "false")).table[0].tolist() == [
        "dry", "1", "TRUE", "FALSE"
    ]  # fmt: skip
    assert one(lines_of('"20,55"', '"21,5"')).table[0].tolist() == [20.55, 21.5]


def test_half_a_character_can_be_written_out_again() -> None:
    log = one('{"\\ud800": "\\ud83d"}\n')
    json.dumps([*log.header, log.table[0][0]], ensure_ascii=False).encode()


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("", "empty"),
        ("[1, 2]\n", "a JSON array; expected JSON lines"),
        ('[\n{"t": 1}\n]', "a JSON array; expected JSON lines"),
        ("3\n4\n", "no object; expected a JSON object with each line"),
        ("{}\n{}\n", "objects without keys"),
        ('{"t": 1, "t": 2}\n', "a.jsonl:1: key 't' stands twice"),
        ('{"t": 1}\n{"t": "\udcff"}\n', "a.jsonl:2: byte 0xff is not UTF-8"),
        ("{" + ", ".join(f'"k{i}": 1' for i in range(1001)) + "}", "more than 1,000 keys"),
        ('{"t": ' + "[" * 100_000 + "]" * 100_000 + "}", "not JSON that can be read"),
        ('{"t": "' + "x" * 1_000_000 + '"}', "a line of more than 1,000,000 bytes"),
    ],
)
def test_what_cannot_be_used_is_refused_with_the_reason(text: str, what: str) -> None:
    assert what in refused(text.encode("utf-8", "surrogateescape"))


@pytest.mark.parametrize("name", ["a.jsonl", "a.ndjson", "a.json", "a.txt", "a.csv"])
def test_json_lines_are_known_by_their_first_bytes(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text(GOOD, encoding="utf-8")
    (log,) = open_log(tmp_path / name)
    assert log.said == ["JSON lines"]


def test_text_that_only_begins_with_a_bracket_is_no_json() -> None:
    path = Path("a.csv")
    assert not json_lines.matches(b"[time],t\n", path)
    assert not json_lines.matches(b"{time},t\n", path)
    assert json_lines.matches(b'  {"a": 1}\n', path)
    assert json_lines.matches(b"[1]\n", Path("a.json"))
