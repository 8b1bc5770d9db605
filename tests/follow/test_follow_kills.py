"""A follower that is killed at any moment loses nothing and doubles nothing."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from riskrules.farm import load_farm
from riskrules.logbook.follow import follow
from riskrules.logs.store import LogStore

from .farm import HEAD, make, moment, rows

KILLS = 100 if os.environ.get("RISKRULES_LONG") == "1" else 4
PROGRAM = """
import sys
from pathlib import Path
import riskrules.logbook.follow as f
from riskrules.farm import load_farm
from riskrules.logs.store import LogStore
folder = Path(sys.argv[1])
farm = load_farm(folder / "farm.yaml")
follower = f.Follower(folder / "in", farm, LogStore(folder / "store"), settle=0.02, patience=0.02)
import time
print("started", flush=True)
while True:
    follower.take_all(follower.look(time.monotonic()))
    time.sleep(0.005)
"""


def test_whenever_a_follower_is_killed_the_next_one_finishes_its_work(tmp_path: Path) -> None:
    make(tmp_path)
    dice = random.Random(20260601)
    written = 0
    for turn in range(KILLS):
        child = subprocess.Popen(
            [sys.executable, "-c", PROGRAM, str(tmp_path)], stdout=subprocess.PIPE, text=True
        )
        try:
            assert child.stdout is not None and child.stdout.readline() == "started\n"
            until = time.monotonic() + dice.uniform(0.01, 0.4)
            while time.monotonic() < until:  # files come and grow while it reads
                _write(tmp_path / "in", turn, written)
                written += 1
                time.sleep(dice.uniform(0.002, 0.05))
        finally:
            os.kill(child.pid, signal.SIGKILL)
            child.wait()
            if child.stdout is not None:
                child.stdout.close()
    farm, store = load_farm(tmp_path / "farm.yaml"), LogStore(tmp_path / "store")
    follow(tmp_path / "in", farm, store, once=True, say=[].append)
    low = store.readings("low_beds", "low")
    assert low.time.tolist() == [moment(h) for h in range(3 * written)]
    assert len(store.readings("high_beds", "high")) == 2 * written
    store.tidy()
    assert store.check() == []
    counting = [r for r in store.history() if r.state == "counts"]
    assert len(counting) == len({r.file for r in counting}) == written + 1


def _write(folder: Path, turn: int, i: int) -> None:
    """Write one new file of three rows, and let the other log grow by two."""
    (folder / f"low_{i:05}.csv").write_text(HEAD + rows(3 * i, 3))
    high = folder / "high.csv"
    with high.open("a") as file:
        file.write(rows(2 * i, 2) if i else HEAD + rows(0, 2))


@pytest.fixture(autouse=True)
def _path_of_the_checkout(monkeypatch: pytest.MonkeyPatch) -> None:
    root = str(Path(__file__).resolve().parents[2])
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([root, os.environ.get("PYTHONPATH", "")]))
