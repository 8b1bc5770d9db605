"""``python -m riskrules.tuning.run_asked FOLDER``: do what was asked, and say how far it is.

The process may be killed at any moment: every file is written whole or not at all.
"""

from __future__ import annotations

import hashlib
import os
import shlex
import signal
import sys
import threading
import traceback
from dataclasses import replace
from pathlib import Path
from time import monotonic

from filelock import Timeout

from riskrules.errors import RiskRulesError
from riskrules.farm import Farm, load_farm
from riskrules.logbook.intake import take_in_file
from riskrules.logs.store import LogStore
from riskrules.sources import BESIDE, files_of, sources_of
from riskrules.tuning.archive import open_archive
from riskrules.tuning.asked import Asked, Vary, answer
from riskrules.tuning.cluster import Progress as Tell
from riskrules.tuning.cluster import Tally
from riskrules.tuning.record import write_record
from riskrules.tuning.record_file import write_record_data
from riskrules.tuning.runs import (
    PROBE_S,
    Bench,
    Part,
    Progress,
    Question,
    State,
    asked_in,
    own_lock,
    put,
)

EVERY_S = 0.5
"""How often progress is written down, at most. [s] (assumption)"""
WAIT_S = 5.0
"""How long to wait for the lock of a replay that comes to its end. [s] (assumption)"""
NICE = 10
"""By how much the pages go before a replay. (assumption)"""


class Notes:
    """Writes down how far a replay is."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "progress.json"
        self.now = Progress("working", (), "", os.getpid())
        self.last = 0.0

    def say(self, state: State, said: str = "") -> None:
        """Write a state down."""
        self.now = replace(self.now, state=state, said=said)
        put(self.path, self.now)

    def tell(self, name: str) -> Tell:
        """Return what is told how far the part of that name is."""
        began = monotonic()

        def told(tally: Tally) -> None:
            part = Part(
                name, tally.total, tally.kept, tally.done, tally.failed, monotonic() - began
            )
            others = tuple(p for p in self.now.parts if p.name != name)
            self.now = replace(self.now, parts=(*others, part))
            if tally.left == 0 or monotonic() - self.last >= EVERY_S:
                self.last = monotonic()
                put(self.path, self.now)

        return told


def main(words: list[str]) -> int:
    """Replay what a folder asks; return 0, or 1 where it did not come to its end."""
    folder = Path(words[0]).resolve()
    running, own = Bench.at(folder).lock, own_lock(folder)
    try:
        with running.acquire(timeout=WAIT_S), own.acquire(timeout=10 * PROBE_S):
            return _noted(folder)
    except Timeout:
        print("a replay is at work already; one runs at a time", file=sys.stderr)
        return 1


def _noted(folder: Path) -> int:
    """Do what is asked, and note how it ended."""
    notes, ended = Notes(folder), threading.Event()
    notes.say("working")
    watch = threading.Thread(target=_watch, args=(folder / "stop", ended), daemon=True)
    watch.start()
    try:
        _do(folder, notes)
        ended.set()
        watch.join()
    except KeyboardInterrupt:
        notes.say("stopped")
        return 1
    except RiskRulesError as error:
        print(error, file=sys.stderr)
        notes.say("failed", str(error))
        return 1
    except Exception as error:  # whoever asked must hear of it; the trace is in words.txt
        traceback.print_exc()
        notes.say("failed", f"{type(error).__name__}: {error}")
        return 1
    finally:
        ended.set()
    notes.say("done")
    return 0


def _watch(stop: Path, ended: threading.Event) -> None:
    """Interrupt the main thread once somebody asks for it, unless it has ended."""
    while not ended.wait(EVERY_S):
        if stop.exists():
            _interrupt()
            return


def _interrupt() -> None:
    main_thread = threading.main_thread().ident
    if hasattr(signal, "pthread_kill") and main_thread is not None:
        signal.pthread_kill(main_thread, signal.SIGINT)  # also while it waits for another process
        return
    import _thread

    _thread.interrupt_main()


def _do(folder: Path, notes: Notes) -> None:
    q = asked_in(folder)
    bench = Bench.at(folder)
    farm = load_farm(Path(q.farm))
    if q.store is None and not farm.text.store:
        q = replace(q, store=str(store_of_files(farm, bench.folder, notes)))
    archive = open_archive(
        None, Path(q.farm), Path(q.store) if q.store else None, q.journal, (), q.months
    )
    asked = Asked(
        archive, tuple(map(Path, q.profiles)), q.question, command_of(q), q.seasons, q.hazard,
        tuple(Vary(name, values) for name, values in q.vary), q.chosen_by, q.blocks,
        Path(q.under) if q.under else None,
    )  # fmt: skip
    found = answer(asked, bench.folder, None, notes.tell)
    write_record_data(folder / "record.json", found.record)
    write_record(folder / "record.html", found.record)


def store_of_files(farm: Farm, folder: Path, notes: Notes) -> Path:
    """Return a store of a farm that is reviewed by plain files, made where they changed.

    The farm itself is left as it is.

    Raises
    ------
    RiskRulesError
        Where a file cannot be read as one of its sensor's.
    """
    every = [(s, path) for s in sources_of(farm) for path in files_of(farm, s) if path.exists()]
    made = hashlib.sha256(farm.text.model_dump_json().encode())
    for _, path in every:
        for file in (path, path.parent / f"{path.name}{BESIDE}"):
            made.update(file.read_bytes() if file.exists() else b"none")
    place = folder / f"logs-{made.hexdigest()[:16]}"
    if place.exists():
        return place
    making = place.with_name(f"{place.name}.begin")
    store, tell = LogStore(making, create=True), notes.tell("logs")
    for n, (source, path) in enumerate(every):
        tell(Tally(len(every), 0, n))
        taken = take_in_file(farm, store, source, path)
        if taken.problems:
            raise RiskRulesError("\n".join(map(str, taken.problems)))
    tell(Tally(len(every), 0, len(every)))
    os.rename(making, place)
    return place


def command_of(q: Question) -> str:
    """Return the command that makes a record again.

    Examples
    --------
    >>> command_of(Question("farm.yaml", vary=(("gray_mold.humid_long", (6.0, 8.0)),)))
    'riskrules replay --farm farm.yaml --months 1-12 --vary gray_mold.humid_long=6,8'
    """
    words = ["riskrules", "replay", "--farm", q.farm, "--months", f"{q.months[0]}-{q.months[1]}"]
    for option, values in (
        ("store", [q.store]), ("journal", [q.journal]), ("season", q.seasons),
        ("block", q.blocks), ("profile", q.profiles), ("hazard", [q.hazard]),
        ("chosen-by", q.chosen_by), ("under", [q.under]), ("question", [q.question]),
    ):  # fmt: skip
        for value in values:
            words += [f"--{option}", value] if value else []
    for name, some in q.vary:
        words += ["--vary", f"{name}={','.join(f'{v:.12g}' for v in some)}" if some else name]
    return shlex.join(words)


def _as_process() -> None:
    """Let the pages go first, and hear of an interrupt however this was started."""
    signal.signal(signal.SIGINT, signal.default_int_handler)
    if hasattr(os, "nice"):
        os.nice(NICE)


if __name__ == "__main__":
    _as_process()
    sys.exit(main(sys.argv[1:]))
