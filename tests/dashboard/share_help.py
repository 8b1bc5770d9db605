"""``riskrules dashboard --share`` as a real process, for tests: import from here."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from dash_help import ROOT, free_port

START_S = 90


@dataclass(frozen=True, slots=True)
class Shared:
    """What runs: the front's address, that of the pages, the first code, and all it printed."""

    front: str
    pages: str
    code: str | None
    printed: str

    def __iter__(self) -> Iterator[str | None]:
        """Give the three addresses."""
        return iter((self.front, self.pages, self.code))


@contextmanager
def shared(farm: Path, tmp_path: Path, *more: str, port: int | None = None) -> Iterator[Shared]:
    """Start the command in a folder, wait until it is ready, and stop it afterwards."""
    ports = free_port(), port or free_port()
    env = {**os.environ, "PYTHONPATH": str(ROOT), "RISKRULES_HOME": str(tmp_path / "home")}
    out = tmp_path / "out.txt"
    with out.open("wb") as file:
        child = subprocess.Popen(
            [sys.executable, "-m", "riskrules.cli", "dashboard", "--farm", str(farm), "--port",
             str(ports[0]), "--address", "127.0.0.1", "--share-port", str(ports[1]),
             *(more or ("--share",))],
            stdout=file, stderr=file, env=env, cwd=tmp_path,
        )  # fmt: skip
    try:
        end = time.monotonic() + START_S
        while "Ctrl-C stops all." not in (text := out.read_text()) and time.monotonic() < end:
            assert child.poll() is None, text
            time.sleep(0.1)
        found = re.search(r"https://\S+/pair\?code=\S+", text)
        urls = f"https://127.0.0.1:{ports[1]}", f"http://127.0.0.1:{ports[0]}"
        yield Shared(*urls, found[0] if found else None, text)
    finally:
        child.terminate()
        child.wait(30)
    with pytest.raises(OSError), socket.create_connection(("127.0.0.1", ports[0]), timeout=5):
        pass  # the server of pages was left running


def paired(page, code: str) -> None:  # type: ignore[no-untyped-def]
    """Let a browser's page in by a pairing address."""
    page.goto(code)
    page.get_by_role("button", name="Let this device in").click()
