"""Import cost: the science loads nothing heavier than numpy."""

import subprocess
import sys

import pytest


@pytest.mark.parametrize("heavy", ["scipy", "pandas", "pydantic", "metpy", "statsmodels"])
def test_science_loads_only_numpy_and_the_standard_library(heavy):
    program = f"import riskrules.science.printed, sys; sys.exit('{heavy}' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0
