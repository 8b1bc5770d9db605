"""What a result rests on beside its input: our code, the packages it runs on, and the rules."""

from __future__ import annotations

import hashlib
import json
import platform
from collections.abc import Mapping
from dataclasses import asdict
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from riskrules import __version__
from riskrules.engine.evaluate import engine_version
from riskrules.packs.load import Rulebook
from riskrules.plugins import more_kinds
from riskrules.shipped import rulepacks_folder

PARTS = (
    "*.py", "engine/*.py", "facts/*.py", "findings/*.py", "logs/**/*.py", "packs/*.py",
    "science/*.py", "worklist/*.py", "tuning/answers.py", "tuning/columns.py",
    "tuning/inputs.py", "tuning/kept.py", "tuning/replay.py", "tuning/rows.py",
    "tuning/seasons.py",
)  # fmt: skip
"""Those files of the package that can change what a replay of a block-season finds."""
LEFT_OUT = ("cli", "show", "report")
"""Beginnings of names of files at the top that only show."""


@lru_cache(maxsize=1)
def code_version() -> str:
    """Return one hash of our code, the jobs that ship with it, and the packages that it rests on.

    Two processes that have the same one find the same in the same input.
    """
    root = Path(__file__).parents[1]
    made = hashlib.sha256()
    files = {path for part in PARTS for path in root.glob(part)}
    kept = (p for p in files if not (p.parent == root and p.name.startswith(LEFT_OUT)))
    named = sorted((p.relative_to(root).as_posix(), p) for p in kept)
    for name, path in [*named, ("jobs", rulepacks_folder() / "jobs.yaml")]:
        raw = path.read_bytes().replace(b"\r\n", b"\n")
        made.update(f"{name} {len(raw)}\n".encode() + raw)
    made.update(json.dumps([engine_version(), package("numpy")]).encode())
    made.update(repr(sorted(kind.name for kind, _ in more_kinds())).encode())
    return made.hexdigest()


def rules_version(books: Mapping[str, Rulebook]) -> str:
    """Return one hash of all that the rules and thresholds of some profiles say."""
    said = [[name, _said(books[name])] for name in sorted(books)]
    return hashlib.sha256(json.dumps(said).encode()).hexdigest()


def _said(book: Rulebook) -> list[Any]:
    packs = [
        [
            pack.name,
            [asdict(t) for _, t in sorted(pack.thresholds.items())],
            [rule.text.model_dump(mode="json") for rule in pack.rules],
        ]
        for pack in book.packs
    ]
    return [book.profile, packs, [asdict(t) for _, t in sorted(book.shared.items())]]


def versions() -> dict[str, str]:
    """Return the versions to write down beside a result."""
    return {
        "riskrules": __version__,
        "code": code_version()[:16],
        "rule engine": engine_version(),
        "Python": platform.python_version(),
        "numpy": package("numpy"),
        "pyarrow": package("pyarrow"),
    }


def package(name: str) -> str:
    """Return the version of an installed package, or that it is not installed.

    Examples
    --------
    >>> package("no-such-package-of-ours")
    'not installed'
    """
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed"
