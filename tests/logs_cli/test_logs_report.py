"""``riskrules logs report``: its numbers are those that the csv module counts."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from cli.farm_files import HEAD, outside, rows
from cli.running import Ran, run, text_of
from jsonschema import Draft202012Validator

from riskrules.commands.logs_words import in_plain
from riskrules.schema_files import schema
from riskrules.shipped import rulepacks_folder

from .messy import counted, logs, messy_rows

CHECKER = Draft202012Validator(schema("log_report"))


def checked(ran: Ran, code: int = 0) -> dict[str, Any]:
    """Return the JSON that a command printed, checked against the schema."""
    assert ran.code == code, ran
    found: dict[str, Any] = json.loads(ran.out)
    assert not [f"{e.json_path}: {e.message[:200]}" for e in CHECKER.iter_errors(found)]
    return found


def of_file(found: dict[str, Any], name: str) -> dict[str, Any]:
    return next(f for f in found["files"] if f["file"] == name)


def of_source(found: dict[str, Any], block: str) -> dict[str, Any]:
    return next(s for s in found["sources"] if s["block"] == block)


WAYS = ["plain", "farm", "store"]


def by(way: str, messy: Path) -> dict[str, Any]:
    """Return the report of the messy log, got in one of three ways."""
    log = messy / "north.csv"
    if way == "plain":
        return checked(run("logs", "report", log, "--json"))
    return checked(logs(messy, "report", "--json", *([log] if way == "farm" else [])))


@pytest.mark.parametrize("way", WAYS)
def test_rows_have_the_fates_that_the_csv_module_counts(messy, way):
    mine = counted(messy / "north.csv")
    theirs = of_file(by(way, messy), "north.csv")
    for key in ("read", "blank", "refused", "repeated", "kept"):
        assert theirs[key] == getattr(mine, key), key
    assert theirs["in_use"] == mine.kept and theirs["replaced"] == 0
    assert (mine.blank, mine.refused, mine.repeated) == (2, 2, 1)


@pytest.mark.parametrize("way", WAYS)
def test_values_are_counted_as_the_csv_module_counts_them(messy, way):
    mine = counted(messy / "north.csv")
    source = of_source(by(way, messy), "north")
    assert source["absent"] == mine.absent == 4 + 2 and source["rows"] == mine.kept
    assert sum(run[3] for run in source["runs"]) == mine.absent
    assert mine.missing == {"air_temperature": 1, "relative_humidity": 2}
    for v in source["variables"]:
        states = ("passed", "not_evaluated", "suspect", "failed", "missing", "filled", "borrowed")
        assert sum(v[s] for s in states) == v["rows"] == mine.kept
        gone = mine.missing[v["variable"]]
        assert v["failed"] + v["missing"] >= gone
        if v["variable"] != "relative_humidity":
            assert v["failed"] + v["missing"] == gone


@pytest.mark.parametrize("way", WAYS)
def test_each_trouble_is_there_with_an_example_that_stands_in_the_file(messy, way):
    found = by(way, messy)
    lines = (messy / "north.csv").read_text().splitlines()
    names = {t["trouble"] for t in found["troubles"] if t["block"] == "north"}
    assert names >= {"no_time", "sentinel", "not_a_number", "repeated"}
    for t in found["troubles"]:
        assert sum(t["by_file"].values()) == t["count"]
        e = t["example"]
        if e["file"] == "north.csv" and e["line"]:
            assert e["row"] == lines[e["line"] - 1]
    said = {t["trouble"]: t for t in found["troubles"] if t["block"] == "north"}
    assert said["no_time"]["count"] == 2 and "soon" in said["no_time"]["example"]["row"]
    assert "n/a?" in said["not_a_number"]["example"]["row"]


def test_the_whole_farm_has_a_report_and_a_block_a_part_of_it(messy):
    whole = checked(logs(messy, "report", "--json"))
    assert [b["block"] for b in whole["blocks"]] == ["north", "south", ""]
    part = checked(logs(messy, "report", "--json", "--block", "north"))
    assert {s["block"] for s in part["sources"]} == {"north"}
    assert part["files"] == [f for f in whole["files"] if f["block"] == "north"]
    for b in whole["blocks"]:
        files = [f for f in whole["files"] if f["block"] == b["block"]]
        for key in ("read", "kept", "refused", "repeated", "blank", "doubted"):
            assert b[key] == sum(f[key] for f in files)
    ran = logs(messy, "report", "--block", "east")
    assert ran.code == 1 and ran.err == "no block 'east'; expected one of north, south, ''\n"


def test_a_folder_that_holds_the_farm_its_events_and_its_store_is_the_farm(messy):
    assert checked(logs(messy, "report", messy, "--json")) == checked(
        logs(
            messy, "report", "--json", *(messy / f"{n}.csv" for n in ("north", "south", "outside"))
        )
    )


def test_the_three_ways_agree(messy):
    one = {way: of_source(by(way, messy), "north") for way in WAYS}
    assert one["farm"] == one["store"]
    for way in WAYS:
        for a, b in zip(one["plain"]["variables"], one[way]["variables"], strict=True):
            assert (a["variable"], a["missing"]) == (b["variable"], b["missing"])


def test_the_store_gives_the_same_report_as_the_files_it_was_read_from(messy):
    files = [messy / f"{name}.csv" for name in ("north", "south", "outside")]
    kept, read = (checked(logs(messy, "report", "--json", *some)) for some in ((), files))
    assert [(s["block"], s["sensor"]) for s in kept["sources"]] == [
        ("north", "north"), ("south", "south"), ("", "outside")]  # fmt: skip
    assert kept == read


def test_what_the_farm_fills_in_and_borrows_is_counted_apart(messy):
    text = (messy / "farm.yaml").read_text()
    loan = "block: north, borrow: [{of: south, variables: [air_temperature]}],"
    farm = messy / "lending.yaml"
    farm.write_text(text.replace("block: north,", loan)
                    + "gaps: {policy: fill_short, hours: 3}\n")  # fmt: skip
    found = checked(run("logs", "report", messy / "north.csv", messy / "south.csv",
                        "--farm", farm, "--json"))  # fmt: skip
    farm.unlink()
    own = of_source(found, "north")
    filled = {v["variable"]: v["filled"] for v in own["variables"]}
    assert filled == {"air_temperature": 1 + 2, "relative_humidity": 2 + 2, "surface_wetness": 0}
    assert (own["added"], own["absent"]) == (2, 4)
    lent = next(s for s in found["sources"] if s["sensor"] == "south of a neighbour")
    assert [(v["variable"], v["borrowed"]) for v in lent["variables"]] == [("air_temperature", 4)]
    north = next(b for b in found["blocks"] if b["block"] == "north")
    assert (north["borrowed"], north["filled"], north["in_use"]) == (4, 7, own["rows"] - 2)


def test_the_readable_report_says_what_the_json_says(messy):
    ran, found = logs(messy, "report"), checked(logs(messy, "report", "--json"))
    text = text_of(ran)
    assert ran.code == 0 and "Log report, Two Beds (invented)." in text
    north = of_file(found, "north.csv")
    assert (f"north.csv, {north['read']:,} rows read: {north['kept']:,} kept, 2 refused, "
            "1 repeated, 2 empty.") in text  # fmt: skip
    assert "longest unknown" in text
    assert "No row for 6 steps of" in text and "air temperature:" in text and "good" in text
    for t in found["troubles"]:
        assert t["words"] in text and " ".join(in_plain(t["example"]["says"]).split()) in text
    for word in ("suspect", "air_temperature", "degC", "QARTOD", "NaN", "nan ", "None"):
        assert word not in text


def test_a_log_without_trouble_says_so(tidy):
    text = text_of(run("logs", "report", tidy / "south.csv"))
    assert (
        "south.csv, 1,213 rows read: 1,213 kept." in text
        and "refused" not in text
        and "Times are in UTC." in text
    )


def test_a_broken_file_is_said_beside_the_report_of_the_others(tmp_path):
    (tmp_path / "good.csv").write_text(HEAD + "".join(rows(0, 48)))
    (tmp_path / "bad.csv").write_text("time,air_temperature\n2026-05-01T00:00Z,1\n")
    (tmp_path / "worse.csv").write_bytes(bytes(range(256)) * 20)
    ran = run("logs", "report", tmp_path)
    assert ran.code == 1 and "Traceback" not in ran.out + ran.err
    text = text_of(ran)
    assert "good.csv, 48 rows read: 48 kept." in text
    assert "Set aside" in text and "bad.csv:1" in text and "worse.csv" in text
    found = checked(run("logs", "report", tmp_path, "--json"), code=1)
    assert {p["file"].rsplit("/", 1)[-1] for p in found["aside"]} == {"bad.csv", "worse.csv"}
    assert [f["file"] for f in found["files"]] == ["good.csv"]


def test_two_plain_files_of_one_name_are_two_blocks(tmp_path):
    for name, n in (("a", 24), ("b", 48)):
        (tmp_path / name).mkdir()
        (tmp_path / name / "log.csv").write_text(HEAD + "".join(rows(0, n)))
    found = checked(run("logs", "report", tmp_path, "--json"))
    assert [(b["block"], b["read"]) for b in found["blocks"]] == [("log", 24), ("log_2", 48)]


def test_the_same_report_twice_is_the_same_bytes(messy):
    assert logs(messy, "report", "--json").out == logs(messy, "report", "--json").out


def test_the_messy_rows_are_messy():
    assert len(messy_rows()) == len(rows(0)) - 4 + 3


def test_the_air_outside_is_judged_by_the_limits_that_the_farm_names(messy):
    # The invented outside air lies between 12 and 13 degrees: a span up to 12.5 refuses some of it.
    shipped = (rulepacks_folder() / "limits.yaml").read_text()
    assert shipped.count("fail_span: {value: [-40, 60]") == 1
    (messy / "narrow.yaml").write_text(
        re.sub(r"fail_span: \{value: \[-40, 60\]", "fail_span: {value: [-40, 12.5]", shipped)
        .replace("suspect_span: {value: [-35, 48]", "suspect_span: {value: [-35, 12.5]")
        .replace("suspect_span: {value: [-30, 55]", "suspect_span: {value: [-30, 12.5]")
    )
    farm = messy / "narrow_farm.yaml"
    farm.write_text((messy / "farm.yaml").read_text() + "limits: narrow.yaml\n")
    found = [
        checked(run("logs", "report", messy / "outside.csv", "--farm", name, "--json"))
        for name in (messy / "farm.yaml", farm)
    ]
    farm.unlink()
    refused = [
        v["failed"]
        for one in found
        for v in of_source(one, "")["variables"]
        if v["variable"] == "air_temperature_outside"
    ]
    # What cannot be true is refused in a forecast, too.
    beyond = sum(float(line.split(",")[1]) > 12.5 for line in outside())
    assert refused == [0, beyond] and beyond > 400
