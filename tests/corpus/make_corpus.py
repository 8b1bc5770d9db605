"""Write the corpus of broken and odd logs: `python -m tests.corpus.make_corpus FOLDER`."""

from __future__ import annotations

import sys
from pathlib import Path

from . import cases_dialect, cases_packed, cases_rows, cases_values
from .case import Case


def all_cases() -> list[Case]:
    """Every case of the corpus, each with a name of its own."""
    modules = (cases_dialect, cases_rows, cases_values, cases_packed)
    found = [case for module in modules for case in module.cases()]
    names = [case.name for case in found]
    assert len(set(names)) == len(names), sorted(n for n in names if names.count(n) > 1)
    return found


def write(folder: Path) -> dict[str, Path]:
    """Write each case's file into a folder of its own; return the paths by the case's name."""
    paths = {}
    for case in all_cases():
        path = folder / case.name / case.file
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(case.data)
        paths[case.name] = path
    return paths


if __name__ == "__main__":
    print(f"{len(write(Path(sys.argv[1]))):,} files in {sys.argv[1]}")
