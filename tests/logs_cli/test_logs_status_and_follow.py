"""``riskrules logs status`` and ``follow --once``, with their exit codes for a scheduler."""

from __future__ import annotations

import json
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cli.farm_files import HEAD, make
from cli.running import text_of

from riskrules.logs.store import LogStore

from .messy import FARM_MORE, logs


def living_farm(folder: Path, age_h: int = 0) -> Path:
    """Write a farm whose logs end some hours ago, and read them into its store."""
    end = datetime.now(UTC).replace(minute=0, second=0, microsecond=0) - timedelta(hours=age_h)
    lines = [f"{end - timedelta(hours=h):%Y-%m-%dT%H:%M}Z,{12 + h % 9}.5,{60 + h % 20},0\n"
             for h in range(48, -1, -1)]  # fmt: skip
    made = make(folder, lines)
    farm = made / "farm.yaml"
    text = farm.read_text().replace("outside: {files: [outside.csv]}\n", "")
    farm.write_text(text + FARM_MORE)
    (made / "south.csv").write_text(HEAD + "".join(lines))
    (made / "outside.csv").unlink()
    assert logs(made, "read", made / "north.csv", made / "south.csv").code == 0
    return made


def test_fresh_logs_and_a_review_give_0(tmp_path):
    made = living_farm(tmp_path)
    LogStore(made / "kept").note_review(int(time.time()), datetime.now(UTC).date())
    ran = logs(made, "status")
    assert ran.code == 0 and "!" not in ran.out and not ran.err
    assert text_of(ran).count("last reading") == 2 and "reviewed" in ran.out
    found = json.loads(logs(made, "status", "--json").out)
    assert found["format"] == "riskrules log status 1" and found["alarm"] is False
    assert [s["state"] for s in found["sources"]] == ["fresh", "fresh"]
    assert found["sources"][0]["last"].endswith("+00:00")


def test_a_silent_source_gives_1_and_is_marked(tmp_path):
    made = living_farm(tmp_path, age_h=30)
    LogStore(made / "kept").note_review(int(time.time()), datetime.now(UTC).date())
    ran = logs(made, "status")
    assert ran.code == 1 and "! north, north: silent" in text_of(ran)
    assert json.loads(logs(made, "status", "--json").out)["alarm"] is True


def test_a_review_that_never_ran_gives_1_once_it_is_due(tmp_path):
    made = living_farm(tmp_path)
    ran = logs(made, "status")
    assert ran.code == 1 and "! no review since dawn" in text_of(ran)
    assert json.loads(logs(made, "status", "--json").out)["review"]["state"] == "missing"


def test_a_file_set_aside_is_said_by_the_status(tmp_path):
    made = living_farm(tmp_path)
    (made / "south.csv").write_text("time,air_temperature\n2026-05-01T00:00Z,1\n")
    assert logs(made, "read", made / "south.csv").code == 1
    assert "Set aside, could not be read: south.csv" in text_of(logs(made, "status"))


@pytest.mark.parametrize("command", ["status"])
def test_the_status_of_a_farm_without_a_store_cannot_be_told(tmp_path, command):
    made = make(tmp_path)
    assert logs(made, command).code == 2
    assert logs(made, command, "--store", tmp_path / "gone").code == 1


def test_following_once_reads_what_is_there_and_exits_1_for_a_broken_file(tmp_path):
    made = make(tmp_path / "farm")
    ran = logs(made, "follow", made, "--once", "--store", tmp_path / "store")
    assert ran.code == 0, ran
    assert "north.csv: read, 1,213 of 1,213 rows kept for north" in text_of(ran)
    again = logs(made, "follow", made, "--once", "--store", tmp_path / "store")
    assert again.code == 0 and "rows kept" not in again.out
    (made / "south.csv").write_text("time,air_temperature\n2026-05-01T00:00Z,1\n")
    broken = logs(made, "follow", made, "--once", "--store", tmp_path / "store")
    assert broken.code == 1 and "set aside" in broken.out and "Traceback" not in broken.err
    gone = logs(made, "follow", tmp_path / "gone", "--once", "--store", tmp_path / "store")
    assert gone.code == 1 and "no such folder" in gone.err
