"""Run the benchmarks: ``python -m benchmarks``, or ``python benchmarks/run.py``."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from importlib import import_module
from pathlib import Path
from time import perf_counter

ROOT = Path(__file__).resolve().parents[1]
if str(ROOT) not in sys.path:  # run as a file, Python only knows this folder
    sys.path.insert(0, str(ROOT))
from benchmarks.rows import Result, table  # noqa: E402

MODULES = {
    1: "against_reading", 2: "against_clips", 3: "one_more_hour", 4: "memory", 5: "cold_start",
    6: "many_logs", 7: "dashboard", 8: "archive",
}  # fmt: skip
WORDS = (
    "ratio: of medians, then of minima, then of processor time; timings are medians by the clock"
)


def arguments(words: Sequence[str] | None) -> argparse.Namespace:
    """Return the options."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument("--quick", action="store_true", help="few repetitions, under a minute")
    parser.add_argument(
        "--only", default="".join(map(str, MODULES)), help="numbers of benchmarks, such as 1 or 2,3"
    )
    parser.add_argument("--json", type=Path, help="write the results here, too")
    parser.add_argument("--imports", action="store_true", help="list the slowest imports")
    return parser.parse_args(words)


def chosen(only: str) -> list[int]:
    """Return the numbers asked for, in order.

    >>> chosen("3,1")
    [1, 3]
    """
    return [n for n in MODULES if str(n) in only]


def main(words: Sequence[str] | None = None) -> int:
    """Run what is asked for and print one table."""
    options = arguments(words)
    start = perf_counter()
    results: dict[int, Result] = {}
    for n in chosen(options.only):
        print(f"{n} {MODULES[n].replace('_', ' ')} ...", file=sys.stderr, flush=True)
        results[n] = import_module(f"benchmarks.{MODULES[n]}").run(options.quick)
        print(table(results[n].rows), file=sys.stderr, flush=True)  # lest an interruption lose it
    print(table([row for result in results.values() for row in result.rows]))
    print(f"\n{WORDS}; {perf_counter() - start:.0f} s in all")
    for n, result in results.items():
        for line in result.lines:
            print(f"{n}: {line}")
    if options.imports:
        from benchmarks.cold_start import imports

        print(imports())
    if options.json:
        write(options.json, results)
    return 0


def write(path: Path, results: dict[int, Result]) -> None:
    """Write the results as JSON."""
    found = {
        "rows": [row.as_json() for result in results.values() for row in result.rows],
        "notes": {str(n): list(result.lines) for n, result in results.items()},
    }
    path.write_text(json.dumps(found, indent=1), encoding="utf-8")


if __name__ == "__main__":
    raise SystemExit(main())
