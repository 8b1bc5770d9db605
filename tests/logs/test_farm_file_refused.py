"""Faults in a farm file: each with line and column, value, and what is expected."""

from __future__ import annotations

import time

import pytest

from riskrules.farm import load_farm
from riskrules.sources import gather

from .helpers import HEAD, ROWS, only, problems, says, written

FARM = """\
farm: Invented Farm
place: {latitude: 40, longitude: -86, zone: America/Indiana/Indianapolis}
blocks:
- block: north
  logs:
  - {file: north.csv, placed: under_cover}
  fruit_at_stake: 3
"""


def test_the_farm_file_that_the_faults_are_put_into_is_itself_good(tmp_path):
    assert load_farm(written(tmp_path, FARM, "farm.yaml")).text.blocks[0].block == "north"


@pytest.mark.parametrize(
    ("old", "new", "line", "column", "words"),
    [
        ("fruit_at_stake: 3", "friut_at_stake: 3", 7, 19, ("'friut_at_stake' is not a key here",)),
        ("fruit_at_stake: 3", "fruit_at_stake: 9", 7, 19, ("fruit_at_stake is 9", "equal to 5")),
        ("fruit_at_stake: 3", "tunnel: high", 7, 11, ("'high'", "'low_tunnel' or 'open'")),
        ("fruit_at_stake: 3", "row_covers: some", 7, 15, ("'some'", "boolean")),
        ("latitude: 40", "latitude: 95", 2, 19, ("latitude is 95", "equal to 90")),
        ("latitude: 40", "latitude: north", 2, 19, ("'north'", "number")),
        ("latitude: 40, ", "", 2, 8, ("'latitude' is missing",)),
        ("America/Indiana/Indianapolis", "America/Nowhere", 2, 45, ("no zone 'America/Nowhere'",
                                                                   "America/Chicago")),
        ("America/Indiana/Indianapolis", "America", 2, 45, ("no zone 'America'",)),
        ("placed: under_cover", "placed: above", 6, 31, ("'above'", "'outside' or 'in_bed'")),
        ("placed: under_cover", "zone: Mars/Base", 6, 29, ("no zone 'Mars/Base'",)),
        ("block: north", "block: North Beds", 4, 10, ("'North Beds'", "pattern")),
        ("farm: Invented Farm", "farm: x\nfarm: y", 2, 1, ("'farm' stands twice",)),
        ("  fruit_at_stake: 3", "\tfruit_at_stake: 3", 7, 1, ("tab", "expected spaces")),
        ("farm: Invented Farm", "farm: [", 3, 1, ("not readable as YAML",)),
        ("farm: Invented Farm", "farm: &a x\nprofile: *a", 2, 10, ("alias *a", "written out")),
    ],
)  # fmt: skip
def test_a_fault_is_refused_at_its_line_and_column(tmp_path, old, new, line, column, words):
    text = FARM.replace(old, new)
    assert text != FARM
    found = problems(lambda: load_farm(written(tmp_path, text, "farm.yaml")))
    hit = [p for p in found if (p.file, p.line) == ("farm.yaml", line)]
    assert hit, [str(p) for p in found]
    assert any(p.column == column and all(w in p.message for w in words) for p in hit), found


def test_two_blocks_of_one_name_are_refused(tmp_path):
    text = FARM + "- block: north\n  logs: [{file: b.csv}]\n"
    says(
        only(lambda: load_farm(written(tmp_path, text, "f.yaml"))), "f.yaml", 8, "'north'", "twice"
    )


def test_a_block_without_logs_is_refused(tmp_path):
    text = FARM + "- block: south\n  logs: []\n"
    says(only(lambda: load_farm(written(tmp_path, text, "f.yaml"))), "f.yaml", 9, "at least 1")


@pytest.mark.parametrize("text", ["", "# nothing\n", "---\n"])
def test_an_empty_farm_file_is_refused(tmp_path, text):
    problem = only(lambda: load_farm(written(tmp_path, text, "farm.yaml")))
    assert "empty; expected a mapping" in problem.message or "document is None" in problem.message


@pytest.mark.parametrize("text", ["- a\n- b\n", "just words\n", "7\n"])
def test_a_farm_file_that_is_no_mapping_is_refused(tmp_path, text):
    says(only(lambda: load_farm(written(tmp_path, text, "farm.yaml"))), "farm.yaml", 1, "document")


def test_all_faults_are_said_at_once(tmp_path):
    text = FARM.replace("latitude: 40", "latitude: 95").replace("3\n", "9\n")
    assert [p.line for p in problems(lambda: load_farm(written(tmp_path, text, "f.yaml")))] == [
        2,
        7,
    ]


BOMB = "a: &a [x,x,x,x,x,x,x,x,x]\n" + "".join(
    f"{n}: &{n} [{','.join(['*' + m] * 9)}]\n" for m, n in zip("abcdefgh", "bcdefghi", strict=True)
)


@pytest.mark.parametrize(
    ("text", "word"),
    [
        (BOMB, "alias"),
        ("[" * 300_000, "nesting"),
        ("a: " + "x" * 1_000_001, "at most 1,000,000"),
        ("farm: !!python/object/apply:os.system [ls]\n", "valid string"),
        ("farm: x\n---\nfarm: y\n", "another document"),
        ("farm: a\x07b\n", "control characters"),
    ],
)
def test_a_yaml_bomb_is_refused_in_no_time(tmp_path, text, word):
    path = written(tmp_path, text, "farm.yaml")
    began = time.perf_counter()
    found = problems(lambda: load_farm(path))
    assert time.perf_counter() - began < 2
    assert any(word in p.message for p in found), found


def test_a_farm_file_that_is_not_utf8_or_not_there_is_refused(tmp_path):
    path = written(tmp_path, FARM.replace("Invented", "Inventé").encode("latin-1"), "farm.yaml")
    assert "not UTF-8" in only(lambda: load_farm(path)).message
    assert "no such file" in only(lambda: load_farm(tmp_path / "gone.yaml")).message


def test_a_log_that_the_farm_file_names_and_is_not_there_is_named(tmp_path):
    farm = written(tmp_path, FARM, "farm.yaml")
    problem = only(lambda: gather([tmp_path], farm))
    assert problem.file.endswith("north.csv") and "no such file" in problem.message


def test_a_log_that_no_block_has_is_refused_with_those_that_have(tmp_path):
    farm = written(tmp_path, FARM, "farm.yaml")
    log = written(tmp_path, HEAD + ROWS, "west.csv")
    problem = only(lambda: gather([log], farm))
    assert problem.file == str(log) and "expected one of north.csv" in problem.message


def test_an_event_of_a_block_that_the_farm_does_not_have_is_refused_at_its_line(tmp_path):
    farm = written(tmp_path, FARM, "farm.yaml")
    written(tmp_path, HEAD + ROWS, "north.csv")
    text = "time,block,event\n2026-05-01T00:00Z,north,pick\n2026-05-01T00:00Z,nort,pick\n"
    events = written(tmp_path, text, "e.csv")
    says(only(lambda: gather([tmp_path], farm, [events])), "e.csv", 3, "'nort'", "expected north")
    written(tmp_path, text, "one.csv")
    log = written(tmp_path, HEAD + ROWS, "log.csv")
    assert "--farm" in only(lambda: gather([log], None, [events])).message
