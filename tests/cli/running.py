"""Run a command the way people do, and read what it prints."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple
from unittest.mock import patch

from jsonschema import Draft202012Validator

from riskrules import review as review_module
from riskrules.cli import main
from riskrules.packs.load import Rulebook
from riskrules.schema_files import schema

ROOT = Path(__file__).resolve().parents[2]
CHECKER = Draft202012Validator(schema("review"))


SHIPPED = review_module.shipped_rulebook


@cache
def _shipped() -> Rulebook:
    return SHIPPED()


def _rulebook(profile: Path | None = None) -> Rulebook:
    """Return the shipped packs, read once for all tests: they do not change."""
    return SHIPPED(profile) if profile else _shipped()


class Ran(NamedTuple):
    """What a command gave back."""

    code: int
    out: str
    err: str


def run(*words: object) -> Ran:
    """Run a command in this process: everything but the start of Python is as on a terminal."""
    out, err = io.StringIO(), io.StringIO()
    with (
        patch.object(sys, "argv", ["riskrules", *map(str, words)]),
        patch.object(review_module, "shipped_rulebook", _rulebook),
        redirect_stdout(out),
        redirect_stderr(err),
    ):
        try:
            main()
            code = 0
        except SystemExit as stop:
            code = int(stop.code or 0)
    return Ran(code, out.getvalue(), err.getvalue())


def apart(*words: object, **environment: str) -> Ran:
    """Run a command in a process of its own, its output piped."""
    done = subprocess.run(
        [sys.executable, "-m", "riskrules.cli", *map(str, words)],
        capture_output=True,
        text=True,
        timeout=120,
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
    )
    return Ran(done.returncode, done.stdout, done.stderr)


def on_farm(folder: Path, *words: object, command: str = "review") -> Ran:
    """Run a command on all logs of a farm."""
    return run(command, folder, "--farm", folder / "farm.yaml", *words)


@cache
def seen(folder: Path, *words: object, command: str = "review") -> Ran:
    """Run a command on a farm that no test changes; the same command runs only once."""
    return on_farm(folder, *words, command=command)


def seen_json(folder: Path, *words: object) -> dict[str, Any]:
    """Return the JSON of the review of a farm that no test changes."""
    return checked(seen(folder, "--json", *words))


def reviewed(folder: Path, *words: object) -> dict[str, Any]:
    """Return the JSON of a farm's review, checked against its schema."""
    return checked(on_farm(folder, "--json", *words))


def checked(ran: Ran) -> dict[str, Any]:
    """Return the JSON that a command printed, checked against the schema."""
    assert ran.code == 0, ran.err
    found: dict[str, Any] = json.loads(ran.out, parse_constant=_refuse)
    troubles = [f"{e.json_path}: {e.message[:200]}" for e in CHECKER.iter_errors(found)]
    assert not troubles, troubles
    return found


def _refuse(name: str) -> None:
    raise AssertionError(f"{name} is no JSON")


def by_rule(found: dict[str, Any], block: str = "north") -> dict[str, dict[str, Any]]:
    """Return the findings of a block by rule."""
    return {f["rule"]: f for f in found["findings"] if f["block"] == block}


def state(found: dict[str, Any], block: str = "north") -> dict[str, Any]:
    """Return the state of a block."""
    return next(b for b in found["blocks"] if b["block"] == block)


def text_of(ran: Ran) -> str:
    """Return what a command printed as one line, whatever its width."""
    return " ".join(ran.out.split())
