"""Whatever was done to a log: no traceback, and the report counts what the csv module counts."""

from __future__ import annotations

import json
from pathlib import Path
from tempfile import TemporaryDirectory

from cli.farm_files import HEAD, rows
from cli.running import run
from hypothesis import given
from hypothesis import strategies as st

from .messy import counted
from .test_logs_report import checked

PLAIN = rows(0, 40)
FATES = st.sampled_from(["keep"] * 6 + ["drop", "twice", "blank", "commas", "no time", "no value"])


def changed(row: str, fate: str) -> list[str]:
    """Return what stands in the file in the place of a row."""
    cells = row.strip().split(",")
    return {
        "keep": [row],
        "drop": [],
        "twice": [row, row],
        "blank": [row, "\n"],
        "commas": [row, ",,,\n"],
        "no time": ["soon," + ",".join(cells[1:]) + "\n"],
        "no value": [f"{cells[0]},,{cells[2]},{cells[3]}\n"],
    }[fate]


@given(st.lists(FATES, min_size=40, max_size=40).filter(lambda f: f[0] == f[-1] == "keep"))
def test_any_mix_of_troubles_is_counted_as_the_csv_module_counts_it(fates):
    with TemporaryDirectory() as folder:
        log = Path(folder) / "north.csv"
        text = [line for row, fate in zip(PLAIN, fates, strict=True) for line in changed(row, fate)]
        log.write_text(HEAD + "".join(text))
        mine = counted(log)
        found = checked(run("logs", "report", log, "--json"))
    theirs, source = found["files"][0], found["sources"][0]
    for key in ("read", "blank", "refused", "repeated", "kept"):
        assert theirs[key] == getattr(mine, key), key
    assert source["absent"] == mine.absent
    air = next(v for v in source["variables"] if v["variable"] == "air_temperature")
    assert air["missing"] + air["failed"] == mine.missing["air_temperature"]
    told = {t["trouble"]: t["count"] for t in found["troubles"] if not t["variable"]}
    assert told.get("no_time", 0) == mine.refused == fates.count("no time")
    assert told.get("repeated", 0) == mine.repeated == fates.count("twice")


@given(st.lists(st.tuples(st.integers(0, 1500), st.integers(0, 60), st.binary(max_size=12)),
                min_size=1, max_size=6))  # fmt: skip
def test_any_damage_is_said_without_a_traceback_and_the_sums_still_hold(damage):
    raw = bytearray((HEAD + "".join(PLAIN)).encode())
    for at, length, new in damage:
        raw[at : at + length] = new
    with TemporaryDirectory() as folder:
        log = Path(folder) / "north.csv"
        log.write_bytes(bytes(raw))
        ran = run("logs", "report", log, "--json")
    assert ran.code in (0, 1) and "Traceback" not in ran.out + ran.err
    found = json.loads(ran.out)
    assert (ran.code == 1) == bool(found["aside"])
    for f in found["files"]:
        assert f["read"] == f["kept"] + f["refused"] + f["repeated"] + f["blank"]
        assert f["kept"] == f["in_use"] + f["replaced"]
    for s in found["sources"]:
        assert s["steps"] == s["rows"] + s["absent"]
