"""Run Streamlit with a clock of our own: ``python clock_server.py SECONDS run app.py ...``.

The clock begins at SECONDS since 1970 UTC and goes on from there.
"""

from __future__ import annotations

import sys
import time


def run(begins: int, words: list[str]) -> None:
    """Run Streamlit's command with the clock moved."""
    real = time.time
    ahead = begins - real()
    time.time = lambda: real() + ahead
    from streamlit.web.cli import main

    sys.argv = ["streamlit", *words]
    sys.exit(main())


if __name__ == "__main__":
    run(int(sys.argv[1]), sys.argv[2:])
