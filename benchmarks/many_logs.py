"""6: reading and judging a thousand block-years of hourly logs against pandas' plain read."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

from benchmarks.rows import Result, Row, compared
from benchmarks.timing import in_turns
from riskrules.logs.judge import judge
from riskrules.logs.read import read_log
from riskrules.logs.typical_year import PREFIX, locate, read_typical_year

NUMBER = 6
AIM = 5.0
"""Times pandas' plain read that reading and judging may take. (the issue's aim)"""
MEMORY_AIM = 1.1
"""Times the peak memory after a tenth of the files that it may be after all. (assumption)"""
FILES, ROWS = 20, 8760
TYPICAL = f"{PREFIX}723170TYA.CSV"
COLUMNS = {
    "air_temperature": "air_temperature [degC]",
    "relative_humidity": "relative_humidity [%]",
    "surface_wetness": "surface_wetness [1]",
    "thickness_of_rainfall_amount": "rain [mm]",
    "wind_speed": "wind_speed [m/s]",
}


def write_logs(folder: Path, files: int = FILES) -> list[Path]:
    """Write logs of one year each: the typical year with small differences, by a fixed seed."""
    import pandas as pd

    rows = read_typical_year(locate(TYPICAL))
    random = np.random.default_rng(7)
    made = []
    for i in range(files):
        values = {n: rows.values[n] for n in COLUMNS if n in rows.values}
        values["air_temperature"] = np.round(
            values["air_temperature"] + random.normal(0, 0.3, len(rows)), 1
        )
        humidity = values["relative_humidity"] + random.normal(0, 1, len(rows))
        values["relative_humidity"] = np.clip(np.round(humidity), 1, 100)
        values["surface_wetness"] = (values["relative_humidity"] >= 92).astype(float)
        table = pd.DataFrame({COLUMNS[n]: values[n] for n in COLUMNS})
        stamps = pd.to_datetime(rows.time, unit="s", utc=True).strftime("%Y-%m-%dT%H:%MZ")
        table.insert(0, "time", stamps)
        path = folder / f"block_{i:03}.csv"
        table.to_csv(path, index=False)
        made.append(path)
    return made


def read_plain(paths: list[Path]) -> int:
    """Read files with pandas alone."""
    import pandas as pd

    return sum(len(pd.read_csv(path)) for path in paths)


def read_ours(paths: list[Path]) -> int:
    """Read and judge files one after the other, keeping none."""
    return sum(len(judge(read_log(path))) for path in paths)


def only_read(paths: list[Path]) -> int:
    """Read files with our reader and judge nothing."""
    return sum(len(read_log(path)) for path in paths)


WAYS: dict[str, Callable[[list[Path]], int]] = {"plain": read_plain, "ours": read_ours}


def run(quick: bool) -> Result:
    """Compare time in turns, and peak memory in processes of their own."""
    few, many = (20, 60) if quick else (100, 1000)
    with tempfile.TemporaryDirectory() as folder:
        paths = write_logs(Path(folder))
        took = in_turns(
            {"plain": partial(read_plain, paths), "reading": partial(only_read, paths),
             "ours": partial(read_ours, paths)}, 2 if quick else 7,
        )  # fmt: skip
        peaks = {(way, n): peak_of(way, folder, n) for way in WAYS for n in (few, many)}
    rows = (
        compared(NUMBER, f"read {FILES} block-years", took["reading"], took["plain"], "pandas"),
        compared(
            NUMBER, f"read and judge {FILES} block-years", took["ours"], took["plain"], "pandas",
            AIM,
        ),
        _memory(f"peak memory, {many} files", peaks["ours", many], peaks["ours", few],
                f"after {few}", MEMORY_AIM),
        _memory(f"peak memory, {many} files", peaks["ours", many], peaks["plain", many],
                "pandas", None),
    )  # fmt: skip
    return Result(rows, (f"{many:,} files are {many * ROWS / 1e6:.2f} million rows, each judged",))


def _memory(what: str, ours: float, other: float, name: str, aim: float | None) -> Row:
    ratio = ours / other
    return Row(NUMBER, what, ours, other, name, "MB", ratio, ratio, None, aim, False)


def peak_of(way: str, folder: str, files: int) -> float:
    """Return the peak memory of a process that reads so many files. [MB]"""
    words = [sys.executable, "-m", "benchmarks.many_logs", way, folder, str(files)]
    done = subprocess.run(words, capture_output=True, text=True, check=True, env=dict(os.environ))
    return float(done.stdout)


def main(words: list[str]) -> None:
    """Read files in this process and print its peak memory. [MB]"""
    way, folder, files = words
    paths = sorted(Path(folder).glob("*.csv"))
    for i in range(int(files)):
        WAYS[way]([paths[i % len(paths)]])
    print(peak_here())


def peak_here() -> float:
    """Return the peak memory of this process [MB]; that of `resource` includes our parent's."""
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("VmHWM"))


if __name__ == "__main__":
    main(sys.argv[1:])
