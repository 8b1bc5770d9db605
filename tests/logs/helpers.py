"""Small invented logs and files for the tests of bad input."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from riskrules.errors import FileProblems, Problem
from riskrules.logs.readings import Readings

HEAD = "time,air_temperature [degC],relative_humidity [%]\n"
ROWS = "".join(f"2026-05-01T{h:02d}:00Z,{10 + h / 10},{80 + h}\n" for h in range(6))


def written(folder: Path, text: str | bytes, name: str = "log.csv") -> Path:
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def problems(act: Callable[[], object]) -> tuple[Problem, ...]:
    """What a call complains of; fails where it does not complain."""
    with pytest.raises(FileProblems) as caught:
        act()
    return caught.value.problems


def only(act: Callable[[], object]) -> Problem:
    """The one problem of a call."""
    found = problems(act)
    assert len(found) == 1, found
    return found[0]


def says(problem: Problem, file: str, line: int, *words: str) -> None:
    """A problem names its file, its line, and each of the words (value, what is expected)."""
    assert problem.file == file
    assert problem.line == line, problem
    for word in words:
        assert word in problem.message, f"{word!r} not in {problem.message!r}"


def notes(rows: Readings) -> list[str]:
    return [str(note) for note in rows.notes]
