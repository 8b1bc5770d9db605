"""Worker processes: the same bytes as a plain loop, whoever is killed and whatever is full."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from riskrules.review import shipped_rulebook
from riskrules.tuning import cluster
from riskrules.tuning.archive import open_archive
from riskrules.tuning.cluster import Where, Work, run
from riskrules.tuning.kept import ReplayStop
from tests.tuning.made_archive import make_archive
from tests.tuning.test_cluster import only_folder, tables_of

pytest.importorskip("distributed")
ROOT = Path(__file__).resolve().parents[2]
PATIENCE_S = 120


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_archive(tmp_path_factory.mktemp("made") / "archive", 4, (2022, 2023, 2024))


@pytest.fixture(scope="module")
def expected(archive: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    out = tmp_path_factory.mktemp("loop")
    finish(start(archive, out, 0))
    return tables_of(only_folder(out))


def start(archive: Path, out: Path, workers: int | str, *more: object) -> subprocess.Popen[str]:
    words = [archive, out, workers, *more]
    return subprocess.Popen(
        [sys.executable, "-m", "tests.tuning.runs_it", *map(str, words)],
        cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip


def finish(child: subprocess.Popen[str], code: int = 0) -> str:
    _, errors = child.communicate(timeout=PATIENCE_S)
    assert child.returncode == code, errors
    return errors


def wait_for(child: subprocess.Popen[str], done: int) -> None:
    """Read what the run says of itself until so many block-seasons are done."""
    assert child.stdout is not None
    for line in child.stdout:
        if int(line.split()[1]) >= done:
            return
    raise AssertionError("it ended before")


def below(pid: int) -> Iterator[tuple[int, str]]:
    """Yield every process below one, with its command line."""
    for path in Path("/proc").glob("[0-9]*"):
        try:
            parent = int((path / "stat").read_text().rpartition(")")[2].split()[1])
            said = (path / "cmdline").read_bytes().replace(b"\0", b" ").decode()
        except OSError:
            continue
        if parent == pid:
            yield int(path.name), said
            yield from below(int(path.name))


def workers_of(child: subprocess.Popen[str]) -> list[int]:
    return [pid for pid, said in below(child.pid) if "spawn_main" in said]


def alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def test_two_workers_give_the_bytes_of_a_plain_loop(
    archive: Path, expected: dict[str, str], tmp_path: Path
) -> None:
    finish(start(archive, tmp_path, 2))
    assert tables_of(only_folder(tmp_path)) == expected


@pytest.mark.long
def test_one_worker_gives_them_too(
    archive: Path, expected: dict[str, str], tmp_path: Path
) -> None:  # fmt: skip
    finish(start(archive, tmp_path, 1))
    assert tables_of(only_folder(tmp_path)) == expected


@pytest.mark.long
def test_a_worker_killed_midway_changes_nothing(
    archive: Path, expected: dict[str, str], tmp_path: Path
) -> None:
    child = start(archive, tmp_path, 2, 0.3)
    wait_for(child, 2)
    workers = workers_of(child)
    assert len(workers) == 2
    os.kill(workers[0], signal.SIGKILL)
    finish(child)
    assert tables_of(only_folder(tmp_path)) == expected


@pytest.mark.long
@pytest.mark.parametrize("workers", [0, 2])
def test_the_client_killed_goes_on_where_it_was(
    archive: Path, expected: dict[str, str], tmp_path: Path, workers: int
) -> None:
    child = start(archive, tmp_path, workers, 0.3)
    wait_for(child, 3)
    left_behind = [pid for pid, _ in below(child.pid)]
    child.kill()
    child.communicate(timeout=PATIENCE_S)
    assert [p.name for p in tmp_path.iterdir()] == ["pieces"]
    until = time.monotonic() + 30
    while any(alive(pid) for pid in left_behind) and time.monotonic() < until:
        time.sleep(0.2)
    assert not [pid for pid in left_behind if alive(pid)]
    again = start(archive, tmp_path, workers)
    assert again.stdout is not None
    assert int(again.stdout.readline().split()[0]) >= 3
    finish(again)
    assert tables_of(only_folder(tmp_path)) == expected


@pytest.mark.long
def test_a_cluster_with_several_threads_gives_them_too(
    archive: Path, expected: dict[str, str], tmp_path: Path
) -> None:
    """A worker of two threads has one rule engine: its tasks wait for each other."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    address = f"tcp://127.0.0.1:{port}"
    plain = ["--dashboard-address", "127.0.0.1:0"]
    parts = [
        ["scheduler", "--host", "127.0.0.1", "--port", str(port), *plain],
        ["worker", address, "--host", "127.0.0.1", "--nthreads", "2", "--nworkers", "1", *plain,
         "--local-directory", str(tmp_path / "scratch")],
    ]  # fmt: skip
    dask = [sys.executable, "-m", "dask"]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    children = [
        subprocess.Popen([*dask, *words], cwd=ROOT, env=env, stderr=subprocess.DEVNULL)
        for words in parts
    ]
    try:
        finish(start(archive, tmp_path / "out", address))
        assert tables_of(only_folder(tmp_path / "out")) == expected
        assert all(child.poll() is None for child in children)  # it is not ours to end
    finally:
        for child in children:
            child.terminate()
        for child in children:
            child.wait(timeout=PATIENCE_S)


def test_a_scheduler_that_is_not_there_is_a_clear_stop(
    archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "PATIENCE_S", 1)
    work = Work(open_archive(archive), {"shipped": shipped_rulebook()})
    with pytest.raises(ReplayStop, match="--scheduler tcp://127.0.0.1:9: not reached"):
        run(work, tmp_path, Where(scheduler="tcp://127.0.0.1:9"))
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("most", [2_000, pytest.param(9_000, marks=pytest.mark.long)])
def test_a_full_disk_is_a_clear_stop_with_nothing_half_written(
    archive: Path, expected: dict[str, str], tmp_path: Path, most: int
) -> None:
    said = finish(start(archive, tmp_path, 0, 0, most), code=1)
    assert "disk is full" in said and "kept; make room and start again" in said
    assert "Traceback" not in said
    assert [p.name for p in tmp_path.iterdir()] in ([], ["pieces"])
    assert not [p for p in tmp_path.rglob("*") if p.name.startswith(".tmp")]
    finish(start(archive, tmp_path, 0))
    assert tables_of(only_folder(tmp_path)) == expected


@pytest.mark.long
def test_a_disk_that_fills_at_the_tables_keeps_all_results(
    archive: Path, expected: dict[str, str], tmp_path: Path
) -> None:
    finish(start(archive, tmp_path, 0))
    folder = only_folder(tmp_path)
    for path in folder.iterdir():
        path.unlink()
    folder.rmdir()
    said = finish(start(archive, tmp_path, 0, 0, 1_500), code=1)
    assert "disk is full" in said and "Traceback" not in said
    assert [p.name for p in tmp_path.iterdir()] == ["pieces"]
    finish(start(archive, tmp_path, 0))
    assert tables_of(only_folder(tmp_path)) == expected
