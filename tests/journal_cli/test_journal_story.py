"""A whole morning: plan a walk, count, correct, export, import elsewhere, review."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from cli.farm_files import make
from cli.running import checked, run, text_of

from riskrules.journal.records import Sighting

from .keyboard import OPEN, Keyboard

REVIEW = ("--as-of", "2026-05-31T12:00:00+00:00", "--json")


def review(folder: Path) -> dict[str, Any]:
    """Return what a review finds, but for when it was made."""
    return checked(run("review", folder, "--farm", folder / "farm.yaml", *REVIEW))


def moved_into_the_journal(farm: Keyboard) -> None:
    """Take the events file of a farm into its journal, and keep it no longer."""
    farm.done("import", farm.folder / "events.csv", "--yes")
    (farm.folder / "events.csv").unlink()
    file = farm.folder / "farm.yaml"
    file.write_text(file.read_text().replace("events: [events.csv]", "journal: journal.db"))


def counted(farm: Keyboard) -> None:
    """Walk the north block and count, with one slip of the pen."""
    words = ("--beds", 4, "--bed-length", 40, "--plants-per-bed", 200)
    farm.done("add", "block", "north", *words)
    plan = ("walk", "plan", "-b", "north", "--stops", 6, "--symptom", "gray_mold", "--seed", 1)
    walk = farm.json(*plan)["kept"][0]["short"]
    farm.done("walk", "sheet", walk, "--out", farm.folder / "sheet.html")
    flowers = ("--part", "flower")
    ran = farm.done("walk", "enter", walk, *flowers, answers=["0", "31/10", "3", "1", "0", "", "2"])
    assert "'31/10'; expected" in ran.err
    (seen,) = farm.records("--kind", "sighting")
    farm.done("correct", str(seen.id), "--stop", "2=1", "--why", "miscounted", answers=[])


def test_a_morning(tmp_path: Path) -> None:
    folder = make(tmp_path / "farm")
    before = review(folder)
    farm = Keyboard(folder, "2026-05-31T06:50", keep=True)  # 11:50 in UTC, the farm's zone
    farm.environment["RISKRULES_JOURNAL"] = str(folder / "journal.db")
    moved_into_the_journal(farm)
    # The journal says what the file said, and so does the review.
    assert review(folder)["findings"] == before["findings"]

    counted(farm)
    (seen,) = farm.records("--kind", "sighting")
    assert isinstance(seen.body, Sighting) and (seen.body.affected, seen.body.examined) == (4, 50)
    assert "4 of 50 affected at 5 stops: 8.0 %" in text_of(farm.done("counts", "-b", "north"))

    there = make(tmp_path / "office")
    (there / "events.csv").unlink()
    (there / "farm.yaml").write_text((folder / "farm.yaml").read_text())
    office = Keyboard(there, "2026-05-31T07:00", keep=True)
    farm.done("export", folder / "out.zip")
    office.done("import", folder / "out.zip")
    assert office.records("--all") == farm.records("--all")
    assert office.json("counts") == farm.json("counts")
    with OPEN(folder / "journal.db") as a, OPEN(there / "journal.db") as b:
        assert [s.record for s in a.versions()] == [s.record for s in b.versions()]

    after = review(there)
    assert after == review(folder)
    # What was counted reaches the rules: the review is no longer the same.
    assert json.dumps(after["findings"]) != json.dumps(before["findings"])
    farm.done("check")
