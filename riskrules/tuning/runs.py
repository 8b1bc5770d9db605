"""An adviser's replays, each in a folder and a process of its own: started, watched, stopped.

::

    FARM_bench/                     beside the farm file
      pieces/, run-.../             what is done of all replays, kept by content
      asked/2026-11-28_1/           one replay:
        asked.json                  what was asked
        progress.json               how far it is
        record.html, record.json    what came of it
        words.txt                   what its process wrote

A replay that was stopped, or whose process was killed, goes on from the block-seasons that are
done. Whether one runs is told by a lock that its process holds, so that no number of a process
that ended long ago is trusted.
"""

from __future__ import annotations

import hashlib
import os
import re
import subprocess
import sys
import time
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any, Literal, TypeVar

from filelock import FileLock, Timeout
from pydantic import TypeAdapter, ValidationError

from riskrules.logs.store.files import write_flushed
from riskrules.tuning.kept import ReplayStop, stop_writing

ID = re.compile(r"\d{4}-\d{2}-\d{2}_\d{1,4}")
START_S = 30.0
"""How long a process may take to begin. [s] (assumption)"""
PROBE_S = 0.1
"""How long a lock is waited for that somebody else may only be looking at. [s] (assumption)"""
SECRETS = ("RISKRULES_FRONT_SECRET",)
"""What a process that replays is not told."""

State = Literal["waiting", "working", "stopping", "done", "stopped", "failed", "broken off"]


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked of a replay, as a file holds it. Empty: all, or none.

    ``vary`` holds one threshold or two, each with its values; ``profiles`` are files, and so is
    ``under``, the profile under which thresholds are varied.
    """

    farm: str
    question: str = ""
    store: str | None = None
    journal: str | None = None
    months: tuple[int, int] = (1, 12)
    seasons: tuple[str, ...] = ()
    blocks: tuple[str, ...] = ()
    profiles: tuple[str, ...] = ()
    vary: tuple[tuple[str, tuple[float, ...]], ...] = ()
    hazard: str = ""
    chosen_by: tuple[str, ...] = ()
    who: str = ""
    when: str = ""
    under: str = ""


@dataclass(frozen=True, slots=True)
class Part:
    """How far one part is: of ``total``, ``kept`` were there before; ``seconds`` since it began."""

    name: str
    total: int
    kept: int
    done: int = 0
    failed: int = 0
    seconds: float = 0.0

    @property
    def ready(self) -> int:
        """Block-seasons that are done."""
        return self.kept + self.done

    @property
    def left_s(self) -> float | None:
        """How long the rest of the part will take; None where nothing tells. [s]"""
        left = self.total - self.ready - self.failed
        return self.seconds / self.done * left if self.done else None


@dataclass(frozen=True, slots=True)
class Progress:
    """What the process of a replay says of itself; ``pid`` is its number."""

    state: State = "waiting"
    parts: tuple[Part, ...] = field(default=())
    said: str = ""
    pid: int = 0


@dataclass(frozen=True, slots=True)
class Run:
    """One replay: what was asked, how far it is, and where its record is."""

    id: str
    folder: Path
    question: Question
    progress: Progress

    @property
    def state(self) -> State:
        """What it does, or how it ended."""
        return self.progress.state

    @property
    def active(self) -> bool:
        """Whether its process is at work."""
        return self.state in ("working", "stopping")

    @property
    def record(self) -> Path:
        """The record, there once the state is done."""
        return self.folder / "record.html"

    @property
    def data(self) -> Path:
        """The record as data."""
        return self.folder / "record.json"


T = TypeVar("T", Question, Progress)


@cache
def _adapters() -> dict[type, TypeAdapter[Any]]:
    return {kind: TypeAdapter(kind) for kind in (Question, Progress)}


def _read(kind: type[T], path: Path) -> T | None:
    """Return what a file holds; None where it is not there or not whole."""
    try:
        found: T = _adapters()[kind].validate_json(path.read_bytes())
        return found
    except (OSError, ValidationError):
        return None


def put(path: Path, what: Question | Progress) -> None:
    """Write a file of a replay, whole or not at all; ReplayStop where the disk takes no more."""
    raw = _adapters()[type(what)].dump_json(what, indent=1)
    try:
        write_flushed(path, raw, hashlib.sha256(raw).hexdigest())
    except OSError as error:
        stop_writing(path, error)


def asked_in(folder: Path) -> Question:
    """Return what the replay of a folder was asked; ReplayStop where that cannot be read."""
    found = _read(Question, folder / "asked.json")
    if found is None:
        raise ReplayStop(f"{folder / 'asked.json'}: cannot be read; ask again")
    return found


class Bench:
    """All replays of a farm.

    Parameters
    ----------
    farm_file : Path
    """

    def __init__(self, farm_file: Path) -> None:
        self.folder = farm_file.absolute().parent / f"{farm_file.stem}_bench"

    @classmethod
    def at(cls, folder: Path) -> Bench:
        """Return the bench that the folder of a replay is of."""
        found = cls.__new__(cls)
        found.folder = folder.parents[1]
        return found

    @property
    def asked(self) -> Path:
        """The folder of what was asked."""
        return self.folder / "asked"

    @property
    def lock(self) -> FileLock:
        """What the process of the one replay at work holds."""
        return FileLock(self.folder / ".running.lock")

    def runs(self) -> list[Run]:
        """Return all replays, the newest first."""
        if not self.asked.is_dir():
            return []
        names = [p.name for p in self.asked.iterdir() if ID.fullmatch(p.name)]
        found = [self.find(name) for name in sorted(names, key=_order, reverse=True)]
        return [run for run in found if run is not None]

    def find(self, name: str) -> Run | None:
        """Return one replay by its name; None where there is none, or it is not whole."""
        folder = self.asked / name
        if not ID.fullmatch(name):
            return None
        question = _read(Question, folder / "asked.json")
        if question is None:
            return None
        said = _read(Progress, folder / "progress.json") or Progress()
        return Run(name, folder, question, _as_it_is(folder, said))

    def active(self) -> Run | None:
        """Return the replay that is at work, if one is."""
        return next((run for run in self.runs() if run.active), None)

    def start(self, question: Question) -> Run:
        """Begin a replay in a process of its own; ReplayStop where another is at work."""
        self._make(self.asked)
        with _Alone(self):
            folder = self._new(question.when)
            put(folder / "asked.json", question)
            return self._launch(folder)

    def go_on(self, name: str) -> Run:
        """Let a replay that did not come to its end go on; what is done is not done again."""
        run = self._known(name)
        with _Alone(self):
            return self._launch(run.folder)

    def stop(self, name: str) -> None:
        """Ask a replay to stop; what it has done is kept."""
        run = self._known(name)
        if run.active:
            (run.folder / "stop").touch()

    def _known(self, name: str) -> Run:
        run = self.find(name)
        if run is None:
            raise ReplayStop(f"no replay '{name[:40]}'; look at the list again")
        return run

    def _make(self, folder: Path) -> None:
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            stop_writing(folder, error)

    def _new(self, when: str) -> Path:
        """Return a new folder, named by the day and a number."""
        day = when[:10] or datetime.now().date().isoformat()
        taken = [int(p.name.partition("_")[2]) for p in self.asked.glob(f"{day}_*")
                 if ID.fullmatch(p.name)]  # fmt: skip
        folder = self.asked / f"{day}_{max(taken, default=0) + 1}"
        self._make(folder)
        return folder

    def _launch(self, folder: Path) -> Run:
        """Start the process and wait until it holds its locks, or has said why it cannot."""
        (folder / "stop").unlink(missing_ok=True)
        for child in _children:  # those that ended are let go
            child.poll()
        root = Path(__file__).resolve().parents[2]
        env = {k: v for k, v in os.environ.items() if k not in SECRETS}
        env["PYTHONPATH"] = os.pathsep.join(filter(None, [str(root), env.get("PYTHONPATH")]))
        with (folder / "words.txt").open("ab") as words:
            child = subprocess.Popen(
                [sys.executable, "-m", "riskrules.tuning.run_asked", str(folder)],
                stdin=subprocess.DEVNULL, stdout=words, stderr=words, env=env, cwd=folder,
                start_new_session=True,
            )  # fmt: skip
        _children.append(child)
        end = time.monotonic() + START_S
        while time.monotonic() < end:
            said = _read(Progress, folder / "progress.json")
            if said is not None and said.pid == child.pid:
                return self._known(folder.name)
            if child.poll() is not None:
                break
            time.sleep(0.05)
        raise ReplayStop(f"the replay did not begin; its words are in {folder / 'words.txt'}")


_children: list[subprocess.Popen[bytes]] = []
"""Processes started here. They outlive this one; while it lives, it lets go of those that end."""


class _Alone:
    """Holds off other starts, and refuses where a replay is at work."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.starting = FileLock(bench.folder / ".starting.lock")

    def __enter__(self) -> None:
        try:
            self.starting.acquire(timeout=PROBE_S)
        except Timeout:
            raise ReplayStop("another replay is just being started; one runs at a time") from None
        if not is_free(self.bench.lock):
            self.starting.release()
            raise ReplayStop("a replay is at work already; one runs at a time. Stop it, or wait")

    def __exit__(self, *_: object) -> None:
        self.starting.release()


def is_free(lock: FileLock) -> bool:
    """Return whether nobody holds a lock for longer than a look takes."""
    try:
        with lock.acquire(timeout=PROBE_S):
            return True
    except Timeout:
        return False


def own_lock(folder: Path) -> FileLock:
    """Return what the process of a folder's replay holds while it is at work."""
    return FileLock(folder / ".lock")


def _as_it_is(folder: Path, said: Progress) -> Progress:
    """Return what a replay does now: one that says it works, and holds no lock, was broken off."""
    if said.state not in ("working", "stopping"):
        return said
    if is_free(own_lock(folder)):
        again = _read(Progress, folder / "progress.json")  # it may have come to its end just now
        if again is not None and again.state not in ("working", "stopping"):
            return again
        return Progress("broken off", said.parts, said.said, said.pid)
    if (folder / "stop").exists():
        return Progress("stopping", said.parts, said.said, said.pid)
    return said


def _order(name: str) -> tuple[str, int]:
    day, _, number = name.partition("_")
    return day, int(number)


def last_words(run: Run, most: int = 4000) -> str:
    """Return the end of what the process of a replay wrote; '' where it wrote nothing."""
    try:
        return (run.folder / "words.txt").read_bytes()[-most:].decode("utf-8", "replace")
    except OSError:
        return ""
