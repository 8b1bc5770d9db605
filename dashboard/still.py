"""What stays for long is kept out of the collection of garbage that ends every page.

Streamlit collects all garbage after each run of a page, which goes through every object of the
process: with a season of a farm in memory that took longer than the page itself.
"""

from __future__ import annotations

import gc
import sys
from threading import Lock

from riskrules.view.kept import Kept

_lock = Lock()
_seen = (-1, -1)


def keep() -> None:
    """Set aside what is in memory now, where something lasting was made since the last time.

    What was set aside before is looked through once more first, so that what nobody needs any
    longer is freed then: memory doesn't grow.
    """
    global _seen
    with _lock:
        now = (Kept.makings, len(sys.modules))
        if now == _seen:
            return
        _seen = now
        gc.unfreeze()
        gc.collect()
        gc.freeze()
