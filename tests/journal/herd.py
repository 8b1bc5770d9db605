"""Processes that write into one journal at once, and are killed: run as a program of its own.

It imports once and forks, so that three hundred rounds take minutes. Each writer notes what was
acknowledged in a file, after the journal has said so.
"""

from __future__ import annotations

import os
import random
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path
from uuid import UUID

from sqlalchemy import make_url

from riskrules.journal.records import Irrigation, Note, Pick, Record
from riskrules.journal.store import JournalError, open_journal

BODIES = (Pick(weight_kg=80), Note(text="no slugs"), Irrigation(method="drip"))


def batch(chance: random.Random, name: str, number: int, before: list[Record]) -> list[Record]:
    """Return one to three records; the last of them may correct an earlier one."""
    size = chance.randint(1, 3)
    found = []
    for i in range(size):
        known = UUID(int=chance.getrandbits(128), version=4)
        correct = before and i == size - 1 and chance.random() < 0.3
        found.append(
            Record(
                id=known,
                block="north",
                time=1_781_000_000 + number,
                body=chance.choice(BODIES),
                who=name,
                made=1_781_000_000,
                replaces=chance.choice(before).id if correct else None,
                why="looked again" if correct else "",
                note=f"{name}:{number}:{size}",
            )
        )
    return found


def write(url: str, folder: Path, name: str, seed: int, stop: Path) -> None:
    """Write until told to stop, or killed; what was not acknowledged is sent again."""
    chance = random.Random(seed)
    log = os.open(folder / f"acknowledged-{name}", os.O_CREAT | os.O_APPEND | os.O_WRONLY)
    before: list[Record] = []
    journal, number = None, 0
    while not stop.exists():
        number += 1
        records = batch(chance, name, number, before)
        while True:
            try:
                journal = journal or open_journal(url)
                journal.add(records + before[-1:])
                break
            except JournalError:
                if stop.exists():
                    return
                time.sleep(0.05)
        os.write(log, "".join(f"{r.id}\n" for r in records).encode())
        before = (before + records)[-9:]


def whole(url: str, folder: Path) -> None:
    """Fail where something acknowledged is gone, doubled or in pieces, or the check complains."""
    with open_journal(url) as journal:
        stored = journal.since(0)
        wrong = journal.check()
    ids = [str(s.record.id) for s in stored]
    said = [line for path in folder.glob("acknowledged-*") for line in path.read_text().split()]
    lost = set(said) - set(ids)
    assert not lost, f"{len(lost)} acknowledged records are gone"
    assert len(ids) == len(set(ids)), "records are doubled"
    assert not wrong, wrong
    pieces: dict[str, int] = {}
    for each in stored:
        pieces[each.record.note] = pieces.get(each.record.note, 0) + 1
    assert all(count == int(note.split(":")[2]) for note, count in pieces.items()), "half a batch"
    (folder / "counts").write_text(f"{len(said)} {len(ids)}")


def forked(act: Callable[[], None]) -> int:
    """Do something in a process of its own, and return its identifier."""
    child = os.fork()
    if child:
        return child
    code = 1
    try:
        act()
        code = 0
    except AssertionError as error:
        print(error, file=sys.stderr)
    finally:
        os._exit(code)


def killed_rounds(url: str, folder: Path, writers: int, rounds: int, seed: int) -> None:
    """Let writers write, kill each at a random moment, look at what is left; again and again."""
    chance = random.Random(seed)
    for turn in range(rounds):
        herd = []
        for i in range(writers):
            name, own = f"w{turn}x{i}", chance.getrandbits(60)
            herd.append(
                forked(lambda name=name, own=own: write(url, folder, name, own, folder / "never"))
            )
        _wait_for_the_first(folder, f"acknowledged-w{turn}x*")
        for child in herd:
            time.sleep(chance.random() * 0.05)
            os.kill(child, signal.SIGKILL)
        for child in herd:
            os.waitpid(child, 0)
        _, code = os.waitpid(forked(lambda: whole(url, folder)), 0)
        if code:
            raise SystemExit(f"round {turn} left the journal broken")


def _wait_for_the_first(folder: Path, names: str) -> None:
    """Wait until some writer had something acknowledged, so that the kills hit their writing."""
    until = time.monotonic() + 60
    while not any(path.stat().st_size for path in folder.glob(names)):
        if time.monotonic() > until:
            raise SystemExit("nothing was acknowledged for a minute")
        time.sleep(0.005)


def until_stopped(url: str, folder: Path, writers: int, seed: int) -> None:
    """Let writers write until the file ``stop`` is there; they outlive a server that is killed."""
    stop = folder / "stop"
    herd = [forked(lambda i=i: write(url, folder, f"s{i}", seed + i, stop)) for i in range(writers)]
    codes = [os.waitpid(child, 0)[1] for child in herd]
    if any(codes):
        raise SystemExit(f"writers failed: {codes}")


def main() -> None:
    """Run one of both, as the command line says."""
    mode, url, folder, *numbers = sys.argv[1:]
    make_url(url if "://" in url else "sqlite://").get_dialect().import_dbapi()  # once, for all
    if mode == "killed":
        killed_rounds(url, Path(folder), *(int(n) for n in numbers))
    else:
        until_stopped(url, Path(folder), *(int(n) for n in numbers))


if __name__ == "__main__":
    main()
