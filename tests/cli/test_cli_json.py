"""``review --json``: of one schema, and the same bytes whatever the order of the input."""

from __future__ import annotations

import copy
import random
from dataclasses import fields
from typing import Any, get_args

import pytest
import yaml
from jsonschema import Draft202012Validator

from riskrules.errors import RiskRulesError
from riskrules.facts.kinds import KINDS
from riskrules.findings import model
from riskrules.findings.build import BASES
from riskrules.packs.load import NO_PACKS
from riskrules.packs.marked import read_marked
from riskrules.packs.model import Hazard, Tag, Unit
from riskrules.report import FORMAT
from riskrules.review import URGENCIES
from riskrules.schema_files import NAMES, generated, schema
from riskrules.shipped import rulepacks_folder
from riskrules.worklist.guards import Ready
from riskrules.worklist.rank import WINDOW_WORDS, Plan

from .farm_files import EVENT_HEAD, HEAD, events, make, rows
from .running import CHECKER, apart, by_rule, on_farm, reviewed, run, seen, seen_json

DEFS = schema("review")["$defs"]


@pytest.mark.parametrize("words", [(), ("--on", "2026-05-26"), ("--from", "2026-04-12"),
                                   ("--crew-hours", "0.5"), ("--on", "2026-06-10")])  # fmt: skip
def test_the_json_of_a_review_is_of_the_schema(two_beds, words):
    seen_json(two_beds, *words)


@pytest.mark.parametrize("last", ["2026-05-15", pytest.param("2026-09-30", marks=pytest.mark.long)])
def test_the_json_of_the_sample_season_is_of_the_schema(sample_logs, last):
    found = reviewed(sample_logs, "--from", "2026-05-01", "--to", last)
    assert len(found["findings"]) > 20


@pytest.mark.parametrize(
    ("where", "key", "value"),
    [
        ((), "extra", 1),
        ((), "format", "riskrules review 2"),
        (("findings", 0), "severity", "Low"),
        (("findings", 0), "certainty", "certain"),
        (("findings", 0), "urgency", "Soon"),
        (("findings", 0), "status", "withdrawn"),
        (("findings", 0), "start", "2026-05-30"),
        (("findings", 0), "extra", 1),
        (("findings", 0, "thresholds", 0), "tag", "guessed"),
        (("findings", 0, "facts", 0), "start", []),
        (("blocks", 0), "state", "low"),
        (("work", "jobs", 0, "blocks", 0), "plan", "maybe"),
        (("work", "jobs", 0), "hours_from", "a guess"),
        (("unknowns", 0), "causes", []),
    ],
)
def test_the_schema_is_strict(two_beds, where, key, value):
    found: Any = copy.deepcopy(seen_json(two_beds))
    node = found
    for step in where:
        node = node[step]
    node[key] = value
    assert list(CHECKER.iter_errors(found))
    if key in ("severity", "state", "plan", "causes"):
        del node[key]
        assert list(CHECKER.iter_errors(found))


def test_the_schema_has_the_keys_and_words_that_the_code_has():
    for name, cls in {"finding": model.Finding, "unknown": model.UnknownFinding,
                      "block": model.BlockState, "margin": model.Margin,
                      "threshold": model.ThresholdUsed}.items():  # fmt: skip
        assert set(DEFS[name]["properties"]) == {f.name for f in fields(cls)}, name
        assert set(DEFS[name]["required"]) == set(DEFS[name]["properties"])
    finding, job, block = (DEFS[n]["properties"] for n in ("finding", "job", "block_job"))
    enums = [
        (DEFS["severity"], model.SEVERITIES),
        (DEFS["certainty"], model.CERTAINTIES),
        (DEFS["urgency"], URGENCIES),
        (DEFS["tag"], get_args(Tag)),
        (DEFS["unit"], {*get_args(Unit), "flag"}),
        (
            DEFS["unit"],
            {*get_args(Unit), *(q.unit for k in KINDS.values() for q in k.all_quantities)},
        ),
        (finding["hazard"], get_args(Hazard)),
        (finding["basis"], BASES),
        (DEFS["status"], set(get_args(model.Status)) - {"withdrawn"}),
        (job["window"], WINDOW_WORDS.values()),
        (block["plan"], get_args(Plan)),
        (block["ready"], get_args(Ready)),
    ]
    for node, words in enums:
        assert set(node["enum"]) == set(words)
    assert schema("review")["properties"]["format"]["const"] == FORMAT


@pytest.mark.parametrize("name", NAMES)
def test_schemas_are_valid_and_every_object_of_the_review_is_closed(name):
    Draft202012Validator.check_schema(schema(name))
    assert schema(name)["title"]
    for part in [schema(name), *schema(name).get("$defs", {}).values()]:
        if part.get("type") == "object":
            assert part["additionalProperties"] is False and part["description"]


@pytest.mark.parametrize("name", ["farm", "pack", "profile"])
def test_a_schema_of_a_file_is_that_of_the_model_that_reads_it(name):
    assert schema(name) == generated(name), "run python -m riskrules.schema_files"


def test_there_is_no_other_schema():
    with pytest.raises(RiskRulesError, match="expected one of farm, pack, profile, review"):
        schema("job")


def test_shipped_packs_profiles_and_the_sample_farm_are_of_their_schemas(sample_logs):
    folder = rulepacks_folder()
    files = {"pack": [p for p in folder.glob("*.yaml")
                      if p.name not in NO_PACKS],
             "profile": list((folder / "regions").glob("*.yaml")),
             "farm": [sample_logs / "farm.yaml"]}  # fmt: skip
    for name, paths in files.items():
        assert paths
        for path in paths:
            Draft202012Validator(schema(name)).validate(read_marked(path).data)
    farm = yaml.safe_load((sample_logs / "farm.yaml").read_text())
    farm["blocks"][0]["tunel"] = "open"
    assert list(Draft202012Validator(schema("farm")).iter_errors(farm))


def spoiled() -> list[str]:
    """Rows with a value that cannot be, a twin that agrees and one that does not."""
    found = rows(18)
    found[40] = found[40].replace(",0\n", ",7\n")
    return [*found, found[50], found[60].replace(",0\n", ",1\n")]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_order_of_rows_of_logs_and_events_changes_no_byte(tmp_path, seed):
    made = make(tmp_path / "farm", spoiled())
    straight = on_farm(made, "--json").out
    assert by_rule(reviewed(made))
    draw = random.Random(seed)
    for name, head, some in (("north.csv", HEAD, spoiled()), ("events.csv", EVENT_HEAD, events())):
        draw.shuffle(some)
        (made / name).write_text(head + "".join(some))
    assert on_farm(made, "--json").out == straight


def test_the_order_in_which_logs_are_named_changes_no_byte(two_beds):
    logs = [two_beds / "north.csv", two_beds / "south.csv"]
    farm = ("--farm", two_beds / "farm.yaml", "--json")
    found = {run("review", *some, *farm).out for some in (logs, logs[::-1], [two_beds])}
    assert len(found) == 1


def test_the_order_of_events_files_and_how_they_are_cut_changes_no_byte(two_beds, tmp_path):
    some = events()
    a, b = tmp_path / "a.csv", tmp_path / "b.csv"
    a.write_text(EVENT_HEAD + "".join(some[::2]))
    b.write_text(EVENT_HEAD + "".join(some[1::2]))
    found = {seen(two_beds, "--json", "--events", x, "--events", y).out
             for x, y in ((a, b), (b, a))}  # fmt: skip
    assert found == {seen(two_beds, "--json").out}


def test_the_order_of_blocks_in_the_farm_file_changes_no_byte(two_beds, tmp_path):
    made = make(tmp_path)
    farm = yaml.safe_load((made / "farm.yaml").read_text())
    farm["blocks"].reverse()
    (made / "farm.yaml").write_text(yaml.safe_dump(farm))
    assert on_farm(made, "--json").out == seen(two_beds, "--json").out


def test_another_process_with_another_hash_seed_prints_the_same_bytes(two_beds):
    words = ("review", two_beds, "--farm", two_beds / "farm.yaml", "--json")
    ran = apart(*words, PYTHONHASHSEED="4711", TZ="Asia/Tokyo", LC_ALL="C.UTF-8")
    assert ran.out == run(*words).out and ran.code == 0
