"""constraints.txt pins every package, and names no place to get it from."""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import distributions
from pathlib import Path

import pytest

NOT_OURS = {"pip", "riskrules"}
"""pip comes with Python; riskrules is what is installed."""


def plain(name: str) -> str:
    """Return a package's name as the packaging standard compares it."""
    return re.sub(r"[-_.]+", "-", name).lower()


@pytest.fixture(scope="module")
def pins(checkout: Path) -> dict[str, str]:
    lines = (checkout / "constraints.txt").read_text().splitlines()
    pinned = [line.split("==") for line in lines if line and not line.startswith("#")]
    return {plain(name): version for name, version in pinned}


def test_it_holds_pins_only_and_no_address(checkout):
    for line in (checkout / "constraints.txt").read_text().splitlines():
        assert line.startswith("# ") or re.fullmatch(r"[a-z0-9-]+==[0-9][0-9a-z.]*", line), line
        assert not re.search(r"://|www\.|@|--|sha256|[0-9a-f]{32}", line), line


def test_every_dependency_is_pinned(checkout, pins):
    project = tomllib.loads((checkout / "pyproject.toml").read_text())["project"]
    wanted = list(project["dependencies"])
    for extra in project["optional-dependencies"].values():
        wanted += extra
    names = {plain(re.match(r"[A-Za-z0-9_.-]+", text)[0]) for text in wanted}
    assert len(names) > 20
    assert names <= set(pins)


def test_what_start_py_installed_has_the_pinned_versions(checkout, pins):
    """Here, where the tests run, if this environment is one that start.py made."""
    import sys

    if not list(Path(sys.prefix).glob("ready-test.stamp")):
        pytest.skip("not in an environment that 'start.py test' made")
    here = {plain(d.metadata["Name"]): d.version for d in distributions()}
    # A new environment of Python 3.11 brings a setuptools along; ours only builds.
    wrong = {
        name: version
        for name, version in here.items()
        if name not in NOT_OURS | {"setuptools"} and pins.get(name) != version
    }
    assert wrong == {}
