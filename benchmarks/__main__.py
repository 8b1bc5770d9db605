"""Run the benchmarks with ``python -m benchmarks``."""

from benchmarks.run import main

raise SystemExit(main())
