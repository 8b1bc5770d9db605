"""One writer at a time: a lock that dies with its process, and a word on who holds it."""

from __future__ import annotations

import contextlib
import json
import os
import socket
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from riskrules.logs.store.files import cannot_write, trouble

LOCK = "writer.lock"
HOLDER = "writer.json"


@contextlib.contextmanager
def writing(folder: Path, wait: float) -> Iterator[None]:
    """Hold the store's lock; LogError names the holder where it is not free within ``wait`` [s].

    The system frees the lock when the process ends, however it ends.
    """
    from filelock import FileLock, Timeout

    lock = FileLock(folder / LOCK, timeout=wait, thread_local=False)
    try:
        lock.acquire()
    except Timeout:
        message = f"{_holder(folder)} is writing; waited {wait:g} s. Wait for it, or end it"
        raise trouble(folder, message) from None
    except OSError as error:
        raise cannot_write(folder / LOCK, error) from None
    try:
        _say_who(folder)
        yield
    finally:
        with contextlib.suppress(OSError):
            (folder / HOLDER).unlink()
        lock.release()


def _say_who(folder: Path) -> None:
    said = {"pid": os.getpid(), "host": socket.gethostname(), "since": int(time.time())}
    with contextlib.suppress(OSError):  # only a courtesy: a full disk is found elsewhere
        (folder / HOLDER).write_text(json.dumps(said), encoding="utf-8")


def _holder(folder: Path) -> str:
    try:
        said = json.loads((folder / HOLDER).read_text(encoding="utf-8"))
        since = datetime.fromtimestamp(said["since"], UTC).strftime("%Y-%m-%d %H:%M:%SZ")
        return f"process {said['pid']} on {said['host']}, since {since},"
    except (OSError, ValueError, KeyError, TypeError):
        return "another process"
