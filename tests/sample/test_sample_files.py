"""The sample logs: written by their script, small, and said to be invented."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

MOST_BYTES = 3_000_000


def files_of(folder: Path) -> dict[str, Path]:
    """Return every file by its path in the folder, without what tools leave behind."""
    found = {p.relative_to(folder): p for p in sorted(folder.rglob("*")) if p.is_file()}
    return {n.as_posix(): p for n, p in found.items()
            if not any(part[0] == "." or part == "__pycache__" for part in n.parts)}  # fmt: skip


@pytest.fixture(scope="module")
def written(sample_logs: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Return the files that the script writes into an empty folder."""
    folder = tmp_path_factory.mktemp("sample")
    script = sample_logs / "make_sample.py"
    subprocess.run([sys.executable, "-B", str(script), str(folder)], check=True, timeout=120)
    return files_of(folder)


def test_the_script_writes_what_is_committed_byte_for_byte(
    sample_logs: Path, written: dict[str, Path]
) -> None:
    committed = {n: p for n, p in files_of(sample_logs).items() if p.suffix != ".py"}
    assert sorted(written) == sorted(committed)
    for name, path in written.items():
        assert path.read_bytes() == committed[name].read_bytes(), name


def test_the_sample_is_under_three_megabytes(sample_logs: Path) -> None:
    assert sum(p.stat().st_size for p in files_of(sample_logs).values()) < MOST_BYTES


def test_every_file_says_in_its_first_line_that_it_is_invented(sample_logs: Path) -> None:
    for name, path in files_of(sample_logs).items():
        encoding = "latin-1" if name == "messy/hall_beds.csv" else "utf-8"
        first = path.read_text(encoding=encoding).splitlines()[0]
        assert "invented" in first.lower(), f"{name}: {first}"


def test_every_log_and_forecast_ends_its_lines_the_same_way_everywhere(
    written: dict[str, Path],
) -> None:
    assert all(b"\r" not in path.read_bytes() for path in written.values())


def test_every_row_of_a_forecast_says_so_and_no_row_of_a_log_does(written: dict[str, Path]) -> None:
    for name, path in written.items():
        if path.suffix != ".csv" or name.endswith("events.csv") or name.startswith("messy/"):
            continue
        header, *rows = [r for r in path.read_text("utf-8").splitlines() if r[:1] != "#"]
        forecast = name.startswith("forecast")
        assert header.endswith(",forecast") is forecast, name
        assert rows, name
        assert not forecast or all(row.endswith(",1") for row in rows), name
