"""The container is a Data Package by the published rules, as frictionless (5.21) reads them."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from zipfile import ZipFile

import pytest

from riskrules.farm import load_farm
from riskrules.journal.container import export
from riskrules.journal.container_tables import TABLES
from riskrules.journal.store import open_journal

from .test_container import filled

# In a process of its own: what it imports is no matter of ours.
VALIDATE = """
import json, sys
from frictionless import Package
for name in sys.argv[1:]:
    package = Package(name)
    report = package.validate()
    rows = {r.name: r.read_rows() for r in package.resources if r.tabular}
    said = [[None, error.type, error.note] for error in report.errors]
    for task in report.tasks:
        said += [[task.name, e.type, getattr(e, "field_name", None)] for e in task.errors]
    first = str(rows["picks"][0]["time"])
    print(json.dumps([report.valid, said, {k: len(v) for k, v in rows.items()}, first]))
"""


def validated(*paths: Path) -> list[list]:
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", VALIDATE, *map(str, paths)],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
        env=os.environ,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return [json.loads(line) for line in done.stdout.splitlines()]


@pytest.fixture(scope="module")
def farm_zip(tmp_path_factory, checkout) -> tuple[Path, dict[str, int]]:
    folder = tmp_path_factory.mktemp("standard")
    farm = load_farm(checkout / "sample_logs" / "farm.yaml")
    with open_journal(folder / "a.db") as journal:
        filled(journal)
        kinds = [s.record.kind for s in journal.since(0)]
        export(journal, farm, folder / "farm.zip")
    return folder / "farm.zip", {kind: kinds.count(kind) for kind in set(kinds)}


def unpacked(path: Path, folder: Path) -> Path:
    with ZipFile(path) as archive:
        archive.extractall(folder)
    return folder / "datapackage.json"


def spoiled(path: Path, folder: Path, *changes: tuple[str, str, str]) -> Path:
    """Return the package with cells changed, and no sizes and hashes in its description."""
    file = unpacked(path, folder)
    for name, old, new in changes:
        data = (folder / name).read_bytes()
        assert old.encode() in data
        (folder / name).write_bytes(data.replace(old.encode(), new.encode(), 1))
    said = json.loads(file.read_text("utf-8"))
    for each in said["resources"]:
        del each["bytes"], each["hash"]
    file.write_text(json.dumps(said), "utf-8")
    return file


def test_frictionless_finds_it_valid_and_would_find_it_wrong(farm_zip, tmp_path):
    """Each changed cell must be found: else 'valid' would say nothing."""
    path, kinds = farm_zip
    wrong = spoiled(
        path,
        tmp_path / "wrong",
        ("picks.csv", ",0.1,", ",-0.1,"),
        ("picks.csv", ",done,", ",dropped,"),
        ("stops.csv", "\na0", "\nb0"),
        ("notes.csv", ",north,", ",west,"),
        ("stages.csv", ",60 65,", ",60;65,"),
        ("irrigation.csv", "1969-12-31T", "1969-12-31 "),
        ("jobs.csv", ",2026-06-10,", ",10 June,"),
        ("sightings.csv", ",0,1,", ",,1,"),
    )
    damaged = unpacked(path, tmp_path / "damaged")
    notes = tmp_path / "damaged" / "notes.csv"
    notes.write_bytes(notes.read_bytes() + b"\n")
    (valid, said, rows, time), (none, found, _, _), (_, spoilt, _, _) = validated(
        path, wrong, damaged
    )
    assert (valid, said) == (True, [])
    assert rows["picks"] == kinds["pick"] and rows["notes"] == kinds["note"]
    assert rows["stops"] == 1 and rows["walk_stops"] == 4 and rows["differing"] == 1
    assert set(rows) == {t.name for t in TABLES}
    assert time == "1969-12-31 19:00:08-05:00"  # 8 s after 1970 began in UTC, in Indiana
    assert not none
    assert {tuple(each) for each in found} == {
        ("picks", "constraint-error", "weight_kg"),
        ("picks", "constraint-error", "state"),
        ("stops", "foreign-key", None),
        ("notes", "foreign-key", None),
        ("stages", "constraint-error", "codes"),
        ("irrigation", "type-error", "time"),
        ("jobs", "type-error", "day"),
        ("sightings", "constraint-error", "affected"),
    }
    assert {"byte-count", "hash-count"} <= {each[1] for each in spoilt}


def test_each_file_is_described_with_its_size_hash_fields_units_and_sources(farm_zip):
    with ZipFile(farm_zip[0]) as archive:
        said = json.loads(archive.read("datapackage.json"))
        names = archive.namelist()
    assert names == ["datapackage.json", *(r["path"] for r in said["resources"])]
    assert said["profile"] == "data-package" and said["sources"]
    fields = {
        (r["name"], f["name"]): f
        for r in said["resources"]
        if "schema" in r
        for f in r["schema"]["fields"]
    }
    assert all(f["description"] for f in fields.values())
    assert fields["picks", "weight_kg"]["unit"] == "kg"
    assert fields["block_records", "bed_length"]["unit"] == "m"
    for field in fields.values():
        if "enum" in field.get("constraints", {}) and field["name"] != "kind":
            assert "(assumption)" in field["source"]
