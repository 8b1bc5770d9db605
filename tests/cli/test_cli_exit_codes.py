"""Exit codes: 0 done, whatever was found; 1 the job could not be done; 2 wrong use."""

from __future__ import annotations

import json

import pytest

from .farm_files import HEAD, make, rows
from .running import (
    apart,
    by_rule,
    checked,
    on_farm,
    reviewed,
    run,
    seen,
    seen_json,
    state,
    text_of,
)

HIGH, SEEN = "gray_mold.flower_infection_high", "gray_mold.flower_infection"


def test_findings_and_quiet_both_exit_0(two_beds):
    assert "Severe" in seen(two_beds).out
    for words in ((), ("--on", "2026-05-26"), ("--json",)):
        assert seen(two_beds, *words).code == 0


def test_explain_tables_and_packs_exit_0(two_beds):
    assert seen(two_beds, "--rule", SEEN, command="explain").code == 0
    assert run("packs").code == 0
    assert run("tables").code == 0


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("nope",),
        ("review",),
        ("review", "x.csv", "--nope"),
        ("review", "x.csv", "--on", "yesterday"),
        ("review", "x.csv", "--on", "0001-01-01"),
        ("review", "x.csv", "--on", "2026-05-01", "--from", "2026-05-01"),
        ("review", "x.csv", "--from", "2026-05-02", "--to", "2026-05-01"),
        ("review", "x.csv", "--from", "2026-02-30"),
        ("review", "x.csv", "--crew-hours", "-1"),
        ("review", "x.csv", "--crew-hours", "many"),
        ("explain", "x.csv"),
        ("packs", "--nope"),
        ("tables", "extra"),
    ],
)
def test_wrong_use_exits_2_with_help_and_before_any_file_is_opened(words):
    ran = run(*words)
    assert ran.code == 2
    assert "Usage:" in ran.err + ran.out and "x.csv:" not in ran.err


def test_a_wrong_time_of_now_exits_2(two_beds):
    for text in ("soon", "0001-01-01T00:00"):
        ran = seen(two_beds, "--as-of", text)
        assert ran.code == 2 and "--as-of" in ran.err


@pytest.mark.parametrize("command", ["review", "explain"])
def test_files_that_cannot_be_used_exit_1_with_one_clear_message(two_beds, tmp_path, command):
    more = ("--rule", SEEN) if command == "explain" else ()
    farm = two_beds / "farm.yaml"
    bad = tmp_path / "bad.csv"
    bad.write_text("time,air_temperature\n2026-05-01T00:00Z,1\n")
    old = tmp_path / "bad.yaml"
    old.write_text("profile: [\n")
    tries = {
        "no such file": (tmp_path / "gone.csv",),
        "bad.csv:1: column 'air_temperature': no unit": (bad,),
        "directory": (tmp_path,),
        "gone.yaml: no such file": (two_beds, "--farm", tmp_path / "gone.yaml"),
        "gone.csv: no such file": (two_beds, "--farm", farm, "--events", tmp_path / "gone.csv"),
        "bad.yaml:": (two_beds, "--farm", farm, "--profile", old),
        "expected --farm": (two_beds / "north.csv", two_beds / "south.csv"),
    }
    for word, words in tries.items():
        ran = run(command, *words, *more)
        assert ran.code == 1 and not ran.out, (word, ran)
        assert "Traceback" not in ran.err
        assert word in ran.err or word == "expected --farm" and "or --farm" in ran.err, ran.err


@pytest.mark.parametrize(
    "text",
    ["", "[]", "{}", "not json", "[" * 100_000, '{"format": "riskrules review 1"}',
     '{"format": "riskrules review 1", "findings": [{"id": "a"}]}',
     '{"format": "riskrules review 1", "findings": 3}',
     '{"format": "another 2", "findings": []}'],
)  # fmt: skip
def test_an_earlier_review_that_cannot_be_used_exits_1(two_beds, tmp_path, text):
    old = tmp_path / "old.json"
    old.write_text(text)
    ran = seen(two_beds, "--since", old)
    assert ran.code == 1 and "old.json" in ran.err and "Traceback" not in ran.err


def test_an_earlier_review_with_a_time_without_offset_exits_1(two_beds, tmp_path):
    found = seen_json(two_beds)
    found["findings"][0]["start"] = "2026-05-30T12:00:00"
    (tmp_path / "old.json").write_text(json.dumps(found))
    ran = seen(two_beds, "--since", tmp_path / "old.json")
    assert ran.code == 1 and "a time without offset" in ran.err


def test_a_log_with_nothing_measured_by_now_exits_1(tmp_path):
    log = tmp_path / "one.csv"
    log.write_text(HEAD + "".join(rows(0, 48)))
    ran = run("review", log, "--as-of", "2020-01-01T00:00")
    assert ran.code == 1 and "one.csv: " in ran.err and "until 2020-01-01" in ran.err
    log.write_text(HEAD.strip() + ",forecast\n" + "".join(r.strip() + ",1\n" for r in rows(0, 48)))
    for more in ((), ("--as-of", "2026-04-12T06:00")):
        ran = run("review", log, *more)
        assert ran.code == 1 and "one.csv: no measured row" in ran.err


def test_a_block_with_nothing_measured_by_now_is_not_evaluated_and_not_quiet(tmp_path):
    made = make(tmp_path, [r for r in rows(18) if r > "2026-05-20"])
    found = reviewed(made, "--as-of", "2026-05-15T12:00Z")
    assert state(found)["state"] in ("not evaluated", "unknown")
    assert "Quiet" not in state(found)["sentence"] and not by_rule(found)


def test_the_same_codes_come_from_a_process_of_its_own(tmp_path):
    gone = apart("review", tmp_path / "gone.csv")
    assert gone.code == 1 and gone.err.endswith("gone.csv: no such file\n") and not gone.out
    assert apart("review").code == 2


def test_a_log_of_one_block_without_a_farm_file_works_and_says_what_it_assumes(two_beds):
    ran = run("review", two_beds / "north.csv")
    assert ran.code == 0
    for word in ("No farm file: one block", "40° N 0° E", "UTC", "give --farm"):
        assert word in text_of(ran)
    found = checked(run("review", two_beds / "north.csv", "--json"))
    assert len(found["assumed"]) == 1 and "40° N" in found["assumed"][0]
    assert not seen_json(two_beds)["assumed"]


def test_doubted_readings_are_said_on_the_error_stream_and_counted(tmp_path):
    north = rows(18)
    north[30] = north[30].replace(north[30].split(",")[1], "-9999", 1)
    ran = on_farm(make(tmp_path, north), "--json")
    assert "north.csv:32: air_temperature is -9999; expected -40 to 60 degC" in ran.err
    found = checked(ran)
    assert state(found)["notes"] == {"doubted": 1}
    assert state(found, "south")["notes"] == {"doubted": 0}
    assert by_rule(found)[HIGH]["severity"] == "Severe"
