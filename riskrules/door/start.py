"""Start the server of pages on this computer alone, and the front before it where shared."""

from __future__ import annotations

import os
import secrets
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from riskrules.errors import RiskRulesError

if TYPE_CHECKING:
    from riskrules.journal.serve import Receiver

UPLOAD_MB = 50
"""Largest upload: a logger's file of many years. [MB] (assumption)"""
START_S = 60.0
"""How long the server of pages may take to answer first. [s] (assumption)"""
LOCAL = ("localhost", "127.0.0.1", "::1")


@dataclass(frozen=True, slots=True)
class Opening:
    """What is opened: a farm file, its store and journal where given, and the port of the pages."""

    farm: Path | None = None
    store: Path | None = None
    journal: str | None = None
    port: int = 8501


def app_file() -> Path:
    """Return the dashboard's entry: inside the wheel, or beside the package in a checkout.

    Raises
    ------
    RiskRulesError
        If it is in neither place.
    """
    package = Path(__file__).resolve().parents[1]
    for found in (package / "dashboard_app" / "app.py", package.parent / "dashboard" / "app.py"):
        if found.is_file():
            return found
    raise RiskRulesError(f"{package}: no dashboard; expected dashboard_app/app.py in the package")


def words_of_server(port: int, hosts: Sequence[str] = ()) -> list[str]:
    """Return the command that starts the server of pages: here only, headless, telling nobody."""
    options = {
        "server.address": "127.0.0.1",
        "server.port": str(port),
        "server.headless": "true",
        "server.enableXsrfProtection": "true",
        "server.enableCORS": "true",
        "server.maxUploadSize": str(UPLOAD_MB),
        "server.fileWatcherType": "none",
        "browser.gatherUsageStats": "false",
        "client.toolbarMode": "minimal",
        "client.showErrorDetails": "none",
    }
    said = [word for name, value in options.items() for word in (f"--{name}", value)]
    for host in dict.fromkeys((*LOCAL, *hosts)):
        said += ["--server.allowedHosts", host]
    return [sys.executable, "-m", "streamlit", "run", str(app_file()), *said]


def environment(opening: Opening, more: dict[str, str] | None = None) -> dict[str, str]:
    """Return the environment of the server of pages: which farm is open, and what the front says.

    What an earlier front left in this environment is not handed on.
    """
    root = str(Path(__file__).resolve().parents[2])
    env = {k: v for k, v in os.environ.items() if not k.startswith("RISKRULES_FRONT")}
    env["PYTHONPATH"] = os.pathsep.join(filter(None, [root, env.get("PYTHONPATH", "")]))
    named = {
        "RISKRULES_FARM": opening.farm and str(opening.farm.absolute()),
        "RISKRULES_STORE": opening.store and str(opening.store.absolute()),
        "RISKRULES_JOURNAL": opening.journal,
    }
    return env | {k: v for k, v in named.items() if v} | (more or {})


def check_port(address: str, port: int) -> None:
    """Refuse a port that is taken.

    Raises
    ------
    RiskRulesError
    """
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as tried:
        tried.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            tried.bind((address, port))
        except OSError as error:
            said = error.strerror or str(error)
            raise RiskRulesError(f"{address}:{port}: {said}; expected a free --port") from None


def start_pages(
    opening: Opening, hosts: Sequence[str] = (), more: dict[str, str] | None = None
) -> subprocess.Popen[bytes]:
    """Start the server of pages and return it once it answers.

    Raises
    ------
    RiskRulesError
        If it ends, or does not answer in time.
    """
    check_port("127.0.0.1", opening.port)
    child = subprocess.Popen(
        words_of_server(opening.port, hosts),
        env=environment(opening, more),
        stdout=subprocess.DEVNULL,
        stdin=subprocess.DEVNULL,
    )
    try:
        _wait(child, opening.port)
    except BaseException:
        stop(child)
        raise
    return child


def _wait(child: subprocess.Popen[bytes], port: int) -> None:
    end = time.monotonic() + START_S
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    while time.monotonic() < end:
        if child.poll() is not None:
            raise RiskRulesError(f"the server of pages ended (exit {child.returncode})")
        with suppress(OSError):
            with opener.open(f"http://127.0.0.1:{port}/_stcore/health", timeout=2) as answer:
                if answer.status == 200:
                    return
        time.sleep(0.1)
    raise RiskRulesError(f"the server of pages did not answer within {START_S:.0f} s")


def start_records(journal: str | None, farm: Path | None, hosts: Sequence[str]) -> Receiver | None:
    """Start the journal's own small server for walk forms, on this computer alone.

    ``hosts``, with their port, are those of the front before it. None without a journal.

    Raises
    ------
    JournalError
        If the journal cannot be opened.
    """
    if journal is None or farm is None:
        return None
    from riskrules.farm import load_farm
    from riskrules.journal.serve import Farm, receive

    known = load_farm(farm)
    return receive(journal, farm=Farm(known.text.farm, known.zone), names=hosts)


def port_of(url: str) -> int:
    """Return the port of an address.

    Examples
    --------
    >>> port_of("http://127.0.0.1:8010")
    8010
    """
    return urlsplit(url).port or 80


def stop(child: subprocess.Popen[bytes]) -> None:
    """Stop a child process and wait for its end."""
    child.terminate()
    try:
        child.wait(5)
    except subprocess.TimeoutExpired:
        child.kill()
        child.wait()


def new_secret() -> str:
    """Return a secret that the front and the server of pages share until they stop."""
    return secrets.token_urlsafe(32)
