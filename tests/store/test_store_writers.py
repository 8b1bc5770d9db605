"""Several writers, readers beside a writer, and a disk that has no room."""

from __future__ import annotations

import errno
import multiprocessing
import os
import resource
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from riskrules.errors import LogError
from riskrules.logs.store import Incoming, LogStore
from tests.store.adds_in_a_loop import CALLS, add_for_ever, add_some, hold
from tests.store.made import item, quick_folder, random_readings, text

FORK = multiprocessing.get_context("forkserver")
FORK.set_forkserver_preload(["tests.store.adds_in_a_loop", "pyarrow.parquet", "filelock"])


@pytest.fixture
def tmp_path() -> Iterator[Path]:
    """Yield a folder in memory: here nothing hangs on how slow a disk is."""
    with quick_folder() as folder:
        yield folder


def started(work: Callable[..., None], *args: object) -> Any:
    process = FORK.Process(target=work, args=args, daemon=True)
    process.start()
    return process


def test_two_writers_at_once_lose_nothing(tmp_path: Path) -> None:
    writers = [started(add_some, tmp_path / "s", name, 12) for name in ("one", "two", "three")]
    for writer in writers:
        writer.join()
        assert writer.exitcode == 0
    store = LogStore(tmp_path / "s", create=False)
    assert {s: len(store.readings("north", s)) for s in store.sensors("north")} == {
        "one": 12, "three": 12, "two": 12,
    }  # fmt: skip
    assert store.check() == []


def test_a_second_writer_waits_then_says_who_holds_it(tmp_path: Path) -> None:
    ready = FORK.Event()
    holder = started(hold, tmp_path, ready)
    assert ready.wait(20)
    waiting = LogStore(tmp_path, wait=0.2)
    with pytest.raises(LogError, match=rf"process {holder.pid} on .* is writing; waited 0\.2 s"):
        waiting.add([item(text([]))])
    assert waiting.readings("north", "low").time.tolist() == [], "a reader never waits"
    holder.kill()
    holder.join()
    assert [o.state for o in waiting.add([item(text([]))])] == ["new"]


def test_a_reader_beside_a_writer_sees_whole_states(tmp_path: Path) -> None:
    """The writer takes away the parts of the versions it replaces while they are being read."""
    store = LogStore(tmp_path / "s")
    writer = started(add_for_ever, tmp_path / "s", tmp_path / "done", 0, 40)
    seen = 0
    while writer.is_alive():
        rows = store.readings("north", "grown")
        assert len(rows) >= seen and len(store.readings("north", "daily")) % 2 == 0
        seen = len(rows)
    writer.join()
    assert writer.exitcode == 0 and len(store.readings("north", "grown")) == 40
    assert store.check() == []


def filled(folder: Path) -> tuple[LogStore, list[Incoming]]:
    """Return a store with something in it, and a change that replaces some of it."""
    store = LogStore(folder)
    rows = [(h, str(h), "50", 0) for h in range(300)]
    store.add([item(text(rows[:5])), item(text([(0, "1", "", 0)]), sensor="other")])
    more = Incoming("south", "low", "b.csv", b"b" * 9000, 3, random_readings(3, 300))
    return store, [item(text(rows), written=2), more]


def state_of(store: LogStore) -> tuple[object, ...]:
    again = LogStore(store.folder, create=False)
    return (
        (store.folder / "manifest.jsonl").read_bytes(),
        again.check(),
        len(again.readings("north", "low")),
        len(again.readings("south", "low")),
    )


@pytest.mark.parametrize("limit", [0, 300, 1000, 2500, 3500, 5000, 8000, 8900, 40_000])
def test_a_limit_on_the_size_of_files_leaves_the_store_whole(tmp_path: Path, limit: int) -> None:
    store, items = filled(tmp_path / "s")
    before = state_of(store)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    error = None
    try:
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, hard))
        store.add(items)
    except LogError as caught:
        error = caught
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    if limit >= 40_000:
        assert error is None and state_of(store)[1:] == ([], 300, 300)
        return
    assert error is not None and "the disk is full" in str(error) and "as it was" in str(error)
    assert state_of(store) == before and before[1] == []
    store.add(items)
    assert state_of(store)[1:] == ([], 300, 300)


@pytest.mark.parametrize("name", [c for c in CALLS if c not in ("unlink", "link")])
def test_an_error_at_any_call_leaves_the_store_whole(
    tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    for stop in range(100):
        store, items = filled(tmp_path / f"{name}{stop}")
        before = state_of(store)
        calls = iter(range(1000))
        real = getattr(os, name)

        def failing(*args: Any, _n: Any = calls, _at: int = stop, _do: Any = real, **k: Any) -> Any:
            if next(_n) == _at:
                raise OSError(errno.ENOSPC, "No space left on device")
            return _do(*args, **k)

        with monkeypatch.context() as patch:
            patch.setattr(os, name, failing)
            try:
                store.add(items)
            except LogError as error:
                found: LogError | None = error
            else:
                found = None
        made = stop if next(calls) > stop else -1
        if made < 0:
            assert stop > 0 and found is None
            return
        if found is None or state_of(store) != before:
            assert state_of(store)[1:] == ([], 300, 300), f"{name} {stop}: {found}"
            assert found is None or "the change is in place" in str(found)
        else:
            assert "the disk is full" in str(found)
    pytest.fail("never went through")


SMALL = """
import sys
from pathlib import Path
from tests.store.made import item, text
from riskrules.errors import LogError
from riskrules.logs.store import LogStore
store = LogStore(Path(sys.argv[1]))
done = 0
try:
    for i in range(1000):
        rows = [(h, str(h * i % 97), "50", 0) for h in range(2000)]
        store.add([item(text(rows, f"{i}"), f"{i}.csv")])
        done += 1
except LogError as error:
    print(error)
    again = LogStore(Path(sys.argv[1]), create=False)
    assert again.check() == [], again.check()
    assert len(again.history()) == done > 3
    print("whole")
"""


def test_a_disk_that_is_really_full(tmp_path: Path, checkout: Path) -> None:
    """On a small file system in memory, where the system lets us make one."""
    at = tmp_path / "small"
    at.mkdir()
    mount = f"mount -t tmpfs -o size=1m none {at} && exec {sys.executable} -c '{SMALL}' {at}/s"
    command = ["unshare", "--mount", "--map-root-user", "sh", "-c", mount]
    try:
        subprocess.run([*command[:3], "true"], check=True, capture_output=True)
        done = subprocess.run(
            command, cwd=checkout, capture_output=True, text=True,
            env={**os.environ, "PYTHONPATH": str(checkout)},
        )  # fmt: skip
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("no mounts of our own here")
    if "mount" in done.stderr:
        pytest.skip(f"no mounts of our own here: {done.stderr[:80]}")
    assert "the disk is full" in done.stdout and done.stdout.endswith("whole\n"), done.stderr
