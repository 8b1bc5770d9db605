"""Run a replay in a process of its own, to be watched, starved or killed by a test.

``python -m tests.tuning.runs_it ARCHIVE OUT WORKERS [SLOW_S] [BYTES]``: WORKERS is a number, or the
address of a scheduler; SLOW_S is slept after each block-season; BYTES is the most that a file may
have (a disk that is full, as the process sees it).
"""

from __future__ import annotations

import resource
import sys
import time
from pathlib import Path

from riskrules.errors import RiskRulesError
from riskrules.review import shipped_rulebook
from riskrules.tuning.archive import open_archive
from riskrules.tuning.cluster import Tally, Where, Work, run


def main(words: list[str]) -> int:
    archive, out, workers, *more = words
    slow, most = float(more[0]) if more else 0.0, int(more[1]) if len(more) > 1 else 0
    if most:
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))

    def tell(tally: Tally) -> None:
        print(f"{tally.kept} {tally.done}", flush=True)
        time.sleep(slow if tally.done else 0)

    work = Work(open_archive(Path(archive)), {"shipped": shipped_rulebook()})
    try:
        where = Where(int(workers)) if workers.isdecimal() else Where(scheduler=workers)
        run(work, Path(out), where, tell)
    except RiskRulesError as error:
        print(error, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
