"""Processes and servers that are killed while many write: what was acknowledged is there."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from pathlib import Path

import pytest

from . import herd
from .postgres import Server, programs

WRITERS = 8


def begun(checkout: Path, *words: object) -> subprocess.Popen[str]:
    """Start the herd as a program of its own, so that it forks without threads."""
    command = [sys.executable, "-W", "error", herd.__file__, *(str(w) for w in words)]
    env = os.environ | {"PYTHONPATH": str(checkout)}
    return subprocess.Popen(command, env=env, text=True, stderr=subprocess.PIPE)


def kill_writers(checkout: Path, url: str, folder: Path, rounds: int, seed: int) -> None:
    done = begun(checkout, "killed", url, folder, WRITERS, rounds, seed)
    _, said = done.communicate(timeout=1500)
    assert done.returncode == 0, said
    acknowledged, kept = map(int, (folder / "counts").read_text().split())
    assert kept >= acknowledged >= rounds  # else the writers hardly came to write


def test_writers_killed_at_any_moment_lose_nothing_they_were_told_is_kept(
    checkout, journal_url, tmp_path
):
    kill_writers(checkout, journal_url, tmp_path, rounds=4, seed=5)


@pytest.mark.long
def test_writers_killed_three_hundred_times(checkout, journal_url, tmp_path):
    kill_writers(checkout, journal_url, tmp_path, rounds=300, seed=random.randrange(1 << 30))


@pytest.fixture
def own_server():
    """Return a server that may be killed, with fsync on as on a farm."""
    if programs() is None:
        pytest.skip("no PostgreSQL here: expected initdb and pg_ctl, such as Debian's postgresql")
    made = Server()
    try:
        made.start()
        yield made
    finally:
        made.stop()


def kill_server(checkout: Path, server: Server, folder: Path, times: int, seed: int) -> None:
    chance = random.Random(seed)
    url = server.new_database()
    writers = begun(checkout, "server", url, folder, WRITERS, seed)
    try:
        _wait_for_records(folder)
        for _ in range(times):
            time.sleep(chance.random())
            server.kill()
            server.start()
            _wait_for_records(folder)
    finally:
        (folder / "stop").touch()
        _, said = writers.communicate(timeout=120)
    assert writers.returncode == 0, said
    herd.whole(url, folder)


def _wait_for_records(folder: Path) -> None:
    """Wait until more was acknowledged, so that each kill comes in the middle of writing."""
    before, until = _acknowledged(folder), time.monotonic() + 60
    while _acknowledged(folder) <= before:
        assert time.monotonic() < until, "nothing was acknowledged for a minute"
        time.sleep(0.02)


def _acknowledged(folder: Path) -> int:
    return sum(path.stat().st_size for path in folder.glob("acknowledged-*"))


def test_a_server_killed_and_restarted_has_all_it_acknowledged(checkout, server, tmp_path):
    kill_server(checkout, server, tmp_path, times=2, seed=3)


@pytest.mark.long
def test_a_server_killed_and_restarted_many_times(checkout, own_server, tmp_path):
    kill_server(checkout, own_server, tmp_path, times=40, seed=random.randrange(1 << 30))
