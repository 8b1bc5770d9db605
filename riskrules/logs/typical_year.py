"""Read the typical meteorological year that the package pvlib ships: real hourly weather.

The file is public data (a TMY3 year). We read it from where pvlib is installed, without
importing pvlib.
"""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

from riskrules.logs.formats.source import fail
from riskrules.logs.formats.weather_kinds import LAID_ON
from riskrules.logs.formats.weather_year import read_on
from riskrules.logs.mapping import LogMapping
from riskrules.logs.read import read_raw
from riskrules.logs.readings import Readings

PREFIX = "pvlib:"


def locate(name: str) -> Path:
    """Return the path of ``pvlib:FILE``; LogError where pvlib or the file is missing."""
    spec = find_spec("pvlib")
    if spec is None or spec.origin is None:
        raise fail(name, "pvlib is not installed; expected `pip install riskrules[weather]`")
    path = Path(spec.origin).parent / "data" / name.removeprefix(PREFIX)
    if not path.exists():
        raise fail(name, f"no such file in {path.parent}")
    return path


def read_typical_year(path: Path, year: int = LAID_ON) -> Readings:
    """Read a TMY3 or EPW file, its rows laid on one calendar year in local standard time.

    Each row stands for the hour that ends at its time (24:00 belongs to its date).

    Raises
    ------
    LogError
        Where the file is no such year.
    """
    rows = read_raw(read_on(path, path.name, year), LogMapping())
    rows.notes[:] = [n for n in rows.notes if n.doubts]  # how it was laid, this says above
    return rows
