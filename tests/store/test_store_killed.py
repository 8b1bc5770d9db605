"""A writer killed at any moment: all that was acknowledged is there, nothing twice."""

from __future__ import annotations

import multiprocessing
import random
import shutil
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from riskrules.logs.store import LogStore
from riskrules.logs.store.files import hash_of
from tests.store.adds_in_a_loop import add_for_ever, grown, pair, stop_at_call
from tests.store.made import START

LEFT = "left by a writer that was stopped"


CONTEXT = multiprocessing.get_context("forkserver")
CONTEXT.set_forkserver_preload(["tests.store.adds_in_a_loop", "pyarrow.parquet", "filelock"])


def start(work: Callable[..., None], *args: object) -> Any:
    """Start a function in a process of its own, quickly."""
    process = CONTEXT.Process(target=work, args=args, daemon=True)
    process.start()
    return process


def check_whole(folder: Path, acknowledged: int) -> None:
    """Check a store in which the rounds up to one were acknowledged, and perhaps one more."""
    store = LogStore(folder, create=False)
    assert [p for p in store.check() if LEFT not in p.message] == []
    history = store.history()
    pairs = sorted(r.sha256 for r in history if r.sensor == "daily")
    rounds = len(pairs) // 2
    assert rounds in (acknowledged + 1, acknowledged + 2)
    assert pairs == sorted(hash_of(raw) for i in range(rounds) for raw in pair(i))
    assert store.readings("north", "daily").time.tolist() == [
        START + 3600 * h for h in range(2 * rounds)
    ]
    rows = len(store.readings("north", "grown"))
    assert rows in (acknowledged + 1, acknowledged + 2) and rows <= rounds
    assert len([r for r in history if r.sensor == "grown"]) == rows
    assert all(store.original(hash_of(grown(i + 1))) == grown(i + 1) for i in range(rows))
    asides = [a.file for a in store.asides()]
    assert asides[: acknowledged + 1] == [f"{i}.bin" for i in range(acknowledged + 1)] or sorted(
        asides
    ) == sorted(f"{i}.bin" for i in range(len(asides)))
    assert len(asides) in (acknowledged + 1, acknowledged + 2) and len(asides) <= rows
    store.tidy()
    assert store.check() == []


def kill_and_check(folder: Path, kills: int, seed: int) -> int:
    """Kill a writer that many times; return how many rounds it got through."""
    chance = random.Random(seed)
    folder.parent.mkdir(exist_ok=True)
    done = folder.parent / "done"
    done.touch()
    last = -1
    for _ in range(kills):
        ready = CONTEXT.Event()
        writer = start(add_for_ever, folder, done, last + 1, 10**9, ready)
        assert ready.wait(30)
        time.sleep(chance.uniform(0.0, 0.3))
        writer.kill()
        writer.join()
        said = done.read_bytes().split(b"\n")
        last = int(said[-2]) if len(said) > 1 else -1
        if (folder / "manifest.jsonl").exists():
            check_whole(folder, last)
    return last + 1


def test_five_kills_at_random_moments(tmp_path: Path) -> None:
    assert kill_and_check(tmp_path / "store", 5, seed=5) > 0


@pytest.mark.long
@pytest.mark.parametrize("seed", range(10))
def test_three_hundred_kills(tmp_path: Path, seed: int) -> None:
    assert kill_and_check(tmp_path / "store", 30, random.randrange(10**6)) > 0


@pytest.mark.parametrize("every", [10, pytest.param(1, marks=pytest.mark.long)])
def test_stopped_at_the_calls_that_change_the_disk(tmp_path: Path, every: int) -> None:
    """Not at random: before each call in turn, or each tenth, until a round goes through."""
    code, stop = 9, 0
    add_for_ever(tmp_path / "first", tmp_path / "done", 0, rounds=2)
    while code == 9:
        folder = tmp_path / str(stop)
        shutil.copytree(tmp_path / "first", folder)
        stopped = start(stop_at_call, folder, 2, stop)
        stopped.join()
        code = stopped.exitcode
        assert code in (7, 9)
        check_whole(folder, 1 if code == 9 else 2)
        add_for_ever(folder, tmp_path / "done", 2, rounds=1)
        check_whole(folder, 2)
        stop += every
    assert stop > 25
