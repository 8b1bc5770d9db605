"""What the processes do that the tests of the store start, and kill."""

from __future__ import annotations

import itertools
import os
from pathlib import Path
from typing import Any

from riskrules.errors import Problem
from riskrules.logs.store import LogStore
from riskrules.logs.store.lock import writing
from tests.store.made import item, text

CALLS = ("fsync", "replace", "link", "unlink", "mkdir")


def grown(i: int) -> bytes:
    """Return what a logger's own file is after i rows."""
    return text([(h, str(h % 30), "50", 0) for h in range(i)], "logger")


def pair(i: int) -> list[bytes]:
    """Return two files that are added together."""
    return [text([(2 * i + k, str(k), "60", 0)], f"day {i} {k}") for k in range(2)]


def one_round(store: LogStore, i: int) -> None:
    """Add two files, a grown one, and set one aside: three changes, each all or nothing."""
    store.add([item(raw, f"{i}-{k}.csv", sensor="daily") for k, raw in enumerate(pair(i))])
    store.add([item(grown(i + 1), "logger.csv", written=i, sensor="grown")])
    store.set_aside(f"{i}.bin", str(i).encode(), [Problem(f"{i}.bin", 1, 0, "no log")])


def add_for_ever(
    folder: Path, done: Path, first: int, rounds: int = 10**9, ready: Any = None
) -> None:  # fmt: skip
    """Add files, and write a round's number into a file once the store has acknowledged it."""
    if ready is not None:
        ready.set()
    store = LogStore(folder)
    with done.open("ab", buffering=0) as said:
        for i in range(first, first + rounds):
            one_round(store, i)
            said.write(f"{i}\n".encode())


def stop_at_call(folder: Path, first: int, stop: int) -> None:
    """Add a round, but end without any clean-up at one of the calls that change the disk."""
    store = LogStore(folder)
    count = itertools.count()
    for name in CALLS:
        setattr(os, name, _stopping(getattr(os, name), count, stop))
    one_round(store, first)
    os._exit(7)


def _stopping(call: Any, count: itertools.count[int], stop: int) -> Any:
    def stopping(*args: Any, **named: Any) -> Any:
        if next(count) == stop:
            os._exit(9)
        return call(*args, **named)

    return stopping


def add_some(folder: Path, name: str, n: int) -> None:
    """Add n files one by one, as one of several writers."""
    store = LogStore(folder)
    for i in range(n):
        store.add([item(text([(i, "1", "", 0)], f"{name} {i}"), f"{name}-{i}.csv", sensor=name)])


def hold(folder: Path, ready: Any) -> None:
    """Hold the lock until killed."""
    LogStore(folder)
    with writing(folder, 5):
        ready.set()
        import time

        time.sleep(600)
