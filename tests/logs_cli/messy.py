"""An invented farm whose logs have one trouble of each plain kind, counted apart by hand."""

from __future__ import annotations

import csv
from collections import Counter
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from cli.farm_files import make, rows
from cli.running import Ran, run

FARM_MORE = "store: kept\n"


def messy_rows() -> list[str]:
    """Rows of north: a sentinel, words, empty cells, empty lines, twins, no time, rows absent."""
    found = rows(0)
    found[30] = found[30].replace(found[30].split(",")[1], "-9999", 1)
    found[50] = found[50].replace(found[50].split(",")[2], "", 1)
    found[52] = found[52].replace(found[52].split(",")[2], "n/a?", 1)
    found[60] = "soon" + found[60][found[60].index(",") :]
    found[61] = "" + found[61][found[61].index(",") :]
    del found[100:104]
    found.insert(200, found[199])
    found.insert(300, "\n")
    found.insert(400, ",,,\n")
    return found


def messy_farm(folder: Path) -> Path:
    """Write the farm; return its folder."""
    made = make(folder, messy_rows())
    farm = made / "farm.yaml"
    farm.write_text(farm.read_text() + FARM_MORE)
    return made


class Counted(NamedTuple):
    """What the csv module counts in a file."""

    read: int
    blank: int
    refused: int
    repeated: int
    kept: int
    absent: int
    missing: Counter[str]


def counted(path: Path) -> Counted:
    """Count a log's rows and cells with the csv module alone."""
    with path.open(newline="") as file:
        head, *some = list(csv.reader(file))
    blank = sum(not any(cell.strip() for cell in row) for row in some)
    full = [row for row in some if any(cell.strip() for cell in row)]
    timed = [row for row in full if _time(row[0]) is not None]
    times = [_time(row[0]) for row in timed]
    unique = sorted(set(times))
    first, last = unique[0], unique[-1]
    steps = int((last - first).total_seconds() // 3600) + 1
    by_time = {_time(row[0]): row for row in timed}
    missing = Counter(
        name.split(" ")[0]
        for row in by_time.values() for name, cell in zip(head[1:], row[1:], strict=True)
        if not _number(cell)
    )  # fmt: skip
    return Counted(len(some), blank, len(full) - len(timed), len(timed) - len(unique),
                   len(unique), steps - len(unique), missing)  # fmt: skip


def _time(cell: str) -> datetime | None:
    try:
        return datetime.fromisoformat(cell.replace("Z", "+00:00"))
    except ValueError:
        return None


def _number(cell: str) -> bool:
    try:
        return float(cell) > -999
    except ValueError:
        return False


def logs(folder: Path, command: str, *words: object) -> Ran:
    """Run one of the commands about logs on a farm."""
    return run("logs", command, *words, "--farm", folder / "farm.yaml")
