"""axe-core from the npm registry, laid over a page in a real browser."""

from __future__ import annotations

import os
import shutil
import subprocess
import tarfile
from functools import lru_cache
from pathlib import Path
from tempfile import gettempdir

import pytest

VERSION = "4.14.1"
SERIOUS = ("serious", "critical")


@lru_cache(maxsize=1)
def script() -> str:
    """Return axe-core's script; skip where there is no npm to fetch it with."""
    folder = Path(os.environ.get("RISKRULES_AXE", Path(gettempdir()) / f"riskrules-axe-{VERSION}"))
    packed = folder / f"axe-core-{VERSION}.tgz"
    if not packed.exists():
        if shutil.which("npm") is None:
            pytest.skip("npm is not installed: axe-core cannot be fetched")
        folder.mkdir(parents=True, exist_ok=True)
        subprocess.run(
            ["npm", "pack", f"axe-core@{VERSION}", "--silent"], cwd=folder, check=True, timeout=300
        )
    with tarfile.open(packed) as archive:
        member = archive.extractfile("package/axe.min.js")
        assert member is not None
        return member.read().decode("utf-8")


def troubles(page) -> list[str]:  # type: ignore[no-untyped-def]
    """Return axe-core's serious and critical troubles on a page, one line a place."""
    page.evaluate(script())
    found = page.evaluate("() => axe.run(document, {resultTypes: ['violations']})")
    assert found["passes"], "axe-core checked nothing"
    return [
        f"{v['impact']} {v['id']}: {v['help']} at {node['target']} ({node['html'][:160]})"
        for v in found["violations"] if v["impact"] in SERIOUS
        for node in v["nodes"]
    ]  # fmt: skip
