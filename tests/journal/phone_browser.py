"""Real Chromium for the tests of the walk form, with a fresh profile and no network of its own."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from uuid import UUID

from riskrules.journal.phone import form_html
from riskrules.journal.records import Record, Walk
from riskrules.journal.symptoms import load_symptoms

from .small_records import at

CHROMIUM = Path("/usr/bin/chromium")
ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
WALK = UUID("1b671a64-40d5-491e-99b0-da01ff1f3341")
PLANNED = at("2026-06-10 06:00")
GRAY = "Gray mold: ripe fruit"
LEATHER = "Leather rot: green fruit"


def planned(**more: Any) -> Record:
    """Return an invented walk of three stops that looks for two symptoms."""
    body = Walk(
        pattern="random",
        seed=1,
        per_stop=10,
        stops=((1, 1, 12.0), (2, 2, 30.5), (3, 4, 7.0)),
        symptoms=("gray_mold", "leather_rot"),
    )
    values = {"block": "north", "time": PLANNED, "made": PLANNED, "who": "lead"} | more
    return Record(id=WALK, body=body, **values)


def written_form(folder: Path, **more: Any) -> str:
    """Write the form into a folder and return its address as a file."""
    said = {"farm": "Invented farm", "block": "North beds", "who": "Scout One"} | more
    path = folder / "walk.html"
    path.write_text(form_html(walk=planned(), symptoms=load_symptoms(), **said), encoding="utf-8")
    return path.as_uri()


@contextmanager
def phone(playwright: Any, profile: Path, **more: Any) -> Iterator[Any]:
    """Open Chromium as a phone would be: a small screen, and a profile that lasts."""
    size = {"width": 390, "height": 844}
    context = playwright.chromium.launch_persistent_context(
        profile, executable_path=CHROMIUM, args=ARGS, viewport=size, accept_downloads=True, **more
    )
    try:
        yield context
    finally:
        context.close()


def processes_of(profile: Path) -> list[int]:
    """Return the browser's own processes: those whose command line names this profile."""
    found = []
    for entry in Path("/proc").iterdir():
        try:
            words = (entry / "cmdline").read_bytes() if entry.name.isdigit() else b""
        except OSError:
            continue
        if f"--user-data-dir={profile}".encode() in words.split(b"\0"):
            found.append(int(entry.name))
    return found


def kill(profile: Path) -> None:
    """End the browser of a profile as a dead battery does."""
    for number in processes_of(profile):
        os.kill(number, signal.SIGKILL)


def tap(page: Any, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click()


def kept(page: Any) -> None:
    """Wait until the form says that all is kept on the phone."""
    page.wait_for_function(
        "() => document.getElementById('kept').textContent.startsWith('Kept on')"
    )


def count(page: Any, title: str, what: str) -> str:
    return str(page.get_by_role("textbox", name=f"{what}, {title}", exact=True).input_value())


def opened(context: Any, address: str) -> Any:
    """Open the form in a new window that fails the test at any error of the page."""
    page = context.new_page()
    page.errors = []
    page.on("pageerror", lambda error: page.errors.append(str(error)))
    page.on("console", lambda said: page.errors.append(said.text) if said.type == "error" else None)
    page.on("dialog", lambda box: (page.errors.append(f"dialog {box.message}"), box.dismiss()))
    page.goto(address)
    page.wait_for_selector("#foot button")
    return page
