"""The invented farms, written once for all tests that do not change them."""

from __future__ import annotations

from pathlib import Path

import pytest
from cli.farm_files import make

from .messy import logs, messy_farm


@pytest.fixture(scope="session")
def messy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a farm whose logs are in its store already; not to be changed."""
    folder = messy_farm(tmp_path_factory.mktemp("messy"))
    ran = logs(folder, "read", folder)
    assert ran.code == 0, ran
    return folder


@pytest.fixture(scope="session")
def tidy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a farm without a store, whose logs have no trouble; not to be changed."""
    return make(tmp_path_factory.mktemp("tidy"))
