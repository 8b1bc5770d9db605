"""5: from nothing to a printed review, against Python importing pandas."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence

from benchmarks.rows import Result, compared
from benchmarks.seasons import ROOT, SAMPLE
from benchmarks.timing import in_turns

NUMBER = 5
AIM = 2.5
"""Times `import pandas` that the command may take. (assumption)"""
COMMAND = (
    "-m", "riskrules.cli", "review", str(SAMPLE / "south_beds.csv"),
    "--farm", str(SAMPLE / "farm.yaml"),
)  # fmt: skip
BUSIEST = 15


def python(*words: str) -> subprocess.CompletedProcess[str]:
    """Run this Python in the checkout; CalledProcessError where it fails."""
    path = os.pathsep.join(filter(None, [str(ROOT), os.environ.get("PYTHONPATH", "")]))
    return subprocess.run(
        [sys.executable, *words], cwd=ROOT, env={**os.environ, "PYTHONPATH": path},
        check=True, capture_output=True, text=True,
    )  # fmt: skip


def run(quick: bool) -> Result:
    """Compare by the clock, each in a process of its own."""
    took = in_turns(
        {
            "review": lambda: python(*COMMAND),
            "pandas": lambda: python("-c", "import pandas"),
            "help": lambda: python("-m", "riskrules.cli", "--help"),
        },
        2 if quick else 7,
    )
    rows = (
        compared(NUMBER, "riskrules review south_beds.csv", took["review"], took["pandas"],
                 "import pandas", AIM, cpu=False),
        compared(NUMBER, "riskrules --help", took["help"], took["pandas"], "import pandas",
                 cpu=False),
    )  # fmt: skip
    return Result(rows)


def imports() -> str:
    """Return which modules took longest to import during the command, slowest first."""
    lines = python("-X", "importtime", *COMMAND).stderr.splitlines()
    found = [part for line in lines if (part := _import(line)) is not None]
    own = sorted(found, key=lambda f: -f[0])[:BUSIEST]
    whole = sorted(found, key=lambda f: -f[1])[:BUSIEST]
    total = sum(f[0] for f in found) / 1000
    said = [
        f"imports of the command: {total:,.0f} ms in all, {len(found)} modules",
        "by themselves:",
    ]
    said += _listed(own, 0)
    return "\n".join([*said, "with what they import:", *_listed(whole, 1)])


def _import(line: str) -> tuple[int, int, str] | None:
    """Return own and whole microseconds, and the module, of one line of -X importtime."""
    head, _, rest = line.partition(":")
    parts = rest.split("|")
    if head != "import time" or len(parts) != 3 or not parts[0].strip().isdigit():
        return None
    return int(parts[0]), int(parts[1]), parts[2].strip()


def _listed(found: Sequence[tuple[int, int, str]], which: int) -> list[str]:
    return [f"  {(own, whole)[which] / 1000:8.1f} ms  {name}" for own, whole, name in found]
