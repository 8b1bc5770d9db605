"""The invented farm, written once for all tests that do not change it."""

from __future__ import annotations

from pathlib import Path

import pytest

from .farm_files import make


@pytest.fixture(scope="session")
def two_beds(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of the invented farm; not to be changed."""
    return make(tmp_path_factory.mktemp("two_beds"))
