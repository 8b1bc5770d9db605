"""Servers, farms and pictures for the tests of the dashboard: import from here."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
ARGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
WIDTHS = {390: 844, 1440: 900}
START_S = 40.0


def copy_sample(folder: Path) -> Path:
    """Copy the invented sample farm into a folder, with an empty journal named."""
    folder.mkdir(parents=True)
    for path in (ROOT / "sample_logs").iterdir():
        if path.suffix in (".csv", ".yaml"):
            shutil.copy(path, folder / path.name)
    file = folder / "farm.yaml"
    file.write_text(file.read_text(encoding="utf-8") + "journal: journal.db\n", encoding="utf-8")
    return file


def be(monkeypatch: pytest.MonkeyPatch, role: str | None) -> None:
    """Let whoever looks at pages under test be of a role; None: nobody known."""
    from dashboard import who
    from riskrules.door.people import Visitor

    visitor = Visitor(role, "device" if role else "stranger", "a test")  # type: ignore[arg-type]
    monkeypatch.setattr(who, "visitor", lambda farm_file: visitor)


def free_port() -> int:
    """Return a port that nothing listens on."""
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


@dataclass(frozen=True, slots=True)
class Server:
    """A running server of pages."""

    url: str
    pid: int
    log: Path


def start_server(
    farm: Path | None, folder: Path, more: dict[str, str] | None = None, clock: int | None = None
) -> tuple[Server, subprocess.Popen[bytes]]:
    """Start ``streamlit run dashboard/app.py`` and wait until it answers.

    Its clock is that of this computer, or begins at ``clock``. [s since 1970 UTC]
    """
    port, log = free_port(), folder / f"server{time.monotonic_ns()}.log"
    env = {**os.environ, "PYTHONPATH": str(ROOT), "RISKRULES_HOME": str(folder), **(more or {})}
    env.pop("RISKRULES_FARM", None)
    if farm is not None:
        env["RISKRULES_FARM"] = str(farm)
    own = [str(Path(__file__).with_name("clock_server.py")), str(clock)]
    words = ["-m", "streamlit"] if clock is None else own
    with log.open("wb") as out:
        child = subprocess.Popen(
            [sys.executable, *words, "run", str(ROOT / "dashboard" / "app.py"),
             "--server.port", str(port), "--server.headless", "true"],
            stdout=out, stderr=out, env=env, cwd=folder,
        )  # fmt: skip
    wait_for(f"http://127.0.0.1:{port}/_stcore/health", child, log)
    return Server(f"http://127.0.0.1:{port}", child.pid, log), child


def wait_for(url: str, child: subprocess.Popen[bytes], log: Path) -> None:
    """Wait until a server answers, or fail with what it wrote."""
    end = time.monotonic() + START_S
    while time.monotonic() < end and child.poll() is None:
        with suppress(OSError), urllib.request.urlopen(url, timeout=2) as answer:
            if answer.status == 200:
                return
        time.sleep(0.1)
    child.kill()
    pytest.fail(f"no answer from {url}: {log.read_text(encoding='utf-8')[-3000:]}")


def settled(page) -> None:  # type: ignore[no-untyped-def]
    """Wait until Streamlit has drawn a page and runs nothing."""
    page.wait_for_selector("[data-testid=stApp]")
    page.wait_for_selector("[data-testid=stMain] h1, [data-testid=stException]")
    page.wait_for_function(
        "() => document.querySelector('[data-testid=stApp]')"
        ".getAttribute('data-test-script-state') === 'notRunning'"
        # what draws a piece is loaded when it is first needed
        " && !document.querySelector('[data-testid=stSkeleton]')"
    )


def choose(page, label: str, option: str) -> None:  # type: ignore[no-untyped-def]
    """Choose from a list: its letters narrow it down."""
    box = page.get_by_role("combobox", name=label)
    box.click()
    box.fill(option)
    page.get_by_role("option", name=option, exact=True).click()
    page.wait_for_timeout(300)
    settled(page)


def shoot(page, name: str, width: int) -> Path:  # type: ignore[no-untyped-def]
    """Write a picture of a whole page into the folder named by RISKRULES_SHOTS."""
    folder = Path(os.environ.get("RISKRULES_SHOTS", ROOT / "build" / "shots"))
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{name}_{width}.png"
    whole = page.evaluate(
        "() => Math.max(innerHeight, (document.querySelector('[data-testid=stMain]') "
        "|| document.body).scrollHeight)"
    )
    page.set_viewport_size({"width": width, "height": min(int(whole) + 20, 6000)})
    page.wait_for_timeout(300)
    page.screenshot(path=path)
    page.set_viewport_size({"width": width, "height": WIDTHS.get(width, 900)})
    return path
