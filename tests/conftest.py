"""What all tests share: how long they may take, and where the shipped files are."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

LONG = os.environ.get("RISKRULES_LONG") == "1"
WANTS = {
    "long": "a long test: set RISKRULES_LONG=1 to run it",
    "heavy": "builds or installs packages: set RISKRULES_LONG=1 to run it",
}

# In short the same cases every time; in full new ones each time.
settings.register_profile("default", max_examples=50, deadline=None, derandomize=True)
settings.register_profile("long", max_examples=200, deadline=None, print_blob=True)
settings.load_profile("long" if LONG else "default")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Skip the long and the heavy tests unless they are asked for."""
    if LONG:
        return
    for item in items:
        for name, reason in WANTS.items():
            if item.get_closest_marker(name):
                item.add_marker(pytest.mark.skip(reason=reason))


@pytest.fixture(scope="session")
def checkout() -> Path:
    """Return the folder of the checkout."""
    return Path(__file__).resolve().parents[1]


@pytest.fixture(scope="session")
def sample_logs(checkout: Path) -> Path:
    """Return the folder of the invented sample logs."""
    return checkout / "sample_logs"


@pytest.fixture(scope="module")
def playwright() -> Iterator[Any]:
    """Return what drives browsers: one a module, as no two can be open in a process."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as made:
        yield made
