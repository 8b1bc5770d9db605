"""Reading into the store, and asking it: history, trace, check."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from cli.farm_files import make
from cli.running import run, text_of

from .messy import FARM_MORE, counted, logs, messy_farm


def copied(messy: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(messy, tmp_path / "farm"))


def test_reading_says_a_line_for_each_file_and_a_short_account(tmp_path):
    made = messy_farm(tmp_path)
    ran = logs(made, "read", made)
    assert ran.code == 0 and not ran.err
    mine = counted(made / "north.csv")
    text = text_of(ran)
    assert f"north.csv: north: new, {mine.kept:,} of {mine.read:,} rows kept" in text
    assert "outside.csv: air outside, outside: new" in text
    assert "events.csv: no log of this farm; left alone" in text
    assert "4 files: 3 read, 0 already known, 0 set aside, 1 not of this farm." in text


def test_reading_the_same_files_again_changes_nothing(messy, tmp_path):
    made = copied(messy, tmp_path)
    before = logs(made, "report", "--json").out
    ran = logs(made, "read", made / "north.csv", made / "south.csv")
    assert ran.code == 0 and "2 files: 0 read, 2 already known" in text_of(ran)
    assert logs(made, "report", "--json").out == before


def test_two_sensors_with_the_same_bytes_are_both_read(tmp_path):
    made = messy_farm(tmp_path)
    (made / "south.csv").write_bytes((made / "north.csv").read_bytes())
    ran = logs(made, "read", made / "north.csv", made / "south.csv")
    assert "2 files: 2 read, 0 already known" in text_of(ran)
    report = json.loads(logs(made, "report", "--json").out)
    assert [(b["block"], b["kept"]) for b in report["blocks"]] == [("north", 1207), ("south", 1207)]


def test_a_broken_file_is_set_aside_and_the_others_are_read(tmp_path):
    made = messy_farm(tmp_path)
    (made / "south.csv").write_text("time,air_temperature\n2026-05-01T00:00Z,1\n")
    for _ in range(2):
        ran = logs(made, "read", made)
        assert ran.code == 1 and "Traceback" not in ran.out + ran.err
        text = text_of(ran)
        assert "south.csv: SET ASIDE (south.csv:1" in text and "1 set aside" in text
    report = logs(made, "report")
    assert report.code == 1 and "Set aside" in report.out and "south.csv:1" in report.out
    assert "SET ASIDE" in logs(made, "history").out


def test_a_file_that_is_named_and_no_log_of_the_farm_exits_1(messy, tmp_path):
    other = tmp_path / "other.csv"
    other.write_text("time\n")
    ran = logs(messy, "read", other, "--store", tmp_path / "store")
    assert ran.code == 1 and "expected one of north.csv, south.csv, outside.csv" in text_of(ran)
    gone = logs(messy, "read", tmp_path / "north.csv", "--store", tmp_path / "store")
    assert gone.code == 1 and "no such file" in text_of(gone)


def test_a_grown_file_takes_the_place_of_the_shorter_one(tmp_path):
    made = messy_farm(tmp_path)
    whole = (made / "south.csv").read_text().splitlines(keepends=True)
    (made / "south.csv").write_text("".join(whole[:100]))
    assert logs(made, "read", made / "south.csv").code == 0
    (made / "south.csv").write_text("".join(whole))
    assert "takes the place of a shorter one" in text_of(logs(made, "read", made / "south.csv"))
    text = text_of(logs(made, "history"))
    assert "Replaced by a longer one" in text and "took the place of south.csv" in text
    found = json.loads(logs(made, "history", "--json").out)
    assert [f["rows"] for f in found["files"]] == [99, len(whole) - 1]
    only = json.loads(logs(made, "history", "--json", "--block", "north").out)
    assert only["files"] == []


def test_a_value_is_traced_to_its_file_and_row(messy):
    lines = (messy / "north.csv").read_text().splitlines()
    number = 40
    time, air, damp, _ = lines[number - 1].split(",")
    words = ("--block", "north", "--sensor", "north", "--at", time.replace("Z", "+00:00"))
    text = text_of(logs(messy, "trace", *words))
    assert f"air temperature: {float(air):g} °C, from north.csv:{number}" in text
    assert f"humidity: {damp} %, from north.csv:{number}" in text
    one = text_of(logs(messy, "trace", *words, "--variable", "relative_humidity"))
    assert "humidity" in one and "air temperature" not in one
    clock = logs(messy, "trace", *words[:-1], time.removesuffix("Z"))
    assert text_of(clock) == text


def test_a_value_that_was_refused_is_traced_as_unknown(messy):
    lines = (messy / "north.csv").read_text().splitlines()
    at = next(line for line in lines if "-9999" in line).split(",")[0].replace("Z", "+00:00")
    text = text_of(logs(messy, "trace", "--block", "north", "--sensor", "north", "--at", at))
    assert "air temperature: unknown, from north.csv" in text


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--block", "north", "--sensor", "north", "--at", "2031-01-01T00:00"), 1, "no reading"),
        (("--block", "east", "--sensor", "north", "--at", "2026-05-01T00:00"), 1, "no reading"),
        (("--block", "north", "--sensor", "north", "--at", "noon"), 2, "expected such as"),
        (("--block", "north", "--at", "2026-05-01T00:00"), 2, "--sensor"),
    ],
)
def test_a_trace_that_leads_nowhere_says_so(messy, words, code, said):
    ran = logs(messy, "trace", *words)
    assert ran.code == code and said in ran.err and "Traceback" not in ran.err


def test_a_time_without_offset_needs_a_farm(messy):
    words = ("--block", "north", "--sensor", "north", "--at", "2026-05-01T00:00")
    ran = run("logs", "trace", *words, "--store", messy / "kept")
    assert ran.code == 2 and "expected an offset, or --farm" in text_of(ran)[:2000] + ran.err


def test_a_whole_store_is_said_to_be_whole_and_a_spoilt_one_is_not(messy, tmp_path):
    made = copied(messy, tmp_path)
    assert logs(made, "check").out == "The store is whole.\n"
    part = next(p for p in sorted((made / "kept").rglob("*.parquet")))
    part.write_bytes(part.read_bytes()[:-20])
    ran = logs(made, "check")
    assert (
        ran.code == 1
        and part.name in "".join(ran.out.split())
        and "Traceback" not in ran.out + ran.err
    )


def test_a_store_that_is_not_there_is_said_in_one_line(tmp_path):
    made = make(tmp_path)
    none = logs(made, "history")
    assert none.code == 2 and "expected --store" in none.err
    (made / "farm.yaml").write_text((made / "farm.yaml").read_text() + FARM_MORE)
    for command in ("history", "check", "report"):
        ran = logs(made, command)
        assert ran.code == 1 and "Traceback" not in ran.err and ran.err.count("\n") == 1
        assert not (made / "kept").exists()
