"""Follow a folder: new and grown log files are taken into the store as they come."""

from __future__ import annotations

import threading
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from riskrules.errors import LogError, Problem
from riskrules.farm import Farm
from riskrules.logbook.intake import Taken, given_files, take_in_file
from riskrules.logs.store import LogStore
from riskrules.sources import sources_for

SETTLE_S = 3.0
"""A file is read once it has not changed for so long. [s] (assumption)"""
PATIENCE_S = 60.0
"""A text file whose last line has no end is waited for this long. [s] (assumption)"""
LOOK_AGAIN_S = 20.0
"""How often the folder is looked through even if nothing was heard of it. [s] (assumption)"""
RETRY_S = 30.0
"""How long until a store that could not be written is tried again. [s] (assumption)"""
Look = tuple[int, int]
"""Size and time of the last change [ns] of a file."""
Say = Callable[[str], None]


@dataclass(slots=True)
class Follower:
    """Takes the files of a folder into a store, each once it is whole.

    Nothing is kept of its own: what was read is in the store, so that a follower that was
    killed goes on where it was.
    """

    folder: Path
    farm: Farm
    store: LogStore
    say: Say = print
    settle: float = SETTLE_S
    patience: float = PATIENCE_S
    done: dict[Path, Look] = field(default_factory=dict)
    waiting: dict[Path, tuple[Look, float]] = field(default_factory=dict)
    counts: Counter[str] = field(default_factory=Counter)

    def look(self, now: float) -> list[Path]:
        """Look through the folder and return the files that are ready to be read.

        Parameters
        ----------
        now : float
            A clock that never runs back, such as ``time.monotonic``. [s]
        """
        ready = []
        there = [path for path, _ in given_files([self.folder], self.store.folder)]
        for path in there:
            look = _look_at(path)
            if look is None or self.done.get(path) == look:
                continue
            before = self.waiting.get(path)
            if before is None or before[0] != look:
                still = time.time() - look[1] / 1e9
                if still > max(self.settle, self.patience):
                    ready.append(path)
                else:
                    self.waiting[path] = (look, now)
            elif now - before[1] >= self.wait_for(path):
                ready.append(path)
        for gone in self.waiting.keys() - set(there):
            del self.waiting[gone]
        return ready

    def wait_for(self, path: Path) -> float:
        """Return how long a file must stand still before it is read. [s]"""
        return self.settle if _is_whole(path) else max(self.settle, self.patience)

    def take(self, path: Path) -> list[Taken]:
        """Take one file into the store, for each sensor that has it, and say what became of it."""
        look = _look_at(path)
        sources = sources_for(self.farm, path)
        found = [take_in_file(self.farm, self.store, source, path) for source in sources]
        found = found or [Taken(path, "", "", "not ours")]
        if look is not None:
            self.done[path] = look
        self.waiting.pop(path, None)
        for taken in found:
            self.counts[taken.state] += 1
            if taken.state != "known":
                self.say(words_of(taken, self.folder))
        return found

    def take_all(self, paths: list[Path]) -> None:
        """Take files in, with progress where there are many."""
        for i, path in enumerate(paths, 1):
            self.take(path)
            if len(paths) >= 20 and i % 20 == 0:
                self.say(f"{i} of {len(paths)} files")


def _look_at(path: Path) -> Look | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_size, found.st_mtime_ns


def _is_whole(path: Path) -> bool:
    """Return whether a file looks complete: not text, or text whose last line has an end."""
    try:
        with path.open("rb") as file:
            head = file.read(512)
            if not head or b"\x00" in head or head[:2] in (b"\x1f\x8b", b"PK"):
                return True
            file.seek(-1, 2)
            return file.read(1) in (b"\n", b"\r")
    except OSError:
        return False


def words_of(taken: Taken, folder: Path) -> str:
    """Return what became of a file, in a line."""
    name = taken.path.relative_to(folder) if taken.path.is_relative_to(folder) else taken.path
    where = " ".join(n for n in (taken.block or "outside", taken.sensor) if n)
    match taken.state:
        case "new" | "grown":
            word = "read" if taken.state == "new" else "grown, read again"
            return f"{name}: {word}, {taken.rows:,} of {taken.read:,} rows kept for {where}"
        case "aside":
            more = f", and {len(taken.problems) - 1} more" if len(taken.problems) > 1 else ""
            return f"{name}: set aside. {taken.problems[0] if taken.problems else ''}{more}"
        case "known":
            return f"{name}: known"
        case _:
            return f"{name}: no sensor of the farm file has this log; left alone"


def follow(
    folder: Path,
    farm: Farm,
    store: LogStore,
    once: bool = False,
    say: Say = print,
    stop: threading.Event | None = None,
) -> Counter[str]:
    """Read what is in a folder and what comes into it, until told to stop.

    Parameters
    ----------
    folder : Path
        Looked through with all its folders.
    farm, store
        Whose sensors the files are, and where they go.
    once : bool
        Read what is there, wait for files that still change, and return.
    say : callable
        Is given a line for each file that was read or set aside.
    stop : Event, optional
        Ends it between two files.

    Returns
    -------
    Counter
        How many files became what: new, grown, known, aside, not ours.

    Raises
    ------
    LogError
        If the folder is none; with ``once`` also if the store cannot be written.
    """
    if not folder.is_dir():
        raise LogError([Problem(str(folder), 0, 0, "no such folder; expected one to follow")])
    stop = stop or threading.Event()
    store.tidy()  # of what a follower that was killed left behind
    follower = Follower(folder, farm, store, say)
    if once:
        follower.patience = follower.settle
        while not stop.is_set():
            follower.take_all(follower.look(time.monotonic()))
            if not follower.waiting:
                break
            stop.wait(follower.settle / 4)
        return follower.counts
    heard = threading.Event()
    watcher = _watch(folder, heard)
    try:
        _run(follower, heard, stop)
    finally:
        watcher.stop()
        watcher.join()
    return follower.counts


def _run(follower: Follower, heard: threading.Event, stop: threading.Event) -> None:
    """Look, read and wait, until told to stop; a store that fails is tried again."""
    follower.say(f"following {follower.folder}")
    while not stop.is_set():
        heard.clear()
        try:
            follower.take_all(follower.look(time.monotonic()))
        except LogError as error:
            follower.say(f"{error}; trying again in {RETRY_S:.0f} s")
            stop.wait(RETRY_S)
            continue
        if follower.waiting:
            stop.wait(min(0.5, follower.settle / 2))
        else:
            _wait(heard, stop, LOOK_AGAIN_S)


def _wait(heard: threading.Event, stop: threading.Event, longest: float) -> None:
    until = time.monotonic() + longest
    while not (heard.wait(0.25) or stop.is_set() or time.monotonic() > until):
        pass


def _watch(folder: Path, heard: threading.Event):  # type: ignore[no-untyped-def]
    """Return a running observer that sets the event when something happens in the folder."""
    from watchdog.events import FileSystemEvent, FileSystemEventHandler
    from watchdog.observers import Observer

    class Handler(FileSystemEventHandler):
        def on_any_event(self, event: FileSystemEvent) -> None:
            if event.event_type in ("created", "modified", "moved", "closed"):
                heard.set()

    observer = Observer()
    observer.schedule(Handler(), str(folder), recursive=True)
    observer.start()
    return observer
