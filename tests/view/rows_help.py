"""Farms and walks for the tests of 'In the rows' and 'Loggers'."""

from __future__ import annotations

from pathlib import Path

from riskrules.journal.records import Block, Record
from riskrules.journal.store import Journal, open_journal
from riskrules.view.rows import Purpose, new_walk
from riskrules.view.rows_records import Hand

ROOT = Path(__file__).resolve().parents[2]
NOW = 1_782_010_800
"""2026-06-20 23:00 on the clock of the invented farm."""
HAND = Hand("Ann", NOW, NOW + 60)
ABOUT = Block(beds=4, bed_length=50)


def cut_farm(folder: Path, last: str = "2026-06-20", journal: bool = True) -> Path:
    """Copy the invented sample farm with its logs and events up to a day, without forecast."""
    folder.mkdir(parents=True)
    for path in (ROOT / "sample_logs").glob("*.csv"):
        lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
        kept = [x for x in lines if not x[:4].isdigit() or x[:10] <= last]
        if any(x[:4].isdigit() for x in kept):
            (folder / path.name).write_text("".join(kept), encoding="utf-8")
    text = (ROOT / "sample_logs" / "farm.yaml").read_text(encoding="utf-8")
    text = text.replace(", forecast.csv", "") + ("journal: journal.db\n" if journal else "")
    (folder / "farm.yaml").write_text(text, encoding="utf-8")
    return folder / "farm.yaml"


def walk_in(journal: Journal, block: str = "south_beds", stops: int = 10) -> Record:
    """Plan a walk of ten at each stop and keep it."""
    walk = new_walk(block, ABOUT, 10, Purpose("stops", stops=stops), "random",
                    ("gray_mold", "anthracnose"), HAND, 7)  # fmt: skip
    journal.add([walk])
    return walk


def fresh(path: Path) -> Journal:
    """Return a new journal."""
    return open_journal(path / "j.db")
