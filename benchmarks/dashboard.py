"""7: server time of each page, cold and warm, against Streamlit's empty page; many sessions."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager, suppress
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from statistics import median
from time import perf_counter

from benchmarks.dashboard_farm import write_farm
from benchmarks.page_client import PageClient
from benchmarks.rows import Result, Row, compared
from benchmarks.timing import Took
from riskrules.door.start import app_file
from riskrules.journal.store import Journal, open_journal
from riskrules.view.desk import open_desk
from riskrules.view.marks import MARKS, mark_job

NUMBER = 7
AIM_S = 0.3
"""Server time that a warm page may take. [s] (the issue's aim)"""
GROWTH = 1.05
"""Times the memory after a fifth of the views that it may be after all. (assumption)"""
EMPTY = "import streamlit as st\nst.title('empty')\n"
SEASON = "course?span=0"
"""The course of a block over all of its log."""
MARKED = "dawn, a job marked before each view"
FULL, QUICK = (20, 200, 500, 20), (3, 20, 40, 5)
"""Blocks, days, page views, sessions at once."""


@contextmanager
def serving(app: Path, folder: Path, farm: Path | None = None) -> Iterator[tuple[int, int]]:
    """Run an app and yield its port and process id."""
    with closing(socket.socket()) as asked:
        asked.bind(("127.0.0.1", 0))
        port = int(asked.getsockname()[1])
    root = Path(__file__).resolve().parents[1]
    env = {**os.environ, "PYTHONPATH": str(root), "RISKRULES_HOME": str(folder)}
    env |= {"RISKRULES_FARM": str(farm)} if farm else {}
    words = [sys.executable, "-m", "streamlit", "run", str(app), "--server.port", str(port),
             "--server.address", "127.0.0.1", "--server.headless", "true",
             "--browser.gatherUsageStats", "false", "--server.fileWatcherType", "none"]  # fmt: skip
    child = subprocess.Popen(
        words, env=env, cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        _wait(port, child)
        yield port, child.pid
    finally:
        child.terminate()
        child.wait(20)


def _wait(port: int, child: subprocess.Popen[bytes]) -> None:
    end = time.monotonic() + 60
    while time.monotonic() < end and child.poll() is None:
        with suppress(OSError), urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health"):
            return
        time.sleep(0.1)
    raise RuntimeError("the server of pages did not start")


def memory_mb(pid: int) -> float:
    """Return the memory that a process holds. [MB]"""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024
    raise RuntimeError(f"process {pid} has ended")


def cpu_s(pid: int) -> float:
    """Return the processor time of all threads of a process. [s]"""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def viewed(
    client: PageClient, pid: int, page: str, times: int, before_each: Callable[[], object] = int
) -> Took:
    """Return what views of a page took, by the clock and in the server's processor time.

    ``page`` may have a query after a question mark.
    """
    took = Took()
    for _ in range(times):
        before_each()
        before = cpu_s(pid)
        took.wall.append(client.view(*page.split("?")))
        took.cpu.append(cpu_s(pid) - before)
    return took


def pages() -> list[str]:
    """Return the names of the pages that are there."""
    return sorted(p.stem for p in (app_file().parent / "pages").glob("*.py"))


def marking(journal: Journal, farm: Path) -> Callable[[], object]:
    """Return what marks a job in the farm's journal, or changes the mark, as a tap does."""
    now = open_desk(farm).now
    day = datetime.fromtimestamp(now, UTC).date()
    turns = count()

    def mark() -> None:
        what = MARKS[next(turns) % len(MARKS)]
        mark_job(journal, "block_00", "scout_fruit", day, what, "ann", now, now)

    return mark


def run(quick: bool) -> Result:
    """Measure every page of a farm on a running server."""
    blocks, days, views, sessions = QUICK if quick else FULL
    times = 3 if quick else 7
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        farm = write_farm(folder, blocks, days)
        (folder / "empty.py").write_text(EMPTY, encoding="utf-8")
        with serving(folder / "empty.py", folder) as (port, pid), PageClient(port) as client:
            client.view()
            empty = viewed(client, pid, "", times)
        with (
            open_journal(folder / "journal.db") as journal,
            serving(app_file(), folder, farm) as (port, pid),
        ):
            rows, lines = _each_page(port, pid, empty, times, marking(journal, farm))
            rows.append(_at_once(port, pid, sessions, lines))
            rows.append(_memory(port, pid, views, lines))
    return Result(tuple(rows), (f"{blocks} blocks, {days} days at 15 minutes", *lines))


def _each_page(
    port: int, pid: int, empty: Took, times: int, mark: Callable[[], object]
) -> tuple[list[Row], list[str]]:
    """Return two rows a page: against the aim, and against the empty page; and what was cold.

    The aim is for the processor's time too: others may be at work on the machine.
    """
    rows: list[Row] = []
    lines: list[str] = []
    aim = Took([AIM_S], [AIM_S])
    with PageClient(port) as client:
        for page in (*pages(), SEASON, MARKED):
            start, name = cpu_s(pid), page.split("?")[0].split(",")[0]
            words = [name, *page.split("?")[1:]]
            cold, cold_cpu, before = client.view(*words), cpu_s(pid) - start, client.bytes
            each = mark if page == MARKED else int
            took = viewed(client, pid, "?".join(words), times, each)
            size = (client.bytes - before) / times / 1024
            lines.append(
                f"{page}: first view {cold:.2f} s ({cold_cpu:.2f} s of the processor); then "
                f"{median(took.cpu) * 1e3:.0f} ms of the processor (empty page "
                f"{median(empty.cpu) * 1e3:.0f}); sends {size:,.0f} kB"
            )
            rows.append(compared(NUMBER, f"{page}, warm", took, aim, "aim", 1.0))
            rows.append(compared(NUMBER, f"{page}, warm", took, empty, "empty page"))
        lines += [f"trouble: {error}" for error in sorted(set(client.errors))]
    return rows, lines


def _at_once(port: int, pid: int, sessions: int, lines: list[str]) -> Row:
    """Return the time of a page while many sessions ask at once, against one alone.

    A line says how long all of them took by the clock and in the processor's time: where the
    two are alike, the sessions wait for the one interpreter lock, not for one another.
    """
    with ThreadPoolExecutor(sessions) as pool:
        clients = [PageClient(port) for _ in range(sessions)]
        try:
            for client in clients:
                client.view("dawn")
            alone = Took([clients[0].view("dawn") for _ in range(3)], [])
            clock, spent = perf_counter(), cpu_s(pid)
            took = Took(list(pool.map(lambda c: c.view("dawn"), clients)), [])
            lines.append(
                f"dawn, {sessions} at once: all there after {perf_counter() - clock:.2f} s, "
                f"{cpu_s(pid) - spent:.2f} s of the processor, the last of them after "
                f"{max(took.wall):.2f} s"
            )
        finally:
            for client in clients:
                client.socket.close()
    return compared(NUMBER, f"dawn, {sessions} sessions at once", took, alone, "alone", cpu=False)


def _memory(port: int, pid: int, views: int, lines: list[str]) -> Row:
    """Return the memory after all views against that after a fifth, sessions coming and going."""
    found = pages()
    sizes: dict[int, float] = {}
    for n in range(views // 5):
        with PageClient(port) as client:
            for k in range(5):
                client.view(found[(5 * n + k) % len(found)])
        sizes[n] = memory_mb(pid)
    tenths = [f"{sizes[n]:.0f}" for n in range(0, len(sizes), max(1, len(sizes) // 10))]
    lines.append(f"memory after each tenth of the views: {', '.join(tenths)} MB")
    first, last = sizes[views // 25], median(list(sizes.values())[-3:])
    return Row(
        NUMBER, f"memory after {views} views", last, first, "after a fifth", "MB", last / first,
        last / first, None, GROWTH, False,
    )  # fmt: skip
